"""What the questions about a fleet have in common on the command line: source, day, prices, and opening what is named.

As in ``forecaster.commands``, only the standard library is imported before a command runs.
"""

from __future__ import annotations

import sys
from argparse import Namespace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, cast

from forecaster.command_line import (
    Argument,
    NumberOf,
    argument,
    day,
    tell,
    tell_progress,
)
from forecaster.ranges import (
    A_WEEK,
    BUDGET,
    CHANCE,
    KITS,
    LAST_DAY,
    LEAD_WEEKS,
    LEAST_GAIN,
    PRICE,
    SPARE_UNITS,
    refuse_day,
)

if TYPE_CHECKING:
    from forecaster.fleet import Fleet
    from forecaster.plan_limits import PlanWishes
    from forecaster.plan_problem import PlanEdit
    from forecaster.report.text import Page

SOURCE = argument("source", metavar="SOURCE", help="a fleet folder or a workbook")
FORCE = argument(
    "--force", action="store_true", help="write over files that are there already, never over what was read"
)
AS_JSON = argument("--json", action="store_true", help="machine-readable answer on standard output")
AS_OF = argument(
    "--as-of", metavar="DATE", type=day, help="answer as of this day, year-month-day; nothing later is used (today)"
)
EXPERIENCE = argument(
    "--experience", metavar="FILE", type=Path, help="what another fleet taught (see `experience`), taken as the prior"
)
PRIORS = argument("--priors", metavar="FILE", type=Path, help="your own copy of priors.toml")
# The limits of a plan, for every question that plans; `dest` is what ``Fleet.plan`` calls it.
PLAN_OPTIONS = (
    argument("--budget", metavar="B", type=NumberOf(BUDGET), help="money for the work (fleet.toml's)"),
    argument("--from", metavar="DATE", dest="begins", type=day, help="first day of the work (the off-season's)"),
    argument("--ready-by", metavar="DATE", type=day, help="day by which all must be back (the season's opening)"),
    argument(
        "--bench",
        metavar="N",
        dest="bench_per_week",
        type=NumberOf(A_WEEK),
        help="rebuilds a week (fleet.toml's)",
    ),
    argument(
        "--closed",
        metavar="DATE",
        type=day,
        action="append",
        default=[],
        help="a day of a week in which the bench is closed; may be given again",
    ),
    argument(
        "--spares",
        metavar="N",
        dest="spare_units",
        type=NumberOf(SPARE_UNITS),
        help="spare units on the shelf that stand in where craft earn (fleet.toml's)",
    ),
    argument(
        "--overspend-chance",
        metavar="P",
        type=NumberOf(CHANCE),
        help="chance from 0 to 1 up to which the work may cost more than the budget (fleet.toml's)",
    ),
    argument(
        "--season-budget",
        metavar="B",
        type=NumberOf(BUDGET),
        help="money for rebuilds and checks in the coming season (fleet.toml's, or what is left of the budget)",
    ),
    argument(
        "--season-bench",
        metavar="N",
        dest="season_rebuilds_per_week",
        type=NumberOf(A_WEEK),
        help="rebuilds a week in the coming season (fleet.toml's, or as off season)",
    ),
    argument("--kits", metavar="N", type=NumberOf(KITS), help="sets of parts on the shelf (fleet.toml's)"),
    argument(
        "--lead-time",
        metavar="WEEKS",
        dest="lead_time_weeks",
        type=NumberOf(LEAD_WEEKS),
        help="weeks from ordering parts to having them (fleet.toml's)",
    ),
    argument(
        "--least-gain",
        metavar="SHARE",
        type=NumberOf(LEAST_GAIN),
        help="share of its cost that planned work must save at least (fleet.toml's)",
    ),
)
CHANGES = (
    argument(
        "--changes",
        metavar="FILE",
        type=Path,
        help="the plan changed by hand: a CSV file with the columns unit_id, action, week_of, note",
    ),
    argument(
        "--change",
        metavar="UNIT:WORK:WEEK",
        action="append",
        default=[],
        help="one change by hand, for example S0005:rebuild:2026-11-09 or S0005:leave; may be given again",
    ),
)
# Prices that a question may set for itself, beside fleet.toml's: option, field of forecaster.prices.Prices, what it is.
PRICE_OPTIONS = (
    ("--rebuild-price", "rebuild", "a planned rebuild"),
    ("--new-unit-price", "new_unit", "a new unit"),
    ("--engine-price", "engine_damage", "an engine repair"),
    ("--check-price", "check", "a check"),
    ("--day-rate", "day_rate", "rental income of one in-season day"),
)
RUSH_OPTION = ("--rush-surcharge", "rebuild_in_season_extra", "what a rebuild costs more in season")
RESET_OPTION = ("--open-and-reset-price", "open_and_reset", "opening a unit, resetting its slip, putting it back")


def _price(name: str, field: str, what: str) -> Argument:
    return argument(
        name,
        metavar="MONEY",
        dest=f"price_{field}",
        type=NumberOf(PRICE),
        help=f"{what}, in place of the fleet's own",
    )


PRICES = tuple(_price(*option) for option in PRICE_OPTIONS)
# A quote for the bench knows no rental income, and no check: the unit is open already.
QUOTE_PRICES = tuple(
    _price(*option) for option in (*PRICE_OPTIONS, RUSH_OPTION, RESET_OPTION) if option[1] not in ("day_rate", "check")
)


def prices_given(asked: Namespace) -> dict[str, float]:
    """The prices that the question sets for itself."""
    fields = [field for _, field, _ in (*PRICE_OPTIONS, RUSH_OPTION, RESET_OPTION)]
    given = {field: getattr(asked, f"price_{field}", None) for field in fields}  # no command takes them all
    return {field: value for field, value in given.items() if value is not None}


def plan_wishes(asked: Namespace) -> PlanWishes:
    """All that the question sets of the plan, as ``Fleet.plan`` takes it: every option that bears a wish's name."""
    from forecaster.plan_limits import PlanWishes

    given = {name: getattr(asked, name) for name in PlanWishes.__annotations__ if name in asked}
    return cast("PlanWishes", {**given, "prices": prices_given(asked)})


def changes_asked(fleet: Fleet, as_of: date, asked: Namespace) -> dict[str, PlanEdit]:
    """The plan's changes by hand: those of the file, and in their place those given one by one.

    Raises SourceError and WrongUsage where one cannot be used; how the file was read is told on standard error.
    """
    from forecaster.plan_changes import change_in_text

    edits: dict[str, PlanEdit] = {}
    if asked.changes is not None:
        read = fleet.read_changes(content_of(asked.changes), asked.changes.name, as_of, asked.begins, asked.ready_by)
        edits.update(read.edits)
        for notice in read.notices:
            tell(str(notice))
    edits.update(change_in_text(text) for text in asked.change)
    return edits


def sources_of(asked: Namespace, *but: str) -> tuple[Path, ...]:
    """Every file that a command reads, over which it never writes: SOURCE's and those of its options, `but` some."""
    from forecaster.reading import files_of

    source: str | None = getattr(asked, "source", None)  # not every command takes them all
    options = [getattr(asked, name, None) for name in ("experience", "priors", "changes") if name not in but]
    return (*(() if source is None else files_of(source)), *(path for path in options if path is not None))


def content_of(path: Path) -> bytes:
    """The bytes of a file of changes. Raises SourceError where it cannot be opened, or is no such file."""
    from forecaster.errors import SourceError
    from forecaster.plan_changes import MOST_BYTES
    from forecaster.regular_files import NotReadable, regular_content

    try:
        return regular_content(path, MOST_BYTES)
    except NotReadable as error:
        raise SourceError(f"{path}: {error}") from error


def opened(asked: Namespace) -> tuple[Fleet, date]:
    """The fleet that was asked about, with the experience or priors given, and the day to answer for."""
    from forecaster.fleet import open_fleet

    as_of, today = days_asked(asked)
    tell_progress(f"Reading {asked.source} ...")
    believed = (getattr(asked, "experience", None), getattr(asked, "priors", None))  # not every command takes them
    return open_fleet(asked.source, today, *believed), as_of


def tell_learning(fleet: Fleet, as_of: date) -> None:
    """Say that the model is being learned, and from how much."""
    tell_progress(f"Learning from {fleet.histories(as_of).n_lives:,} lives ...")


def days_asked(asked: Namespace) -> tuple[date, date]:
    """The day asked about and the day up to which rows are believed: a day ahead of the clock is taken at its word."""
    clock = date.today()
    if asked.as_of is None:
        refuse_day(clock, "The day of this computer's clock", "Set the clock right, or name a day with --as-of.")
    as_of: date = asked.as_of or clock
    return as_of, max(as_of, min(clock, LAST_DAY))


def page() -> Page:
    """What the answer is written for: the terminal in front of the reader, or a file."""
    from forecaster.report.terminal import page_of

    return page_of(sys.stdout)
