"""Where the record leaves hours out: days that no meter reading covers, and hours that a craft ran without a unit."""

from __future__ import annotations

import numpy as np

from forecaster.day_numbers import date_of
from forecaster.life_hours import LifeHours
from forecaster.lives import Remark
from forecaster.written_days import DatedText, joined

FAR_DAYS = 21  # in-season days without a reading that a reader should know of
UNCLAIMED_H = 5.0  # hours without a unit that a reader should know of; less may be a trial run


def remark_gaps(measured: LifeHours, as_of: int) -> list[Remark]:
    """Everything that a reader should know of the hours that the lives lack; `as_of` a day number."""
    return [*_unread(measured), *_unclaimed(measured, as_of)]


def _unread(measured: LifeHours) -> list[Remark]:
    """Stretches with more than `FAR_DAYS` in-season days before the first or after the last reading of their craft."""
    meters, begin, end = measured.meters, measured.begin, measured.end
    first, last = meters.first_and_last(measured.craft_ids)
    unread = first > last
    early = meters.season_days.between(begin, np.minimum(np.where(unread, end, first), end))
    late = meters.season_days.between(np.maximum(np.where(unread, end, last), begin), end)
    remarks = []
    for i in np.flatnonzero(((early > FAR_DAYS) | (late > FAR_DAYS)) & ~measured.stated).tolist():
        unit_id, craft_id = measured.lives[measured.life[i]].unit_id, measured.craft_ids[i]
        if unread[i]:
            why = f"{craft_id} has no meter reading"
        else:
            before = DatedText(f"before {craft_id}'s first reading on ", date_of(first[i]))
            after = DatedText(f"after {craft_id}'s last reading on ", date_of(last[i]))
            when = [before] * bool(early[i] > FAR_DAYS) + [after] * bool(late[i] > FAR_DAYS)
            why = DatedText("nothing is counted ", joined(" and ", when))
        spare = measured.hours.high[i] - measured.hours.best[i]
        remarks.append(
            Remark(
                unit_id,
                DatedText(
                    f"{unit_id} sat on {craft_id} from ",
                    date_of(begin[i]),
                    " to ",
                    date_of(end[i]),
                    ", but ",
                    why,
                    f": up to about {spare:.0f} h more may have run.",
                ),
            )
        )
    return remarks


def _unclaimed(measured: LifeHours, as_of: int) -> list[Remark]:
    """Times after a craft's first fitting in which it ran at least `UNCLAIMED_H` with no unit on it."""
    craft_ids = measured.craft_ids
    order = np.lexsort((measured.end, measured.begin, craft_ids.astype(str)))
    craft_ids, begin, end = craft_ids[order], measured.begin[order], measured.end[order]
    last_of_craft = np.append(craft_ids[1:] != craft_ids[:-1], True)[: len(order)]
    until = np.where(last_of_craft, as_of, np.append(begin[1:], as_of)[: len(order)])
    least = measured.meters.between(craft_ids, end, np.maximum(until, end)).low
    return [
        Remark(
            craft_ids[i],
            DatedText(
                f"{craft_ids[i]} ran at least {least[i]:.1f} h between ",
                date_of(end[i]),
                " and ",
                date_of(until[i]),
                " with no unit on it in the record: those hours count for no life. Is a row missing in fittings.csv?",
            ),
        )
        for i in np.flatnonzero(least > UNCLAIMED_H).tolist()
    ]
