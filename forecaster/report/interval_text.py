"""The service interval as text and as JSON: the rebuild of least cost, and how long fresh units last."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from forecaster.interval import NEAR_LEAST, OLDEST_H, Cost, ServiceInterval, WithCheck
from forecaster.life_model import Evidence
from forecaster.prices import Prices
from forecaster.report import figures, sentences
from forecaster.report.as_json import Json, evidence_json
from forecaster.report.table import TextColumn, plain_table
from forecaster.report.text import Page
from forecaster.service_life import Quantiles, ServiceLife


def interval_text(
    evidence: Evidence,
    lives: Sequence[ServiceLife],
    page: Page,
    intervals: Sequence[ServiceInterval],
    prices: Prices,
    currency: str,
) -> str:
    """The intervals of least cost, then B10 and B50 of each kind of fresh unit, each with its central 90 % interval.

    `intervals`: of the fleet off season and in season first, as ``interval.service_intervals`` gives them.
    """
    first = lives[0]
    answer = (
        f"One fresh unit in ten has failed by {_with_range(first.failed['B10'])}, half of them by "
        f"{_with_range(first.failed['B50'])}, if nobody opens them; one in ten is defective by "
        f"{_with_range(first.defective['B10'])}."
    )
    return "\n\n".join(
        [
            page.strong(page.wrapped(least_cost_sentence(intervals))),
            *(page.wrapped(check_sentence(row, currency)) for row in intervals if row.with_check is not None),
            _least_cost_table(intervals, currency, page),
            page.wrapped(_least_cost_legend(prices, currency)),
            page.strong(page.wrapped(answer)),
            _lives_table(lives, page),
            page.wrapped(
                "B10 and B50: engine hours by which one in ten and half of fresh units have got there; in brackets the "
                "central 90 % interval. Lives: lives of that kind in the record."
            ),
            page.wrapped(sentences.evidence_sentence(evidence, "two-stage")),
            page.wrapped(sentences.CAUTION),
        ]
    )


def least_cost_sentence(intervals: Sequence[ServiceInterval]) -> str:
    """At how many hours a rebuild costs least, off season and in season, with the band around it."""
    told = [_told(row) for row in intervals if row.with_check is not None]
    return f"Least cost: {'; '.join(told)}."


def _told(row: ServiceInterval) -> str:
    when = "in season, lost rental days included," if row.in_season else "off season,"
    if row.rebuild_h is None:
        return f"{when} no rebuild before noise or failure pays at any age up to {figures.hours(OLDEST_H)}"
    low, high = row.within_5_percent
    band = f"from {low:,.0f} h on, and never too," if high is None else f"anywhere from {low:,.0f} to {high:,.0f} h"
    more = f"costs at most {figures.percent(NEAR_LEAST)} more"
    return f"{when} rebuild at {figures.hours(row.rebuild_h)} ({band} {more})"


def check_sentence(row: ServiceInterval, currency: str) -> str:
    """What one check on the way is worth, and when."""
    check = row.with_check
    if check is None:
        return ""
    when = "in season" if row.in_season else "off season"
    rule = f"checked {when} at {figures.hours(check.check_h)}, rebuilt then if it rattles, else {_else(check)}"
    mean, low, high = check.saves_per_100_h
    if mean <= 0:
        return (
            f"One check on the way does not pay {when}: the best rule with one ({rule}) costs "
            f"{figures.money(-mean, currency)} more per 100 h than the best without."
        )
    doubt = "; the records cannot tell whether it pays" if low < 0 else ""
    return f"{rule.capitalize()}: {figures.money(mean, currency)} less per 100 h ({low:z,.0f} to {high:z,.0f}{doubt})."


def _else(check: WithCheck) -> str:
    return "never" if check.rebuild_h is None else f"at {figures.hours(check.rebuild_h)}"


def _least_cost_table(intervals: Sequence[ServiceInterval], currency: str, page: Page) -> str:
    columns = [
        TextColumn("fresh unit", widest=40, least=16),
        TextColumn("lives", right=True),
        TextColumn("rebuild\nat", right=True),
        TextColumn("at most 5 %\ndearer", right=True, least=11),
        TextColumn(f"{currency} per 100 h\n(90 %)", right=True, least=12),
        TextColumn("run until noise\nor failure", right=True, least=13),
    ]
    rows = [
        (
            row.kind,
            str(row.lives),
            "never" if row.rebuild_h is None else figures.hours(row.rebuild_h),
            _band(row.within_5_percent),
            _money_range(row.cost_per_100_h),
            _money_range(row.cost_never_per_100_h),
        )
        for row in intervals
    ]
    return plain_table(columns, rows, [""] * len(rows), page.width)


def _band(band: tuple[float, float | None]) -> str:
    low, high = band
    return f"from {low:,.0f} h" if high is None else f"{low:,.0f}-{high:,.0f} h"


def _money_range(cost: Cost) -> str:
    mean, low, high = cost
    return f"{mean:z,.0f} ({low:z,.0f}-{high:z,.0f})"


def _least_cost_legend(prices: Prices, currency: str) -> str:
    return (
        "Each rule: rebuild at that many hours since new or since the last rebuild, unless the unit fails or its noise "
        "is noticed first; water comes in at this fleet's own rate. Counted: a planned rebuild at "
        f"{figures.money(prices.planned(False), currency)} off season and {prices.planned(True):,.0f} in season with "
        f"its lost rental days, noise noticed in use at {prices.noticed():,.0f}, a failure at {prices.failure():,.0f} "
        f"on average (core lost in {figures.percent(prices.core_lost)}, engine hit in "
        f"{figures.percent(prices.engine_hit)} of failures), a check at {prices.looked_at(False):,.0f} off season. "
        "A unit that has taken in water needs what is said of it then, whatever its hours."
    )


def _lives_table(lives: Sequence[ServiceLife], page: Page) -> str:
    columns = [
        TextColumn("fresh unit", widest=30, least=16),
        TextColumn("lives", right=True),
        TextColumn("defective\nB10", right=True, least=10),
        TextColumn("defective\nB50", right=True, least=10),
        TextColumn("failed\nB10", right=True, least=10),
        TextColumn("failed\nB50", right=True, least=10),
    ]
    rows = [
        (
            kind.kind,
            str(kind.lives),
            *(_with_range(kind.defective[level]) for level in ("B10", "B50")),
            *(_with_range(kind.failed[level]) for level in ("B10", "B50")),
        )
        for kind in lives
    ]
    return plain_table(columns, rows, [""] * len(rows), page.width)


def _with_range(quantiles: Quantiles) -> str:
    mid, low, high = quantiles
    return f"{mid:.0f} ({low:.0f}-{high:.0f}) h" if high < figures.FURTHEST else f"{mid:.0f} (over {low:.0f}) h"


def interval_json(
    as_of: date,
    evidence: Evidence,
    lives: Sequence[ServiceLife],
    intervals: Sequence[ServiceInterval],
    prices: Prices,
) -> Json:
    """The same for other programs: hours with "median", "low" and "high", money with "mean", "low" and "high".

    In "least_cost", null for `rebuild_at_hours` is "never"; null for `to` within 5 %: so does never.
    """
    return {
        "as_of": as_of.isoformat(),
        "fit": evidence_json(evidence),
        "service_lives": [
            {
                "kind": kind.kind,
                "lives": kind.lives,
                "defective": {level: _quantiles(q) for level, q in kind.defective.items()},
                "failed": {level: _quantiles(q) for level, q in kind.failed.items()},
            }
            for kind in lives
        ],
        "least_cost": [_least_cost_json(row) for row in intervals],
        "prices": {
            "planned_off_season": prices.planned(False),
            "planned_in_season": prices.planned(True),
            "noticed": prices.noticed(),
            "failure": prices.failure(),
            "check_off_season": prices.looked_at(False),
            "check_in_season": prices.looked_at(True),
            "core_lost": prices.core_lost,
            "engine_hit": prices.engine_hit,
        },
    }


def _least_cost_json(row: ServiceInterval) -> Json:
    low, high = row.within_5_percent
    check = row.with_check
    return {
        "kind": row.kind,
        "lives": row.lives,
        "in_season": row.in_season,
        "rebuild_at_hours": row.rebuild_h,
        "within_5_percent": {"from": low, "to": high},
        "cost_per_100_h": _cost(row.cost_per_100_h),
        "cost_never_per_100_h": _cost(row.cost_never_per_100_h),
        "chance_never": row.chance_never,
        "with_check": None
        if check is None
        else {
            "check_at_hours": check.check_h,
            "rebuild_at_hours": check.rebuild_h,
            "cost_per_100_h": _cost(check.cost_per_100_h),
            "saves_per_100_h": _cost(check.saves_per_100_h),
        },
        "curve": {
            "hours": row.curve.ages_h.tolist(),
            "mean": row.curve.mean.tolist(),
            "low": row.curve.low.tolist(),
            "high": row.curve.high.tolist(),
        },
    }


def _quantiles(quantiles: Quantiles) -> Json:
    mid, low, high = quantiles
    return {"median": mid, "low": low, "high": high}


def _cost(cost: Cost) -> Json:
    mean, low, high = cost
    return {"mean": mean, "low": low, "high": high}
