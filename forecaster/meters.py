"""Engine-hour meters: readings that cannot all be true, and which of them cannot be placed.

Between two readings of one meter the engine ran no less than nothing and no more than the clock: at most 24 h for
each day from the first reading's to the second's, both included, since the time of day is not known. A craft whose
readings break that is looked at more closely:

- *a meter that was changed without saying so*: cut where it falls to less than half, every part makes sense by
  itself, and that takes fewer cuts than there are readings to leave out. All readings from the first cut on are
  refused, since ``new_meter`` = yes in one row would make them right.
- *a reading typed wrong*: of all ways to leave out as few readings as possible, those readings are kept that every
  way keeps (the longest plausible chain). Where one of several must be wrong and nothing tells which, all of them
  are refused, unless they are less than an hour apart, when no answer hangs on the choice and the first is kept.

What value would fit (two digits swapped, a decimal point left out ...) is suggested, never applied.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pandas as pd

from forecaster.number_cells import plain_number
from forecaster.problems import MOST_ALIKE, Problem

HOURS_OF_A_DAY = 24.0
# More than this on average over the days between two readings is possible, but nobody rents out so long: a notice.
# Common practice, no source: daylight on the water, and a stop for fuel about every two hours.
MOST_LIKELY_HOURS_A_DAY = 14.0
# Readings closer than this are one reading rounded in two ways.
ROUNDING_HOURS = 1.0
# A new meter starts low, most often from 0: below this part of what the old one showed.
LOW_START = 0.5
# A wrong reading is looked for among so many neighbours at most, so that the search stays quick on any log.
_FURTHEST_NEIGHBOUR = 1_000
_NEAR = 8
_ALTERNATIVES = 3  # readings that are named beside one of which it cannot be told which is wrong
_CHANGED = "If the meter was changed, write new_meter = yes in the first row of the new one"


def check_meters(hours: pd.DataFrame, file: str = "hours.csv") -> Iterator[Problem]:
    """Problems of the readings in `hours` (columns of hours.csv, index ``row``), refused rows and notices.

    Readings are taken in the order of their days, whatever the order of the rows; a reading of a new meter comes
    after the old one's of the same day. Quick where all is well: only the runs that break the rule are searched.
    """
    if hours.empty:
        return
    runs = _Runs(hours)
    refused = np.zeros(len(runs.meter), dtype=bool)
    for first, last in runs.at_fault():
        yield from _search(runs, first, last, refused, file)
    yield from _notices(runs, refused, file)


class _Runs:
    """Readings sorted by craft and day; a run is the readings of one craft from one meter."""

    def __init__(self, hours: pd.DataFrame) -> None:
        codes, names = pd.factorize(hours["craft_id"])
        day = hours["read_on"].to_numpy().astype("datetime64[D]").astype(np.int64)
        meter = hours["meter"].to_numpy(dtype=float)
        new = (hours["new_meter"] == "yes").to_numpy()
        order = np.lexsort((hours.index.to_numpy(), meter, new, day, codes))
        self.craft = codes[order]
        self.craft_names = names
        self.day = day[order]
        self.meter = meter[order]
        self.new = new[order]
        self.row = hours.index.to_numpy()[order]
        self.same_craft = np.diff(self.craft, prepend=-1) == 0
        starts = ~self.same_craft | self.new
        self.run = np.cumsum(starts) - 1
        self.run_starts = np.flatnonzero(starts)
        self.misfits = 0  # readings that do not fit, as far as they were looked for

    def name(self, position: int) -> str:
        """The craft of a reading."""
        return str(self.craft_names[self.craft[position]])

    def date(self, position: int) -> str:
        """The day of a reading, ISO 8601."""
        return str(np.datetime64(int(self.day[position]), "D"))

    def most_hours(self, first: np.ndarray | int, second: np.ndarray | int) -> np.ndarray:
        """The most hours that the clock allows between readings at two positions."""
        return np.asarray(HOURS_OF_A_DAY * (self.day[second] - self.day[first] + 1.0))

    def at_fault(self) -> Iterator[tuple[int, int]]:
        """First position and one past the last of every run with a step that cannot be."""
        before = np.arange(len(self.meter) - 1)
        step = np.diff(self.meter)
        wrong = (np.diff(self.run) == 0) & ((step < 0) | (step > self.most_hours(before, before + 1)))
        ends = np.append(self.run_starts[1:], len(self.meter))
        for run in np.unique(self.run[1:][wrong]):
            yield int(self.run_starts[run]), int(ends[run])


def _search(runs: _Runs, first: int, last: int, refused: np.ndarray, file: str) -> Iterator[Problem]:
    """Problems of one run that breaks the rule; marks its refused readings."""
    meter = runs.meter[first:last]
    day = runs.day[first:last]
    keep, alternatives = _longest_chain(meter, day)
    cuts = _meter_changes(meter, day)
    if cuts is not None and len(cuts) < len(meter) - keep.sum():
        refused[first + cuts[0] : last] = True
        yield from _unmarked_change(runs, first, first + int(cuts[0]), last, file)
        return
    refused[first:last] = ~keep
    kept, misfits = np.flatnonzero(keep), np.flatnonzero(~keep)
    after = np.searchsorted(kept, misfits)
    for position, place in zip(misfits.tolist(), after.tolist(), strict=True):
        neighbours = (kept[:place][-1:] + first).tolist(), (kept[place:][:1] + first).tolist()
        others = alternatives.get(position, [])
        yield _misfit(runs, first, position, neighbours, others, file)
    if runs.new[first] and not keep[0]:
        refused[first:last] = True
        yield from _follow(runs, first, first + 1 + np.flatnonzero(keep[1:]), file)


def _longest_chain(meter: np.ndarray, day: np.ndarray) -> tuple[np.ndarray, dict[int, list[int]]]:
    """Which readings every longest plausible chain holds, and for the others those that could stand in their place.

    A chain may go from one reading to a later one where the hours between them are possible. The length of the
    longest chain up to a reading and from it on (counting it in both) tells whether it is on a longest one; it is
    on all of them where no other such reading has the same length before it.
    """
    upto = _chain_lengths(meter, day)
    onward = _chain_lengths(-meter[::-1], -day[::-1])[::-1]
    on_longest = upto + onward - 1 == upto.max()
    keep = np.zeros(len(meter), dtype=bool)
    alternatives: dict[int, list[int]] = {}
    order = np.flatnonzero(on_longest)
    order = order[np.argsort(upto[order], kind="stable")]
    new_length = np.flatnonzero(np.diff(upto[order])) + 1
    for start, end in pairwise([0, *new_length.tolist(), len(order)]):
        members = order[start:end].tolist()
        if len(members) == 1 or np.ptp(meter[members]) < ROUNDING_HOURS:
            keep[members[0]] = True
        else:
            few = members[: _ALTERNATIVES + 1]
            alternatives |= {m: [o for o in few if o != m][:_ALTERNATIVES] for m in members}
    return keep, alternatives


def _chain_lengths(meter: np.ndarray, day: np.ndarray) -> np.ndarray:
    """For every reading the number of readings in the longest plausible chain that ends with it."""
    hours, days = meter.tolist(), day.tolist()
    lengths, longest = [1], [1]  # of the chains that end with each reading, and of all chains up to it
    known = np.ones(len(hours), dtype=np.int64)  # the lengths again, for a look at many at once
    for position in range(1, len(hours)):
        best, back = 0, position - 1
        # Most often the chain comes from one of the nearest neighbours, and no earlier one can be longer.
        while back >= 0 and back >= position - _NEAR and best < longest[back]:
            if 0 <= hours[position] - hours[back] <= HOURS_OF_A_DAY * (days[position] - days[back] + 1):
                best = max(best, lengths[back])
            back -= 1
        if back >= 0 and best < longest[back]:
            best = max(best, _longest_before(known, meter, day, position))
        lengths.append(best + 1)
        known[position] = best + 1
        longest.append(max(longest[-1], best + 1))
    return np.array(lengths)


def _longest_before(lengths: np.ndarray, meter: np.ndarray, day: np.ndarray, position: int) -> int:
    """The longest chain that can go on to the reading at `position`, 0 where none can."""
    back = slice(max(0, position - _FURTHEST_NEIGHBOUR), position)
    step = meter[position] - meter[back]
    possible = (step >= 0) & (step <= HOURS_OF_A_DAY * (day[position] - day[back] + 1))
    return int(np.max(lengths[back], where=possible, initial=0))


def _meter_changes(meter: np.ndarray, day: np.ndarray) -> np.ndarray | None:
    """Where the run must be cut for each part, of two readings at least, to make sense; None where cuts do not."""
    step = np.diff(meter)
    cuts = np.flatnonzero(step < 0) + 1
    anew = (meter[cuts] < LOW_START * meter[cuts - 1]).all()
    sense = (step <= HOURS_OF_A_DAY * (np.diff(day) + 1)).all() and np.diff([0, *cuts, len(meter)]).min() >= 2
    return cuts if anew and sense else None


def _unmarked_change(runs: _Runs, first: int, cut: int, last: int, file: str) -> Iterator[Problem]:
    reason = f"{runs.name(cut)}'s meter runs backwards from {_reading(runs, cut - 1)}, and goes on from here"
    remedy = f"{_CHANGED}, this one; then the {last - cut} readings from here on are used."
    yield _problem(runs, cut, reason, remedy, file, refused=True)
    yield from _follow(runs, cut, range(cut + 1, last), file)


def _follow(runs: _Runs, start: int, positions: Iterable[int], file: str) -> Iterator[Problem]:
    """Readings that make sense, but only from a refused one on, the first of their meter."""
    row = runs.row[start]
    reason = f"the reading goes on from row {row}, the first of this meter, which is refused"
    for position in positions:
        yield _problem(runs, int(position), reason, f"Mend row {row}; then this reading is used.", file, refused=True)


def _misfit(
    runs: _Runs,
    first: int,
    position: int,
    neighbours: tuple[list[int], list[int]],
    alternatives: list[int],
    file: str,
) -> Problem:
    """The problem of one refused reading: what it contradicts, and which value would fit.

    `neighbours`: the last reading before it that is kept, and the first after it, where there are any.
    """
    here = first + position
    below, above = neighbours
    value = runs.meter[here]
    if alternatives:
        others = " and ".join(_reading(runs, first + other) for other in alternatives)
        reason = f"{runs.name(here)}'s meter cannot show this and also {others}; which one is wrong cannot be known"
    elif below and value < runs.meter[below[0]]:
        reason = f"{runs.name(here)}'s meter runs backwards: it already showed {_reading(runs, below[0])}"
    elif below and value - runs.meter[below[0]] > runs.most_hours(below[0], here):
        gained = plain_number(round(value - runs.meter[below[0]], 3))
        reason = f"{gained} h since {_reading(runs, below[0])} are more than 24 h a day"
    elif above and value > runs.meter[above[0]]:
        reason = f"{runs.name(here)}'s meter shows less later: {_reading(runs, above[0])}"
    elif above:
        gained = plain_number(round(runs.meter[above[0]] - value, 3))
        reason = f"the {gained} h from here to {_reading(runs, above[0])} are more than 24 h a day"
    else:
        reason = f"{runs.name(here)}'s meter cannot show this beside its other readings"
    runs.misfits += 1
    fitting = _suggestion(runs, here, below, above) if runs.misfits <= MOST_ALIKE else ""  # no more are listed
    remedy = f"Correct the reading or its day{fitting}. {_CHANGED}."
    return _problem(runs, here, reason, remedy, file, refused=True)


def _reading(runs: _Runs, position: int) -> str:
    return f"{plain_number(runs.meter[position])} h on {runs.date(position)} (row {runs.row[position]})"


def _suggestion(runs: _Runs, here: int, below: list[int], above: list[int]) -> str:
    """What slip of the pen would explain the reading: a value between its neighbours, one slip away."""
    least = runs.meter[below[0]] if below else 0.0
    most = np.inf
    if below:
        most = least + float(runs.most_hours(below[0], here))
    if above:
        most = min(most, runs.meter[above[0]])
        least = max(least, runs.meter[above[0]] - float(runs.most_hours(here, above[0])))
    if not np.isfinite(most):
        return ""
    for slip, values in _slips(plain_number(runs.meter[here])):
        fitting = sorted({value for value in values if least <= float(value) <= most}, key=float)
        if len(fitting) == 1:
            return f" ({plain_number(float(fitting[0]))} would fit: {slip})"
    bounds = f"{plain_number(round(least, 3))} to {plain_number(round(most, 3))}"
    return f" (between its neighbours {bounds} would fit)"


def _slips(text: str) -> Iterable[tuple[str, list[str]]]:
    """Kinds of slips that could have made `text`, likeliest first, each with the values that may have been meant."""
    digits = text.replace(".", "")
    shifted = [f"{digits[:n]}.{digits[n:]}" for n in range(1, len(digits))] if "." not in text else []
    yield "the decimal point is missing", shifted[-1:] + shifted[-2:-1]
    yield "the decimal point does not belong", [digits] if "." in text else []
    yield (
        "two digits are swapped",
        [
            text[:n] + text[n + 1] + text[n] + text[n + 2 :]
            for n in range(len(text) - 1)
            if text[n] != text[n + 1] and "." not in text[n : n + 2]
        ],
    )
    yield (
        "one digit is too many",
        [text[:n] + text[n + 1 :] for n in range(len(text)) if text[n] != "." and len(digits) > 1],
    )
    yield (
        "one digit is wrong",
        [text[:n] + digit + text[n + 1 :] for n in range(len(text)) if text[n] != "." for digit in "0123456789"],
    )


def _notices(runs: _Runs, refused: np.ndarray, file: str) -> Iterator[Problem]:
    """Readings that are used although they are odd: long days, two of one day, a new meter that goes on as the old."""
    kept = np.flatnonzero(~refused)
    before, after = kept[:-1], kept[1:]
    same = runs.craft[before] == runs.craft[after]
    step = runs.meter[after] - runs.meter[before]
    days = runs.day[after] - runs.day[before] + 1.0
    one_run = same & (runs.run[before] == runs.run[after])
    for which in np.flatnonzero(one_run & (step > MOST_LIKELY_HOURS_A_DAY * days)):
        a, b = before[which], after[which]
        rate = plain_number(round(step[which] / days[which], 1))
        reason = (
            f"{rate} h a day since {_reading(runs, a)}, which is more than anybody rents out; it is used, and from the "
            f"lives of units on {runs.name(b)} in that time nothing is learned about others"
        )
        remedy = "Check the reading and its day; if both are right, leave the row."
        yield replace(_problem(runs, b, reason, remedy, file, refused=False), held_back=True)
    for which in np.flatnonzero(one_run & (days == 1) & (step > 0)):
        a, b = before[which], after[which]
        reason = f"{runs.name(b)} has two readings on {runs.date(b)}, the other in row {runs.row[a]}; both are used"
        yield _problem(runs, b, reason, "Check that the lower one is the earlier one.", file, refused=False)
    goes_on = same & ~one_run & (step >= 0) & (step <= HOURS_OF_A_DAY * days) & (runs.meter[before] > 0)
    for which in np.flatnonzero(goes_on):
        a, b = before[which], after[which]
        reason = (
            f"new_meter is yes, yet the reading goes on from {_reading(runs, a)}: the hours between are not counted"
        )
        remedy = "Write new_meter = no unless the meter was changed."
        problem = _problem(runs, b, reason, remedy, file, refused=False)
        yield Problem(file, problem.row, "new_meter", "yes", reason, remedy, refused=False)


def _problem(runs: _Runs, position: int, reason: str, remedy: str, file: str, refused: bool) -> Problem:
    return Problem(file, int(runs.row[position]), "meter", plain_number(runs.meter[position]), reason, remedy, refused)
