"""Which spins count for a chance, and as what: the one rule for every model, forecast, reason and decision.

A spin by hand errs by how that bearing sounds to that listener that day. Spun again before it has run, the same bearing
sounds the same: ten quiet spins in a week on the stand are no ten witnesses. So spins of one life at the same hours,
with no water in between, are one look. It is a rattle if any of them rattled, the quiet ones before or after it
notwithstanding: taken for quiet, a rattle that was real would be a bearing that fails in use; taken for a rattle, a
false one costs an opening. Common practice, no source.

And a quiet spin just after water speaks of what was wrong before it. Who only shows looks shows them all, as recorded.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecaster.findings import RUST_UNHEARD_DAYS, SPUN_QUIET
from forecaster.lives import Histories

# Hours from one spin to the next up to which both are at the same hours, h: less than a meter shows.
SAME_HOURS = 0.05
# Where the readings leave more room than this for hours since the last spin, h, the next one would be another look.
UNREAD_H = 5.0
RATTLE, QUIET = "rattle", "quiet"
_TOO_SOON, _INCIDENT, _SPIN = range(3)  # what comes first of one day, at the same hours
_EXACT = 1e-9  # h: more than rounding, less than any reading


def looks_that_count(histories: Histories) -> pd.DataFrame:
    """The looks that tell something of their own: rows of ``histories.checks``, their index kept; two columns more.

    Of spins that are one look the last that says what it says stands for all, and ``spins`` is their number. A quiet
    one within `RUST_UNHEARD_DAYS` of water counts as made just before it, marked ``too_soon``: so it speaks of what was
    wrong before, and not of the rust that this water began. Of several incidents in that time it stands before the
    first. A rattle stays where it is: it counts whenever it is heard.
    """
    looks = _one_of_each(histories, histories.checks.assign(too_soon=False, spins=1))
    looks = _with_quiet_before_water(looks, histories.incidents)
    return _one_of_each(histories, looks)  # those moved may now be one look with an earlier one


def heard_already(units: Histories) -> np.ndarray:
    """What each unit would sound like again if it were spun now, (n_lives,): "quiet", "rattle", or "": nobody knows.

    As its last spin did, where that was at its hours of now with no water since, and the readings leave no more than
    `UNREAD_H` that may have been run since then.
    """
    lives, spins = units.lives, _spins(units, looks_that_count(units))
    last = np.flatnonzero((np.diff(spins.life, append=-1) != 0) & spins.dry_since)
    own = spins.life[last]
    now, most = (lives[name].to_numpy(dtype=float)[own] for name in ("hours_observed", "hours_observed_high"))
    same = (now - spins.hours[last] <= SAME_HOURS + _EXACT) & (most - now <= UNREAD_H)
    heard = np.full(len(lives), "", dtype=object)
    heard[own[same]] = np.where(spins.rattled[last[same]], RATTLE, QUIET)
    return heard


@dataclass(frozen=True)
class _Spins:
    """Spins by hand, (n,) each, in the order of lives, hours and days.

    `row` in the table of looks; `life` index into the lives; `hours` in the record; `rattle`: it did; `look`: number of
    the look that it is part of; `rattled`: any spin of that look did; `dry_since`: no water came after it.
    """

    row: np.ndarray
    life: np.ndarray
    hours: np.ndarray
    rattle: np.ndarray
    look: np.ndarray
    rattled: np.ndarray
    dry_since: np.ndarray


def _one_of_each(histories: Histories, looks: pd.DataFrame) -> pd.DataFrame:
    """The same looks without those spins that another stands for."""
    spins = _spins(histories, looks)
    says_so = np.flatnonzero(spins.rattle == spins.rattled)
    stands = says_so[np.diff(spins.look[says_so], append=-1) != 0]
    number = looks["spins"].to_numpy(copy=True)
    number[spins.row] = np.bincount(spins.look, number[spins.row])[spins.look]
    counts = np.ones(len(looks), dtype=bool)
    counts[spins.row] = False
    counts[spins.row[stands]] = True
    return looks.assign(spins=number)[counts]


def _spins(histories: Histories, looks: pd.DataFrame) -> _Spins:
    """The spins among `looks`: columns as in ``looks_that_count``."""
    water, names = histories.incidents, pd.Index(histories.lives["life_id"])
    row = np.flatnonzero(looks["spin"].isin([*SPUN_QUIET, RATTLE]) & (looks["known_state"] == ""))
    spun = looks.iloc[row]
    life = names.get_indexer(pd.Index([*spun["life_id"], *water["life_id"]], dtype=object))
    hours = np.concatenate([spun["observed_hours"].to_numpy(), water["observed_hours"].to_numpy()]).astype(float)
    day = np.concatenate([spun["checked_on"].to_numpy(), water["happened_on"].to_numpy()])
    kind = np.concatenate([np.where(spun["too_soon"], _TOO_SOON, _SPIN), np.full(len(water), _INCIDENT)])
    order = np.lexsort((kind, day, hours, life))
    life, hours, is_water = life[order], hours[order], order >= len(row)
    water_so_far = np.cumsum(is_water)  # over all lives: the same for two spins of one life with none in between
    water_in_all = water_so_far[np.searchsorted(life, life, side="right") - 1]
    spin = np.flatnonzero(~is_water)
    row, life, hours, water_before = row[order[spin]], life[spin], hours[spin], water_so_far[spin]
    again = (np.diff(life, prepend=-1) == 0) & (np.diff(water_before, prepend=-1) == 0)
    again &= np.diff(hours, prepend=-np.inf) <= SAME_HOURS + _EXACT
    rattle, look = (looks["spin"] == RATTLE).to_numpy()[row], np.cumsum(~again)
    rattled = np.bincount(look, rattle)[look] > 0
    return _Spins(row, life, hours, rattle, look, rattled, water_before == water_in_all[spin])


def _with_quiet_before_water(looks: pd.DataFrame, incidents: pd.DataFrame) -> pd.DataFrame:
    wanted = ["life_id", "happened_on", "observed_hours"]
    spun = looks[looks["spin"].isin(SPUN_QUIET) & (looks["known_state"] == "")]
    pairs = spun.reset_index(names="look").merge(incidents[wanted], on="life_id", suffixes=("", "_wet"))
    days = (pairs["checked_on"] - pairs["happened_on"]).dt.days
    soon = pairs[(days >= 0) & (days <= RUST_UNHEARD_DAYS) & (pairs["observed_hours_wet"] <= pairs["observed_hours"])]
    first = soon.sort_values(["observed_hours_wet", "happened_on"], kind="stable").drop_duplicates("look")
    moved = looks.copy()
    moved.loc[first["look"], "observed_hours"] = first["observed_hours_wet"].to_numpy()
    moved.loc[first["look"], "checked_on"] = first["happened_on"].to_numpy()
    moved.loc[first["look"], "too_soon"] = True
    return moved
