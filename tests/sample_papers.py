"""Papers for the tests of paper: the sample fleet's, made once, and ones of other sizes grown from it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from functools import cache

from forecaster import Paper
from forecaster.instruction_codes import Act, Code, Order
from forecaster.paper.content import PaperContent, UnitOnPaper
from forecaster.written_days import DateFormat
from tests.conftest import SAMPLE_DAY, sample_fleet


@cache
def all_papers() -> dict[str | None, Paper]:
    """The sample fleet's paper (None) and one for each of its owners."""
    fleet = sample_fleet()
    papers = fleet.reports(SAMPLE_DAY, (None, *fleet.owners))
    return {paper.content.owner: paper for paper in papers}


def sample_content() -> PaperContent:
    """What the whole sample fleet's paper says."""
    return all_papers()[None].content


@cache
def content_written(form: DateFormat) -> PaperContent:
    """The same of a fleet whose fleet.toml has days written so; what was worked out already is not again."""
    fleet = sample_fleet()
    settings = fleet.settings.model_copy(update={"date_format": form})
    records = replace(fleet.records, settings=settings)
    return replace(fleet, reading=replace(fleet.reading, records=records)).report(SAMPLE_DAY).content


def renamed(content: PaperContent, rank: int, **changes: object) -> PaperContent:
    """The same content with some fields of one unit changed."""
    units = list(content.units)
    units[rank] = replace(units[rank], **changes)  # type: ignore[arg-type]
    return replace(content, units=tuple(units))


ORDERED: dict[Code, tuple[Order, Act]] = {
    "stop, rebuild": ("stop", "rebuild"),
    "stop, check": ("stop", "check"),
    "rebuild now": ("now", "rebuild"),
    "check now": ("now", "check"),
    "rebuild": ("week", "rebuild"),
    "check": ("week", "check"),
    "leave": ("leave", "leave"),
}


def in_week(unit: UnitOnPaper, code: Code, week_of: date | None) -> UnitOnPaper:
    """The unit told to do something else, as the plan has it, in a week; None: with no week."""
    order, act = ORDERED[code]
    told = replace(unit.instruction, order=order, act=act, week_of=week_of, by=week_of)
    return replace(unit, instruction=told, planned=replace(unit.planned, action=act, week_of=week_of))


def with_units(content: PaperContent, number: int) -> PaperContent:
    """The same content with as many units: those of the sample over and over under new names, or the first of them."""
    units = tuple(_again(content.units[n % len(content.units)], n, content.as_of) for n in range(number))
    curves = tuple(replace(curve, unit_id=unit.unit_id) for curve, unit in zip(content.curves, units, strict=False))
    return replace(content, units=units, curves=curves)


def _again(unit: UnitOnPaper, number: int, as_of: date) -> UnitOnPaper:
    name, craft = f"N{number:04d}", f"K{number:04d}"
    week = None
    if unit.instruction.week_of is not None:
        week = as_of + timedelta(days=1 + 7 * (number % 26))
    return replace(
        unit,
        unit_id=name,
        craft_id=craft,
        craft_name=f"Invented craft {number}",
        forecast=replace(unit.forecast, unit_id=name, craft_id=craft),
        planned=replace(unit.planned, unit_id=name, craft_id=craft, week_of=week),
        instruction=replace(unit.instruction, week_of=week),
    )
