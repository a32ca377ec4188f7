"""Clutch slip as text and as JSON: which clutches to reset or measure, where each stands, and how long it holds."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date

from forecaster.report import figures
from forecaster.report.as_json import Json
from forecaster.report.bench_sentences import slip_headline
from forecaster.report.table import TextColumn, plain_table
from forecaster.report.text import Page
from forecaster.slip import Estimate, FleetSlip, HoursToLimit, SlipForecast

CAUTION = (
    "Measuring and resetting a clutch is work on an opened machine: the maker's manual, with its own figure for the "
    "slip, and a licensed mechanic come before anything printed here. Limits here are common practice of the trade."
)


def slip_text(slip: FleetSlip, as_of: date, craft: Mapping[str, str], page: Page) -> str:
    """The clutches of the units in service, those most likely too low first; `craft`: craft_id by unit_id."""
    blocks = [page.strong(page.wrapped(headline(slip, as_of, craft)))]
    blocks.append(_table(slip, craft, page))
    blocks.append(page.wrapped(_legend(slip)))
    blocks.append(page.wrapped(evidence_line(slip)))
    if slip.remarks:
        blocks.append("\n".join(["Remarks:", *(page.wrapped(f"- {remark}", "  ") for remark in slip.remarks)]))
    blocks.append(page.wrapped(CAUTION))
    return "\n\n".join(blocks)


def headline(slip: FleetSlip, as_of: date, craft: Mapping[str, str]) -> str:
    """The answer in one sentence: how many clutches to reset and to measure, and the one most likely too low."""
    low = slip.units[0]
    lowest = (
        f"Most likely too low is {low.unit_id} on craft {craft[low.unit_id]}: {_moment(low.slip_now)} lb·ft, too low "
        f"below {low.limit:.1f}."
    )
    return f"{as_of}: {slip_headline(slip, figures.counted(len(slip.units), 'clutch', 'clutches'), lowest)}"


def _table(slip: FleetSlip, craft: Mapping[str, str], page: Page) -> str:
    columns = [
        TextColumn("unit", least=5),
        TextColumn("craft", least=5),
        TextColumn("hours\nrun", right=True),
        TextColumn("read", right=True),
        TextColumn("slip now\n(90 %)", right=True, least=11),
        TextColumn("limit", right=True),
        TextColumn("falls/100 h\n(90 %)", right=True, least=11),
        TextColumn("hours left\n(90 %)", right=True, least=12),
    ]
    rows = [
        (
            one.unit_id,
            craft[one.unit_id],
            f"{one.hours_since_set:,.0f}" if math.isfinite(one.hours_since_set) else "?",
            str(one.readings),
            _moment(one.slip_now),
            f"{one.limit:.1f}",
            _moment(one.fall_per_100_h),
            _until(one.hours_to_limit),
        )
        for one in slip.units
    ]
    notes = ["" if one.action == "leave" else f"{one.action}: {one.advice}" for one in slip.units]
    return plain_table(columns, rows, notes, page.width)


def _moment(estimate: Estimate) -> str:
    between = " to " if estimate.low < 0 else "-"  # a dash would read as a minus
    return f"{estimate.mean:z.1f} ({estimate.low:z.1f}{between}{estimate.high:z.1f})"


def _until(left: HoursToLimit) -> str:
    """Median and central 90 % interval: "112 (22-285)"; "never" where slip does not fall so low."""
    return f"{_hours(left.p50)} ({_hours(left.p05)}-{_hours(left.p95)})"


def _hours(value: float | None) -> str:
    return "never" if value is None else f"{value:,.0f}"


def _legend(slip: FleetSlip) -> str:
    return (
        "Slip in lb·ft: the clutch's true moment now, not one reading's; in brackets the central 90 % interval. Hours "
        "run since it was set (?: unknown), and how often it was read since. Limit: below it, too low for full boost. "
        "Hours left: engine hours until then if nobody resets it, the median; 0: it is too low now. A clutch without "
        f"advice can be left for the next {slip.units[0].hours_ahead:g} h."
    )


def evidence_line(slip: FleetSlip) -> str:
    """How many readings and clutches the answer was learned from, and how exact one reading is."""
    told = (
        f"Learned from {figures.counted(slip.readings, 'slip reading')} of "
        f"{figures.counted(slip.clutches, 'clutch setting')} ({slip.method}; one reading is good to about "
        f"{slip.reading_error:.1f} lb·ft, one standard deviation)."
    )
    return f"{told} Mostly general experience." if slip.mostly_prior else told


def slip_json(slip: FleetSlip, as_of: date, craft: Mapping[str, str]) -> Json:
    """The answer for other programs; see DEVELOPERS.md for the keys."""
    return {
        "as_of": as_of.isoformat(),
        "fit": {
            "method": slip.method,
            "readings": slip.readings,
            "clutches": slip.clutches,
            "reading_error": slip.reading_error,
            "mostly_prior": slip.mostly_prior,
        },
        "units": [_unit(one, craft[one.unit_id]) for one in slip.units],
        "remarks": list(slip.remarks),
    }


def _unit(one: SlipForecast, craft_id: str) -> Json:
    left = one.hours_to_limit
    return {
        "unit_id": one.unit_id,
        "craft_id": craft_id,
        "hours_since_set": one.hours_since_set if math.isfinite(one.hours_since_set) else None,
        "readings": one.readings,
        "slip_now": _estimate(one.slip_now),
        "fall_per_100_h": _estimate(one.fall_per_100_h),
        "too_low_below": one.limit,
        "hours_to_too_low": {"p05": left.p05, "p10": left.p10, "p50": left.p50, "p90": left.p90, "p95": left.p95},
        "chance_too_low_now": one.chance_too_low_now,
        "chance_too_low_soon": one.chance_too_low_soon,
        "hours_ahead": one.hours_ahead,
        "action": one.action,
        "advice": one.advice,
    }


def _estimate(estimate: Estimate) -> Json:
    return {"mean": estimate.mean, "low": estimate.low, "high": estimate.high}
