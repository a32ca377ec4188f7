"""The plan for one off-season as it is told from July to December: on the sample fleet and six invented ones.

Asked every two weeks, and on each of the days around the season's close: how many rebuilds the off-season is expected
to bring, with their 90 % interval, and what a unit costs with the plan. Records grow from day to day, as they do in
life, so that the number moves with what happened and what was learned; what it must not do is flip because one day is
in season and the next is not. Beside it, how often the settled number lay in the intervals told before.

    python -m tests.plan_through_the_year                     the table, about four minutes
    python -m tests.plan_through_the_year --picture FILE      and the picture of DEVELOPERS.md, as SVG
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from forecaster import open_fleet, sample_fleet_folder
from forecaster.decisions import decisions_for
from forecaster.histories import build_histories
from forecaster.learning import fit_two_stage
from forecaster.off_season import plan_off_season
from forecaster.plan_answer import PlanAnswer
from forecaster.records import FleetRecords
from forecaster.simulate import simulate_fleet

YEAR = 2026
FIRST, LAST, CLOSE = date(YEAR, 7, 1), date(YEAR, 12, 15), date(YEAR, 10, 15)
SETTLED = date(YEAR, 11, 18)  # one of the days asked about, when nothing runs any more and all readings are in
# Craft, seasons, world, engine hours a season: from small and quiet to large and busy.
INVENTED = (
    (6, 3, "rust_at_incident", 80.0),
    (10, 2, "lasting_rise", 176.0),
    (16, 3, "dry", 120.0),
    (20, 3, "long_noise", 176.0),
    (28, 3, "rust_at_incident", 176.0),
    (36, 2, "dry", 80.0),
)


@dataclass(frozen=True)
class Told:
    """What one fleet's plan says on one day: rebuilds to come with their interval, and the cost of a unit."""

    on: date
    units: int
    rebuilds: float
    low: int
    high: int
    cost: float


def days() -> list[date]:
    """Every two weeks, and the two days on either side of the close."""
    fortnights = [FIRST + k * timedelta(days=14) for k in range((LAST - FIRST).days // 14 + 1)]
    around = [CLOSE + timedelta(days=k) for k in range(-1, 3)]
    return sorted({*fortnights, *around, LAST})


def fleets() -> Iterator[tuple[str, FleetRecords]]:
    """Each fleet's name and records: the sample, then the invented ones, whose last season is the same year's."""
    yield "sample", open_fleet(sample_fleet_folder(), LAST).records
    for seed, (craft, seasons, world, hours) in enumerate(INVENTED, start=1):
        drawn = simulate_fleet(craft, seasons, seed, world, YEAR - seasons + 1, hours_a_season=hours)
        yield f"{craft} craft, {hours:.0f} h, {world.replace('_', ' ')}", drawn.records


def plan_on(records: FleetRecords, day: date) -> PlanAnswer:
    """The plan as of a day, by what was known then."""
    histories = build_histories(records, day)
    return plan_off_season(decisions_for(records, histories, fit_two_stage(histories)))


def told_on(records: FleetRecords, day: date) -> Told:
    """What the plan says on a day."""
    answer = plan_on(records, day)
    come = answer.to_come.rebuilds
    return Told(
        day,
        len(answer.plan.actions),
        come.mean,
        come.low,
        come.high,
        answer.plan.expected_cost / len(answer.plan.actions),
    )


def main(args: Sequence[str] | None = None) -> int:
    """Print the table, and draw the picture where one is wanted."""
    parser = argparse.ArgumentParser(description="Plans told from July to December.")
    parser.add_argument("--picture", type=Path)
    wanted = parser.parse_args(args)
    by_fleet: dict[str, list[Told]] = {}
    for name, records in fleets():
        print(f"\n{name}\n{'as of':>12} {'units':>6} {'rebuilds':>9} {'90 %':>8} {'a unit':>9}", flush=True)
        by_fleet[name] = []
        for day in days():
            told = told_on(records, day)
            by_fleet[name].append(told)
            span = f"{told.low}-{told.high}"
            print(f"{day!s:>12} {told.units:>6} {told.rebuilds:>9.1f} {span:>8} {told.cost:>9,.0f}", flush=True)
        print(_account(by_fleet[name]), flush=True)
    if wanted.picture is not None:
        wanted.picture.parent.mkdir(parents=True, exist_ok=True)
        wanted.picture.write_text(picture(by_fleet), encoding="utf-8")
    return 0


def _account(told: Sequence[Told]) -> str:
    """The step over the close, and how often the settled number lay in the intervals told before it."""
    by_day = {one.on: one for one in told}
    before, after, settled = by_day[CLOSE], by_day[CLOSE + timedelta(days=1)], by_day[SETTLED]
    earlier = [one for one in told if one.on <= CLOSE]
    held = sum(one.low <= round(settled.rebuilds) <= one.high for one in earlier)
    return (
        f"over the close {after.rebuilds - before.rebuilds:+.1f} rebuilds, a unit {after.cost / before.cost - 1:+.2%}; "
        f"{held} of {len(earlier)} intervals held the {settled.rebuilds:.0f} rebuilds of {SETTLED}"
    )


WIDTH, HEIGHT, LEFT, BOTTOM, TOP, GAP = 640.0, 250.0, 44.0, 34.0, 30.0, 50.0  # points


def picture(by_fleet: dict[str, list[Told]]) -> str:
    """Both figures against the day, as SVG: rebuilds as a share of the units in service, and cost by unit.

    The sample's line is thick, with its 90 % band; the invented fleets' are thin. Black and grey, on white.
    """
    from reportlab.graphics import renderSVG
    from reportlab.graphics.shapes import Drawing, Rect
    from reportlab.lib.colors import white

    drawing = Drawing(WIDTH, HEIGHT)
    drawing.add(Rect(0, 0, WIDTH, HEIGHT, fillColor=white, strokeColor=None))
    half = (WIDTH - GAP) / 2
    highest = max(one.cost for told in by_fleet.values() for one in told) / 1000
    shares = _Panel(LEFT, half, 100.0, "rebuilds to come, % of the units in service", (0, 25, 50, 75, 100))
    ticks = range(0, int(highest) + 2, 2)
    costs = _Panel(half + GAP, WIDTH - 8, max(highest, ticks[-1]), "cost of a unit with the plan, thousands", ticks)
    for panel in (shares, costs):
        panel.draw_axes(drawing)
    for name, told in reversed(by_fleet.items()):  # the sample last, on top
        own = name == "sample"
        on = [one.on for one in told]
        if own:
            shares.band(drawing, on, [100 * o.low / o.units for o in told], [100 * o.high / o.units for o in told])
        shares.line(drawing, on, [100 * one.rebuilds / one.units for one in told], own)
        costs.line(drawing, on, [one.cost / 1000 for one in told], own)
    svg = str(renderSVG.drawToString(drawing)).replace("<desc>...</desc>", "")
    return svg.replace("<title>...</title>", "<title>Rebuilds to come and cost of a unit, July to December</title>")


@dataclass(frozen=True)
class _Panel:
    """One half of the picture: from `left` to `right` in points, values from 0 to `top`."""

    left: float
    right: float
    top: float
    title: str
    ticks: Sequence[int]

    def x(self, on: date) -> float:
        return self.left + (on - FIRST).days / (LAST - FIRST).days * (self.right - self.left)

    def y(self, value: float) -> float:
        return BOTTOM + value / self.top * (HEIGHT - BOTTOM - TOP)

    def draw_axes(self, drawing: Any) -> None:
        from reportlab.graphics.shapes import Line, String
        from reportlab.lib.colors import Color

        pale, ink = Color(0.75, 0.75, 0.75), Color(0.1, 0.1, 0.1)
        font = {"fontName": "Helvetica", "fontSize": 9, "fillColor": ink}
        drawing.add(String(self.left - 30, HEIGHT - 14, self.title, **font))
        for tick in self.ticks:
            y = self.y(tick)
            drawing.add(Line(self.left, y, self.right, y, strokeColor=pale, strokeWidth=0.5))
            drawing.add(String(self.left - 6, y - 3, str(tick), textAnchor="end", **font))
        for month in range(FIRST.month, LAST.month + 1):
            first = date(YEAR, month, 1)
            drawing.add(Line(self.x(first), BOTTOM - 4, self.x(first), BOTTOM, strokeColor=ink, strokeWidth=0.5))
            drawing.add(String(self.x(first) + 2, BOTTOM - 14, f"{first:%b}", **font))
        close = self.x(CLOSE)
        drawing.add(Line(close, BOTTOM, close, HEIGHT - TOP, strokeColor=ink, strokeWidth=0.8, strokeDashArray=(3, 3)))
        drawing.add(String(close, BOTTOM - 27, "close", textAnchor="middle", **font))

    def line(self, drawing: Any, on: Sequence[date], values: Sequence[float], thick: bool) -> None:
        from reportlab.graphics.shapes import PolyLine
        from reportlab.lib.colors import Color

        points = [part for day, value in zip(on, values, strict=True) for part in (self.x(day), self.y(value))]
        grey = 0.0 if thick else 0.5
        drawing.add(PolyLine(points, strokeColor=Color(grey, grey, grey), strokeWidth=2.2 if thick else 0.9))

    def band(self, drawing: Any, on: Sequence[date], low: Sequence[float], high: Sequence[float]) -> None:
        from reportlab.graphics.shapes import Polygon
        from reportlab.lib.colors import Color

        there = [part for day, value in zip(on, high, strict=True) for part in (self.x(day), self.y(value))]
        pairs = list(zip(on, low, strict=True))
        back = [part for day, value in reversed(pairs) for part in (self.x(day), self.y(value))]
        drawing.add(Polygon([*there, *back], fillColor=Color(0.85, 0.85, 0.85), strokeColor=None))


if __name__ == "__main__":
    sys.exit(main())
