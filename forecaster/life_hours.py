"""Engine hours of each stretch of each life: from the meter log, and from what people stated where the log is silent.

The log is trusted wherever it tells. What people stated (``hours_at_fitting``, and the hours of a rebuild row) is used

- to tell a life's starting age where nothing else does: stated age less the hours observed by then;
- as the hours of stretches of which the log says nothing at all, because their craft have no readings in that time:
  spread evenly over the fitted days, with bounds of ±`STATED_SPREAD`. If the starting age is unknown too, the craft's
  usual use tells how much of the stated age ran in the record, and the rest is the age at the start;
- to notice a rebuild that nobody entered: a fitting with 0 h of a unit that had run ends the earlier life there.

A fitting's hours that the log contradicts by more than `AGREES_H`, outside the bounds of the readings, are remarked;
those of an opening only where they are `FAR_OFF` times as much or as little, and by `FAR_OFF_H`: customers guess.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from forecaster.day_numbers import date_of
from forecaster.engine_hours import EngineHours, HoursRun
from forecaster.lives import Remark
from forecaster.meter_gaps import MOST_TIMES_USUAL
from forecaster.unit_paths import Life
from forecaster.written_days import DatedText

AGREES_H = 5.0  # people round; common practice, no source
FAR_OFF, FAR_OFF_H = 2.0, 50.0  # common practice, no source
STATED_SPREAD = 0.10  # relative; what a customer remembers of his hours; common practice, no source


@dataclass(frozen=True)
class LifeHours:
    """Lives, their stretches laid end to end (in the order of the lives), and the hours of each.

    ``life`` (s,) is the place of each stretch's life in ``lives``. The other arrays are per stretch too: ``craft_ids``,
    ``begin`` and ``end`` (day numbers), ``hours`` of the stretch and ``before`` it in its life, and ``stated``: its
    hours are what people stated.
    """

    lives: list[Life]
    life: np.ndarray
    craft_ids: np.ndarray
    begin: np.ndarray
    end: np.ndarray
    hours: HoursRun
    before: HoursRun
    stated: np.ndarray
    meters: EngineHours

    def by_day(self, stretch: np.ndarray, day: np.ndarray) -> HoursRun:
        """Observed hours of a life on days, (n,): by the evening of `day` in `stretch`; past its end, its end's."""
        day = np.clip(day, self.begin[stretch], self.end[stretch])
        ran = self.meters.between(self.craft_ids[stretch], self.begin[stretch], day)
        days = self.end[stretch] - self.begin[stretch]
        share = (day - self.begin[stretch]) / np.maximum(days, 1)
        told = self.stated[stretch]
        best = np.where(told, share * self.hours.best[stretch], ran.best)
        low = np.where(told, 0.0, ran.low)
        high = np.where(told, self.hours.high[stretch], ran.high)
        return HoursRun(
            self.before.best[stretch] + best, self.before.low[stretch] + low, self.before.high[stretch] + high
        )

    def totals(self) -> HoursRun:
        """Observed hours of each life, (n_lives,)."""
        last = np.searchsorted(self.life, np.arange(len(self.lives)), side="right") - 1
        before, hours = self.before, self.hours
        return HoursRun(
            before.best[last] + hours.best[last],
            before.low[last] + hours.low[last],
            before.high[last] + hours.high[last],
        )


def measure_lives(paths: list[Life], meters: EngineHours) -> tuple[LifeHours, np.ndarray, list[Remark]]:
    """Hours of the lives that ``unit_paths`` found, which may be more after this: see the module's docstring.

    Returns the lives with their hours, each life's age when its record starts (n_lives,) h, NaN unknown, and remarks.
    """
    stretches = [stretch for life in paths for stretch in life.stretches]
    craft_ids = np.array([stretch.craft_id for stretch in stretches], dtype=object)
    begin = np.array([stretch.begin for stretch in stretches], dtype=np.int64)
    end = np.array([stretch.end for stretch in stretches], dtype=np.int64)
    ran = meters.between(craft_ids, begin, end)
    silent = (meters.covered_days(craft_ids, begin, end) == 0) & (end > begin)
    lives, remarks = _part_at_fresh_fittings(paths, ran, silent)
    life = np.repeat(np.arange(len(lives)), [len(one.stretches) for one in lives])
    entry = np.array([one.hours_at_entry for one in lives], dtype=float)
    stated = np.zeros(len(stretches), dtype=bool)
    first = np.searchsorted(life, np.arange(len(lives)))
    for i in np.unique(life[silent]).tolist():
        of_life = slice(int(first[i]), int(first[i]) + len(lives[i].stretches))
        told = _Stated(lives[i], entry[i], ran, silent, of_life)
        entry[i] = told.entry
        stated[of_life] = told.used
        remarks.extend(told.remarks)
    before = HoursRun(*(_so_far(hours, life) for hours in (ran.best, ran.low, ran.high)))
    measured = LifeHours(lives, life, craft_ids, begin, end, ran, before, stated, meters)
    remarks.extend(_settle_entries(measured, entry))
    remarks.extend(_far_off(measured, entry))
    return measured, entry, remarks


def _so_far(hours: np.ndarray, life: np.ndarray) -> np.ndarray:
    """Hours of the earlier stretches of the same life."""
    so_far: np.ndarray = pd.Series(hours).groupby(life).cumsum().to_numpy() - hours
    return so_far


def _part_at_fresh_fittings(paths: list[Life], ran: HoursRun, silent: np.ndarray) -> tuple[list[Life], list[Remark]]:
    """Part a life where it was fitted again with 0 h although it had run: a rebuild that nobody entered.

    It had run if its age was more than `AGREES_H`, or may have been where the log is silent or the age unknown.
    """
    lives: list[Life] = []
    remarks: list[Remark] = []
    at = 0
    for path in paths:
        n = len(path.stretches)
        if n > 1 and any(stretch.hours_at_fitting == 0.0 for stretch in path.stretches[1:]):
            parted, told = _parted(path, ran.best[at : at + n], ran.high[at : at + n], silent[at : at + n])
            lives.extend(parted)
            remarks.extend(told)
        else:
            lives.append(path)
        at += n
    return lives, remarks


def _parted(path: Life, best: np.ndarray, high: np.ndarray, silent: np.ndarray) -> tuple[list[Life], list[Remark]]:
    parted: list[Life] = []
    remarks: list[Remark] = []
    rest, begun = path, 0
    age = may_be = path.hours_at_entry
    for number, stretch in enumerate(path.stretches):
        ran_before = not (age <= AGREES_H and may_be <= AGREES_H)  # also where the age is unknown
        if number and stretch.hours_at_fitting == 0.0 and ran_before:
            earlier = path.stretches[begun:number]
            parted.append(replace(rest, stretches=earlier, ended_on=stretch.begin, ended_by="other", seen="alive"))
            parted[-1].stated_hours = np.nan
            rest = replace(rest, hours_at_entry=0.0, parts="unknown", renewed_on=stretch.begin)
            begun, age, may_be = number, 0.0, 0.0
            remarks.append(
                Remark(
                    path.unit_id,
                    DatedText(
                        f"{path.unit_id} was fitted as fresh to {stretch.craft_id} on ",
                        date_of(stretch.begin),
                        " without a rebuild row: a new life is taken to begin there. Enter the rebuild, or mend "
                        "hours_at_fitting.",
                    ),
                )
            )
        age += best[number]
        may_be += high[number] if silent[number] else best[number]
    return [*parted, replace(rest, stretches=path.stretches[begun:])], remarks


class _Stated:
    """One life with stretches of which the log is silent: fill them from what was stated, in place."""

    def __init__(self, life: Life, entry: float, ran: HoursRun, silent: np.ndarray, of_life: slice) -> None:
        self.life, self.entry, self.ran = life, float(entry), ran
        self.silent = silent[of_life]
        self.first = of_life.start
        self.used = np.zeros(len(life.stretches), dtype=bool)
        self.remarks: list[Remark] = []
        ends = [(number, s.begin, s.hours_at_fitting) for number, s in enumerate(life.stretches) if number]
        last_day = life.stretches[-1].end if life.ended_on is None else life.ended_on
        ends.append((len(life.stretches), last_day, life.stated_hours))
        since, age = 0, self.entry
        for until, day, stated in ends:
            if np.isfinite(stated):
                age = self._fill(since, until, age, day, stated)
                since = until

    def _fill(self, since: int, until: int, age: float, day: int, stated: float) -> float:
        """Age at a statement; the stretches since the last one are filled where the log is silent on all of them."""
        block = slice(self.first + since, self.first + until)
        days = np.array([s.end - s.begin for s in self.life.stretches[since:until]], dtype=float)
        unknown = np.isnan(age)  # only before the first statement
        if not (self.silent[since:until] | (days == 0)).all() or days.sum() == 0:
            return stated if unknown else age + float(self.ran.best[block].sum())
        usual = float(self.ran.high[block].sum()) / MOST_TIMES_USUAL
        ran = min(stated, usual) if unknown else stated - age
        if ran < 0:
            self._remark(day, f"{stated:g} h are stated, less than the {age:g} h before: that is not used.")
            return age
        if unknown:
            self.entry = age = stated - ran
        share = days / days.sum()
        self.ran.best[block] = ran * share
        self.ran.low[block] = 0.0 if unknown else (1 - STATED_SPREAD) * ran * share
        self.ran.high[block] = stated * share if unknown else (1 + STATED_SPREAD) * ran * share
        self.used[since:until] = True
        about = f"its unknown age when the record starts is taken as {age:.0f} h" if unknown else "±10 %"
        self._remark(day, f"the {stated:g} h stated are used, since the meter log says nothing ({about}).")
        return stated

    def _remark(self, day: int, text: str) -> None:
        unit_id, craft = self.life.unit_id, " and ".join(dict.fromkeys(s.craft_id for s in self.life.stretches))
        self.remarks.append(Remark(unit_id, DatedText(f"{unit_id} on {craft}, by ", date_of(day), f": {text}")))


def _settle_entries(measured: LifeHours, entry: np.ndarray) -> list[Remark]:
    """Fill unknown starting ages, in place, from the first later statement that allows it; remark contradictions."""
    statements = _statements(measured)
    remarks = []
    for i, day, stated, run in statements:
        unit_id = measured.lives[i].unit_id
        if np.isnan(entry[i]):
            if stated >= run[1]:
                entry[i] = max(stated - run[0], 0.0)
            else:
                remarks.append(
                    Remark(
                        unit_id,
                        DatedText(
                            f"{unit_id} is stated to have {stated:g} h on ",
                            date_of(day),
                            f", but ran {run[0]:.1f} h in the record by then: the statement is not used.",
                        ),
                    )
                )
            continue
        age, least, most = entry[i] + run[0], entry[i] + run[1], entry[i] + run[2]
        if abs(stated - age) > AGREES_H and not least <= stated <= most:
            remarks.append(
                Remark(
                    unit_id,
                    DatedText(
                        f"{unit_id} is stated to have {stated:g} h on ",
                        date_of(day),
                        f"; the log says {age:.1f} h. The log is used.",
                    ),
                )
            )
    return remarks


def _far_off(measured: LifeHours, entry: np.ndarray) -> list[Remark]:
    """What was stated at the end of a life of known age and is far from what the log says."""
    totals, remarks = measured.totals(), []
    for i, life in enumerate(measured.lives):
        stated, age = life.stated_hours, entry[i] + totals.best[i]
        far_above = stated - FAR_OFF_H > FAR_OFF * (entry[i] + totals.high[i])
        far_below = FAR_OFF * stated + FAR_OFF_H < entry[i] + totals.low[i]
        if life.ended_on is not None and (far_above or far_below):  # never where either is NaN
            told = f"; the log says {age:.1f} h, and is used. Correct hours in the opening, or the readings."
            text = DatedText(
                f"{life.unit_id} is stated to have {stated:g} h at its opening on ", date_of(life.ended_on), told
            )
            remarks.append(Remark(life.unit_id, text))
    return remarks


def _statements(measured: LifeHours) -> list[tuple[int, int, float, tuple[float, float, float]]]:
    """Stated ages after a life's start, in order of time: life, day, hours, observed hours by then (best, low, high).

    ``hours_at_fitting`` of later fittings; the rebuild row's hours only where the starting age is unknown.
    """
    rows: list[tuple[int, int, float, int]] = []  # life, day, stated, stretch
    at = 0
    for i, life in enumerate(measured.lives):
        for number, stretch in enumerate(life.stretches):
            if number and np.isfinite(stretch.hours_at_fitting):
                rows.append((i, stretch.begin, stretch.hours_at_fitting, at))
            at += 1
        if np.isnan(life.hours_at_entry) and np.isfinite(life.stated_hours):
            rows.append((i, life.stretches[-1].end, life.stated_hours, at - 1))
    stretch_of = np.array([row[3] for row in rows], dtype=np.int64)
    run = measured.by_day(stretch_of, np.array([row[1] for row in rows], dtype=np.int64))
    by_then = zip(run.best.tolist(), run.low.tolist(), run.high.tolist(), strict=True)
    return [(i, day, stated, hours) for (i, day, stated, _), hours in zip(rows, by_then, strict=True)]
