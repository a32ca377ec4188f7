"""Lives cut into pieces: what the two-stage likelihood integrates over, laid out once for all parameters.

The age u at which a bearing became defective is not seen; a life's likelihood is an integral over it. Between
incidents the integrand is smooth, at an incident it has an atom. So each life is cut at its incidents and checks,
and, since a defective unit does not last long, at geometric distances before its end. Each piece gets the nodes of
a Gauss-Legendre rule; nothing here depends on the parameters.

A *copy* is a life with everything settled. A life whose starting age is unknown, that was found failed at an unknown
age, or whose end the meter readings leave wide open is several copies, and its likelihood their weighted sum. A life
that joined the record part-worn also has an *entry copy*, the same unit running at its entry, by which to divide.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecaster.counted_looks import looks_that_count
from forecaster.lives import Histories
from forecaster.priors import COVARIATES, Prior

# Meters show tenths of an hour: a shorter age at failure, or delay from an incident, cannot be known from this one.
LEAST_HOURS = 0.1
# Age of a unit that has not run at all: only so that its logarithm is a number.
NO_HOURS = 1e-6
# Events closer than this are at one age: a shorter piece would be lost to rounding.
LEAST_PIECE_H = 1e-9
# Cuts before the end of a life, h: 20, 80, 320, ...; a noisy unit lasts about 40 h.
FIRST_CUT_H, CUT_RATIO = 20.0, 4.0
# Nodes a piece. Six keep the error of a life's log likelihood below 1e-5 over the priors (tests/test_stages.py).
NODES = 6
# Readings around the end are worth several copies only where they leave this much open.
WIDE_SHARE, WIDE_HOURS = 0.15, 8.0

END_FAILED, END_DEFECTIVE, END_SYMPTOM, END_SOUND, END_ALIVE = range(5)
_END = {
    "failed": END_FAILED,
    "found_failed": END_FAILED,
    "defective": END_DEFECTIVE,
    "symptom": END_SYMPTOM,
    "sound": END_SOUND,
    "alive": END_ALIVE,
}
IMPOSSIBLE = -1e9  # log weight of what a certain finding rules out: finite, so that gradients stay numbers


@dataclass(frozen=True)
class Copies:
    """Flat arrays over copies (n), pieces (p) and incidents (k); see the module. Hours are ages.

    Copies: `life` index into the histories' lives; `log_weight`; `age` at the end; `end` code; `x` (n, 3)
    covariates; `entry` index of the entry copy or -1. Entry copies come last and belong to no life (-1).
    Pieces, ordered by copy: `piece_copy`, `low`, `high`, `incidents_before`, `lasting` (share untreated so far),
    `spun` (p, 4) counts of checks [rattle and quiet while defective, rattle and quiet while sound], `ruled_out`.
    Incidents, ordered by copy: `incident_copy`, `incident_age`, `untreated` share, `jump_scale`, `incident_spun`,
    `incident_ruled_out`, `piece_ending`: index of the piece that ends there, -1 at age 0.
    """

    n_lives: int
    life: np.ndarray
    log_weight: np.ndarray
    age: np.ndarray
    end: np.ndarray
    x: np.ndarray
    entry: np.ndarray
    sound_spun: np.ndarray  # (n, 2) counts of [rattle, quiet] checks if it was sound throughout
    sound_ruled_out: np.ndarray
    lasting_at_end: np.ndarray
    piece_copy: np.ndarray
    low: np.ndarray
    high: np.ndarray
    incidents_before: np.ndarray
    lasting: np.ndarray
    spun: np.ndarray
    ruled_out: np.ndarray
    incident_copy: np.ndarray
    incident_age: np.ndarray
    untreated: np.ndarray
    jump_scale: np.ndarray
    incident_spun: np.ndarray
    incident_ruled_out: np.ndarray
    piece_ending: np.ndarray
    first_piece: np.ndarray  # (n,) index of each copy's first piece
    first_incident: np.ndarray  # (n,) index of each copy's first incident

    @property
    def n(self) -> int:
        """How many copies, entry copies included."""
        return len(self.age)


@dataclass
class _Draft:
    """Copies while they are being multiplied: one row each."""

    life: np.ndarray
    log_weight: np.ndarray
    entry_age: np.ndarray
    age: np.ndarray
    end: np.ndarray

    def spread(self, chosen: np.ndarray, values: np.ndarray, log_weights: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Replace each chosen copy by len(values) copies; returns the value of each copy and which are new."""
        times = np.where(chosen, len(values), 1)
        rank = np.arange(times.sum()) - np.repeat(np.cumsum(times) - times, times)
        is_new = np.repeat(chosen, times)
        for name in ("life", "log_weight", "entry_age", "age", "end"):
            setattr(self, name, np.repeat(getattr(self, name), times))
        self.log_weight = self.log_weight + np.where(is_new, log_weights[rank * is_new], 0.0)
        return np.where(is_new, values[rank * is_new], np.nan), is_new


def cut(
    histories: Histories,
    prior: Prior,
    shares: dict[str, float],
    still_running: bool = False,
    first_cut_h: float = FIRST_CUT_H,
) -> Copies:
    """Lay out the lives for the likelihood.

    `shares`: covariate taken where not recorded. `still_running`: every life counts as running at its end, for
    forecasts. `first_cut_h`: shorter where delays of stage 2 much shorter than an hour must be resolved.
    """
    lives = histories.lives
    draft = _draft(lives, prior, still_running)
    x = covariates(lives, shares)[draft.life]
    n_numerators = len(draft.life)
    part_worn = np.flatnonzero(draft.entry_age > 0)
    entry = np.full(n_numerators, -1)
    entry[part_worn] = n_numerators + np.arange(len(part_worn))
    life = np.concatenate([draft.life, np.full(len(part_worn), -1)])
    age = np.concatenate([draft.age, np.maximum(draft.entry_age[part_worn], NO_HOURS)])
    end = np.concatenate([draft.end, np.full(len(part_worn), END_ALIVE)])
    events = _events(histories, prior, draft, age, first_cut_h)
    return _lay_out(
        events,
        n_lives=len(lives),
        life=life,
        log_weight=np.concatenate([draft.log_weight, np.zeros(len(part_worn))]),
        age=age,
        end=end,
        x=np.concatenate([x, x[part_worn]]),
        entry=np.concatenate([entry, np.full(len(part_worn), -1)]),
    )


def known_shares(histories: Histories, prior: Prior) -> dict[str, float]:
    """Mean of each covariate over the lives where it is recorded; the prior's share where it never is."""
    columns = _recorded(histories.lives)
    return {
        name: float(np.nanmean(values)) if np.isfinite(values).any() else prior.unknown_share[name]
        for name, values in columns.items()
    }


def covariates(lives: pd.DataFrame, shares: dict[str, float]) -> np.ndarray:
    """Covariates of each life, (n_lives, 3) in the order of COVARIATES, unknown ones at the fleet's share."""
    columns = _recorded(lives)
    return np.column_stack([np.where(np.isfinite(columns[c]), columns[c], shares[c]) for c in COVARIATES])


def _recorded(lives: pd.DataFrame) -> dict[str, np.ndarray]:
    parts = lives["parts"].map({"aftermarket": 1.0, "oem": 0.0}).to_numpy(dtype=float)
    return {
        "aftermarket": parts,
        "salt": lives["salt_share"].to_numpy(dtype=float),
        "tuned": lives["tuned_share"].to_numpy(dtype=float),
    }


def gauss_legendre(nodes: int) -> tuple[np.ndarray, np.ndarray]:
    """Nodes and weights of the Gauss-Legendre rule on (0, 1)."""
    t, w = np.polynomial.legendre.leggauss(nodes)
    return (t + 1) / 2, w / 2


def _draft(lives: pd.DataFrame, prior: Prior, still_running: bool) -> _Draft:
    n = len(lives)
    entry = lives["hours_at_entry"].to_numpy(dtype=float)
    observed = lives["hours_observed"].to_numpy(dtype=float)
    end = np.full(n, END_ALIVE) if still_running else lives["seen"].map(_END).to_numpy(dtype=int)
    draft = _Draft(np.arange(n), np.zeros(n), entry.copy(), observed.copy(), end)  # age: observed hours for now
    ages = prior.starting_ages_h
    start, new = draft.spread(np.isnan(entry), ages, np.full(len(ages), -np.log(len(ages))))
    draft.entry_age = np.where(new, start, draft.entry_age)
    _spread_wide_ends(draft, lives)
    if not still_running:
        _spread_found_failed(draft, lives)
    draft.age = np.maximum(draft.entry_age + draft.age, np.where(draft.end == END_FAILED, LEAST_HOURS, NO_HOURS))
    return draft


def _spread_wide_ends(draft: _Draft, lives: pd.DataFrame) -> None:
    """Three copies of a life whose end the readings leave wide open: equally likely within the bounds."""
    low = lives["hours_observed_low"].to_numpy(dtype=float)[draft.life]
    high = lives["hours_observed_high"].to_numpy(dtype=float)[draft.life]
    room = high - low
    wide = room > np.maximum(WIDE_HOURS, WIDE_SHARE * (draft.entry_age + draft.age))
    nodes, weights = gauss_legendre(3)
    place, new = draft.spread(wide, nodes, np.log(weights))
    low = lives["hours_observed_low"].to_numpy(dtype=float)[draft.life]
    high = lives["hours_observed_high"].to_numpy(dtype=float)[draft.life]
    draft.age = np.where(new, low + (high - low) * place, draft.age)


def _spread_found_failed(draft: _Draft, lives: pd.DataFrame) -> None:
    """A unit found failed when opened failed at an unknown age since it was last known to run: integrate over it."""
    seen = (lives["seen"] == "found_failed").to_numpy()[draft.life]
    nodes, weights = gauss_legendre(5)
    place, new = draft.spread(seen, nodes, np.log(weights))
    since = lives["last_known_running"].to_numpy(dtype=float)[draft.life]
    since = np.minimum(since, np.maximum(draft.age - LEAST_HOURS, 0.0))
    room = np.maximum(draft.age - since, LEAST_HOURS)
    draft.age = np.where(new, since + room * place, draft.age)
    draft.log_weight = draft.log_weight + np.where(new, np.log(room), 0.0)


# Kinds of event in the order in which they count at one age on one day.
_START, _CUT, _CHECK_TOO_SOON, _INCIDENT, _CHECK, _END_OF_LIFE = range(6)


@dataclass
class _Events:
    """All events of all copies, sorted by copy, age, day, kind."""

    copy: np.ndarray
    age: np.ndarray
    kind: np.ndarray
    untreated: np.ndarray
    jump_scale: np.ndarray
    rattle: np.ndarray
    quiet: np.ndarray
    known_sound: np.ndarray
    known_defective: np.ndarray


def _events(histories: Histories, prior: Prior, draft: _Draft, age: np.ndarray, first_cut_h: float) -> _Events:
    n = len(age)
    tables = [
        _plain(np.arange(n), np.zeros(n), _START, first=True),
        _plain(np.arange(n), age, _END_OF_LIFE, first=False),
        _cuts(age, first_cut_h),
        _of_lives(histories.incidents, "happened_on", _INCIDENT, histories, draft, prior),
        _of_lives(looks_that_count(histories), "checked_on", _CHECK, histories, draft, prior),
    ]
    columns = {name: np.concatenate([t[name] for t in tables]) for name in tables[0]}
    order = np.lexsort((columns["kind"], columns.pop("day"), columns["age"], columns["copy"]))
    return _Events(**{name: values[order] for name, values in columns.items()})


_FIRST_DAY, _LAST_DAY = np.iinfo(np.int64).min, np.iinfo(np.int64).max


def _plain(copy: np.ndarray, age: np.ndarray, kind: int, first: bool) -> dict[str, np.ndarray]:
    zeros = np.zeros(len(copy))
    columns = {
        "copy": copy,
        "age": age,
        "kind": np.full(len(copy), kind),
        "day": np.full(len(copy), _FIRST_DAY if first else _LAST_DAY),
    }
    rest = ("untreated", "jump_scale", "rattle", "quiet", "known_sound", "known_defective")
    return columns | dict.fromkeys(rest, zeros)


def _cuts(age: np.ndarray, first_cut_h: float) -> dict[str, np.ndarray]:
    """Cuts at first_cut_h * CUT_RATIO^k before the end, as many as fit."""
    fit = np.floor(np.log(age / first_cut_h) / np.log(CUT_RATIO)) + 1
    times = np.maximum(fit, 0).astype(int)
    copy = np.repeat(np.arange(len(age)), times)
    rank = np.arange(times.sum()) - np.repeat(np.cumsum(times) - times, times)
    at = np.maximum(age[copy] - first_cut_h * CUT_RATIO**rank, 0.0)
    return _plain(copy, at, _CUT, first=True)


def _of_lives(
    table: pd.DataFrame, day_column: str, kind: int, histories: Histories, draft: _Draft, prior: Prior
) -> dict[str, np.ndarray]:
    """A table's rows on every copy of their life, at its age; rows after a copy's end are left out."""
    number = pd.Index(histories.lives["life_id"]).get_indexer(pd.Index(table["life_id"]))
    row_order = np.argsort(number, kind="stable")
    per_life = (
        np.bincount(number, minlength=len(histories.lives)) if len(number) else np.zeros(len(histories.lives), int)
    )
    first = np.cumsum(per_life) - per_life
    times = per_life[draft.life]
    copy = np.repeat(np.arange(len(draft.life)), times)
    rank = np.arange(times.sum()) - np.repeat(np.cumsum(times) - times, times)
    row = row_order[np.repeat(first[draft.life], times) + rank] if len(copy) else np.zeros(0, dtype=int)
    at = draft.entry_age[copy] + table["observed_hours"].to_numpy(dtype=float)[row]
    # A copy that failed before the record's last event has no part in that event; else rounding is held at the end.
    failed_early = (draft.end[copy] == END_FAILED) & (at > draft.age[copy] + LEAST_HOURS)
    copy, row, at = copy[~failed_early], row[~failed_early], at[~failed_early]
    columns = _plain(copy, np.minimum(at, draft.age[copy]), kind, first=True)
    columns["day"] = table[day_column].to_numpy().astype("datetime64[D]").astype(np.int64)[row]
    if kind == _INCIDENT:
        columns["untreated"] = table["treatment"].map(prior.untreated_share).to_numpy(dtype=float)[row]
        columns["jump_scale"] = prior.jump_scale(table["oil_water_ppm"].to_numpy(dtype=float))[row]
    else:
        columns["kind"] = np.where(table["too_soon"].to_numpy(dtype=bool)[row], _CHECK_TOO_SOON, _CHECK)
        known = table["known_state"].to_numpy(dtype=object)[row]
        spin = np.where(known == "", table["spin"].to_numpy(dtype=object)[row], "")
        columns["rattle"] = (spin == "rattle").astype(float)
        columns["quiet"] = ((spin == "quiet") | (spin == "slight")).astype(float)
        columns["known_sound"] = (known == "sound").astype(float)
        columns["known_defective"] = (known == "defective").astype(float)
    return columns


def _lay_out(events: _Events, **copies: np.ndarray | int) -> Copies:
    age = np.asarray(copies["age"])
    n = len(age)
    starts = np.flatnonzero(events.kind == _START)
    first_event = starts[np.argsort(events.copy[starts], kind="stable")]

    def so_far(values: np.ndarray) -> np.ndarray:
        """Running total within each copy, this event included."""
        total = np.cumsum(values)
        before = total[first_event] - values[first_event]
        inside: np.ndarray = total - before[events.copy]
        return inside

    last_event = np.append(first_event[1:], len(events.copy)) - 1
    rattle, quiet, sound, defective = (
        so_far(v) for v in (events.rattle, events.quiet, events.known_sound, events.known_defective)
    )
    totals = {id(v): v[last_event][events.copy] for v in (rattle, quiet, sound)}
    # While defective: checks after the event; while sound: checks up to it.
    spun = np.column_stack([totals[id(rattle)] - rattle, totals[id(quiet)] - quiet, rattle, quiet])
    ruled_out = (totals[id(sound)] - sound > 0) | (defective > 0)
    is_incident = events.kind == _INCIDENT
    lasting = _running_maximum(events, first_event)
    n_incidents = so_far(is_incident.astype(float)).astype(int)

    next_age = np.append(events.age[1:], 0.0)
    is_piece = (events.kind != _END_OF_LIFE) & (next_age - events.age > LEAST_PIECE_H)
    pieces = np.flatnonzero(is_piece)
    incidents = np.flatnonzero(is_incident)
    piece_number = np.cumsum(is_piece) - is_piece  # pieces before each event
    first_piece = piece_number[first_event]
    ending = piece_number[incidents] - 1
    ending = np.where(ending >= first_piece[events.copy[incidents]], ending, -1)
    incident_count = np.bincount(events.copy[incidents], minlength=n)
    return Copies(
        **copies,  # type: ignore[arg-type]
        sound_spun=np.column_stack([rattle[last_event], quiet[last_event]]),
        sound_ruled_out=defective[last_event] > 0,
        lasting_at_end=lasting[last_event],
        piece_copy=events.copy[pieces],
        low=events.age[pieces],
        high=next_age[pieces],
        incidents_before=n_incidents[pieces],
        lasting=lasting[pieces],
        spun=spun[pieces],
        ruled_out=ruled_out[pieces],
        incident_copy=events.copy[incidents],
        incident_age=events.age[incidents],
        untreated=events.untreated[incidents],
        jump_scale=events.jump_scale[incidents],
        incident_spun=spun[incidents],
        incident_ruled_out=ruled_out[incidents],
        piece_ending=ending,
        first_piece=first_piece,
        first_incident=np.cumsum(incident_count) - incident_count,
    )


def _running_maximum(events: _Events, first_event: np.ndarray) -> np.ndarray:
    """Greatest untreated share so far within each copy. Shares are below 2, so 2 per copy keeps copies apart."""
    lifted = events.untreated + 2.0 * events.copy
    is_highest = lifted >= np.maximum.accumulate(lifted)
    place = np.maximum.accumulate(np.where(is_highest, np.arange(len(lifted)), 0))
    highest: np.ndarray = events.untreated[place]  # as it is: to lift and lower it rounds the more the more copies
    return highest
