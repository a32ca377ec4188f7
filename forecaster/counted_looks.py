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
    looks = histories.checks.assign(too_soon=False, spins=1)
    if not _is_spin(looks).any():
        return looks
    looks = _one_of_each(histories, looks)
    moved = _with_quiet_before_water(histories, looks)
    return looks if moved is looks else _one_of_each(histories, moved)  # may now be one look with an earlier one


def heard_already(units: Histories) -> np.ndarray:
    """What each unit would sound like again if it were spun now, (n_lives,): "quiet", "rattle", or "": nobody knows.

    As its last spin did, where that was at its hours of now with no water since, and the readings leave no more than
    `UNREAD_H` that may have been run since then.
    """
    lives, heard = units.lives, np.full(units.n_lives, "", dtype=object)
    if not _is_spin(units.checks).any():
        return heard
    spins = _spins(units, looks_that_count(units))
    last = np.flatnonzero((np.diff(spins.life, append=-1) != 0) & spins.dry_since)
    own = spins.life[last]
    now, most = (lives[name].to_numpy(dtype=float)[own] for name in ("hours_observed", "hours_observed_high"))
    same = (now - spins.hours[last] <= SAME_HOURS + _EXACT) & (most - now <= UNREAD_H)
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
    row = np.flatnonzero(_is_spin(looks))

    def both(of_spins: str, of_water: str) -> np.ndarray:
        """A column of the spins, then one of the water."""
        told: np.ndarray = np.concatenate([looks[of_spins].to_numpy()[row], water[of_water].to_numpy()])
        return told

    life = names.get_indexer(pd.Index(both("life_id", "life_id"), dtype=object))
    hours, day = both("observed_hours", "observed_hours").astype(float), both("checked_on", "happened_on")
    soon = looks["too_soon"].to_numpy(dtype=bool)[row]
    kind = np.concatenate([np.where(soon, _TOO_SOON, _SPIN), np.full(len(water), _INCIDENT)])
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


def _with_quiet_before_water(histories: Histories, looks: pd.DataFrame) -> pd.DataFrame:
    """The looks with quiet ones that came too soon after water before it; the same object where none did."""
    names, water = pd.Index(histories.lives["life_id"]), histories.incidents
    row = np.flatnonzero(_is_spin(looks) & (looks["spin"] != RATTLE).to_numpy())
    life, wet = names.get_indexer(looks["life_id"].to_numpy()[row]), names.get_indexer(water["life_id"])
    day, wet_on = _days(looks["checked_on"].to_numpy()[row]), _days(water["happened_on"].to_numpy())
    hours, wet_at = (one["observed_hours"].to_numpy(dtype=float) for one in (looks, water))
    order = np.lexsort((wet_on, wet_at, wet))  # of several the first in hours, then in days
    wet, wet_on, wet_at = wet[order], wet_on[order], wet_at[order]
    begin, end = np.searchsorted(wet, life, side="left"), np.searchsorted(wet, life, side="right")
    first = np.full(len(row), -1)
    for nth in range(int((end - begin).max(initial=0)) - 1, -1, -1):  # backwards, so that the first stays
        at = np.minimum(begin + nth, len(wet) - 1)
        days = day - wet_on[at]
        soon = (begin + nth < end) & (days >= 0) & (days <= RUST_UNHEARD_DAYS) & (wet_at[at] <= hours[row])
        first = np.where(soon, at, first)
    soon = first >= 0
    if not soon.any():
        return looks
    moved = {name: looks[name].to_numpy(copy=True) for name in ("observed_hours", "checked_on", "too_soon")}
    moved["observed_hours"][row[soon]] = wet_at[first[soon]]
    moved["checked_on"][row[soon]] = wet_on[first[soon]].astype("datetime64[D]")
    moved["too_soon"][row[soon]] = True
    return looks.assign(**moved)


def _is_spin(looks: pd.DataFrame) -> np.ndarray:
    """Which looks were spins by hand, (n,) bool."""
    spin, known = looks["spin"].to_numpy(dtype=object), looks["known_state"].to_numpy(dtype=object)
    is_spin: np.ndarray = (known == "") & np.isin(spin.astype("U8"), (*SPUN_QUIET, RATTLE))
    return is_spin


def _days(dates: np.ndarray) -> np.ndarray:
    days: np.ndarray = dates.astype("datetime64[D]").astype(np.int64)
    return days
