"""What drives each unit's risk, and how to say it: "swamped, untreated, 14 h ago (the water raises its chance ...)".

A cause's share is the chance of failing with it, minus the chance without: without any incident; with the maker's
parts; in fresh water; on a stock engine; had nobody looked at it (negative where a quiet check speaks for the unit).
Its hours since rebuild are told of every unit and weighed of none.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd

from forecaster.counted_looks import looks_that_count
from forecaster.findings import found_when_closed
from forecaster.life_model import MEAN_DRAWS, FittedLifeModel, Standing
from forecaster.lives import Histories
from forecaster.unsafe import Unsafe
from forecaster.written_chances import percent

# A cause is told where leaving it out moves the chance by at least this much: below, it reads as noise.
LEAST_SHARE = 0.005
# Engine hours ahead of which plan and comparison tell the chances: as the forecast does unless asked otherwise.
REASON_HOURS = 50.0


@dataclass(frozen=True)
class Cause:
    """One thing that drives a unit's risk: how much of the chance goes away without it."""

    what: str  # "incident", "check", "parts", "water", "tune"
    share: float  # chance with it minus chance without it
    chance: float  # with it

    @property
    def without(self) -> float:
        """The chance without it."""
        return min(max(self.chance - self.share, 0.0), 1.0)


class Causes:
    """The causes of the risk of running units, asked of any horizon: each is left out in turn where it is recorded."""

    def __init__(
        self,
        model: FittedLifeModel,
        units: Histories,
        few: Standing | None = None,
        whole: Standing | None = None,
    ) -> None:
        """Work out how the units would stand without each; how they stand, by `MEAN_DRAWS` and by all, where known."""
        self._units = units
        self._few, self._whole = few or model.standing(units, MEAN_DRAWS), whole or model.standing(units)
        self._without: list[tuple[str, np.ndarray, Standing]] = []
        for what, (recorded, changed) in _what_ifs(units).items():
            if recorded.any():
                self._without.append((what, recorded, model.standing(changed.select(recorded), MEAN_DRAWS)))
        self._incidents = _by_life(units.incidents.sort_values("observed_hours", ascending=False, kind="stable"))
        counted = looks_that_count(units)
        self._looks = _by_life(units.checks.loc[counted.index].assign(spins=counted["spins"]))

    def within(self, hours: float, chance: np.ndarray | None = None) -> list[list[Cause]]:
        """The causes of each unit's chance of failing within `hours` engine hours, greatest first.

        `chance` (n,): that of the forecast, where it is known already. Shares are differences between few draws, the
        same with and without.
        """
        horizon = np.array([hours])
        few = self._few.failing(horizon)[:, :, 0].mean(axis=0)
        if chance is None:
            chance = self._whole.failing(horizon)[:, :, 0].mean(axis=0)
        found: list[list[Cause]] = [[] for _ in few]
        for what, recorded, standing in self._without:
            shares = few[recorded] - standing.failing(horizon)[:, :, 0].mean(axis=0)
            for unit, share in zip(np.flatnonzero(recorded), shares, strict=True):
                if share != 0.0:
                    found[unit].append(Cause(what, float(share), float(chance[unit])))
        return [sorted(causes, key=lambda cause: -abs(cause.share)) for causes in found]

    def because(
        self, hours: float, unsafe: Sequence[Sequence[Unsafe]], chance: np.ndarray | None = None
    ) -> list[tuple[str, ...]]:
        """Each unit's causes in words, greatest first, after its hours since rebuild and what is `unsafe` about it.

        `chance`: as for ``within``.
        """
        rows: Iterable[Any] = self._units.lives.itertuples(index=False)
        return [
            (_ran(life), *(reason.why for reason in reasons), *self._told(life, causes, hours))
            for life, causes, reasons in zip(rows, self.within(hours, chance), unsafe, strict=True)
        ]

    def _told(self, life: Any, causes: list[Cause], hours: float) -> Iterable[str]:
        moved = f"its chance of failing within {hours:g} h"
        for cause in causes:
            if abs(cause.share) >= LEAST_SHARE:
                yield from self._in_words(cause, life, moved)
                moved = "it"  # said once: every cause moves the same chance

    def _in_words(self, cause: Cause, life: Any, moved: str) -> list[str]:
        if cause.what == "incident":
            last, *earlier = (_incident_words(one, life) for one in self._incidents[life.life_id])
            return [f"{last} (the water {_effect(cause, moved)})", *earlier[:2]]
        if cause.what == "check":
            return [f"{_last_check_words(self._looks[life.life_id], life)} (this {_effect(cause, moved)})"]
        named = {"parts": "aftermarket parts", "water": "salt water", "tune": "tuned engine"}
        return [f"{named[cause.what]} (this {_effect(cause, moved)})"]


def _effect(cause: Cause, moved: str) -> str:
    """What a cause does to a chance, in words: "raises it from 29 % to 38 %"."""
    without, with_it = percent(cause.without), percent(cause.chance)
    if without == with_it:
        return f"hardly changes {moved}"
    return f"{'raises' if cause.share > 0 else 'lowers'} {moved} from {without} to {with_it}"


def _what_ifs(units: Histories) -> dict[str, tuple[np.ndarray, Histories]]:
    """By cause: of which units it is recorded, (n,), and all units without it.

    A covariate only where recorded: a what-if also changes a blank, which is the fleet's mix and not a cause to name.
    """
    lives = units.lives
    return {
        "incident": (_has_any(units.incidents, lives), units.without_incidents()),
        "check": (_has_any(units.checks, lives), units.without_checks()),
        "parts": ((lives["parts"] == "aftermarket").to_numpy(), units.with_lives(parts="oem")),
        "water": ((lives["salt_share"] > 0).to_numpy(), units.with_lives(salt_share=0.0)),
        "tune": ((lives["tuned_share"] > 0).to_numpy(), units.with_lives(tuned_share=0.0)),
    }


def _has_any(table: pd.DataFrame, lives: pd.DataFrame) -> np.ndarray:
    answer: np.ndarray = lives["life_id"].isin(table["life_id"]).to_numpy()
    return answer


def _by_life(table: pd.DataFrame) -> dict[str, list[Any]]:
    """Rows of incidents or checks by life_id, in the table's order."""
    found: dict[str, list[Any]] = defaultdict(list)
    rows: Iterable[Any] = table.itertuples(index=False)
    for row in rows:
        found[row.life_id].append(SimpleNamespace(**row._asdict()))  # a frame's own rows cannot be handed over
    return found


def _ran(life: Any) -> str:
    if np.isfinite(life.hours_at_entry):
        return f"{life.hours_at_entry + life.hours_observed:.0f} h since rebuild"
    return f"{life.hours_observed:.0f} h in the record, starting age unknown"


def _incident_words(incident: Any, life: Any) -> str:
    """An incident of a life in words: "swamped, untreated, 14 h ago"."""
    ago = life.hours_observed - incident.observed_hours
    return f"{incident_label(incident.kind, incident.treatment)}, {ago:.0f} h ago"


def incident_label(kind: str, treatment: str) -> str:
    """A water incident in words: "swamped, untreated"."""
    told = {"prompt": "treated promptly", "late": "treated late", "none": "untreated", "unknown": "treatment unknown"}
    return f"{kind}, {told[treatment]}"


def check_label(spin: str, known_state: str, bearing: str) -> str:
    """A look at a unit in words: "spun quiet", "opened and found rusted", "looked at, not spun"."""
    if known_state:
        return f"opened and found {'sound' if known_state == 'sound' else found_when_closed(bearing)}"
    return "looked at, not spun" if spin == "not_done" else f"spun {spin}"


def _last_check_words(looks: list[Any], life: Any) -> str:
    telling = [look for look in looks if look.spin != "not_done" or look.known_state != ""]
    last = (telling or looks)[-1]
    label = check_label(str(last.spin), str(last.known_state), str(last.bearing))
    again = f", {last.spins} spins with no hours between them: one look" if last.spins > 1 else ""
    return f"{label} {life.hours_observed - last.observed_hours:.0f} h ago{again}"
