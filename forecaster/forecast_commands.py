"""The commands about records, forecast and what it rests on: validate, forecast, experience, backtest."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from forecaster.command_line import (
    DONE,
    HOURS,
    STOPPED,
    Commands,
    NumberOf,
    argument,
    day,
    tell,
    tell_progress,
)
from forecaster.model_names import DEFAULT_MODEL, MODELS
from forecaster.question_options import (
    AS_JSON,
    AS_OF,
    EXPERIENCE,
    FORCE,
    PRIORS,
    SOURCE,
    days_asked,
    opened,
    page,
    sources_of,
    tell_learning,
)
from forecaster.ranges import NumberRange

if TYPE_CHECKING:
    from forecaster.problems import Reading

COMMANDS = Commands()
UNITS_PRINTED = NumberRange("a whole number of units", 1, 1_000_000, whole=True)


@COMMANDS.register(
    "validate",
    "what was read, and every problem: file, row, column, value, why, what to do",
    SOURCE,
    AS_JSON,
    argument("--as-of", metavar="DATE", type=day, help="rows dated after this day and after today are refused (today)"),
    argument(
        "--refused", metavar="PATH", type=Path, help="write the refused rows, with their reasons: a folder, or .xlsx"
    ),
    FORCE,
)
def _validate(asked: Namespace) -> int:
    from forecaster.reading import read_fleet
    from forecaster.report.as_json import validation_json, written
    from forecaster.report.text import validation_text

    _, today = days_asked(asked)
    reading = read_fleet(asked.source, today)
    if asked.refused is not None:
        tell(_refused_written(reading, asked.refused, asked.force))
    print(written(validation_json(reading)) if asked.json else validation_text(reading, page()))
    return STOPPED if reading.stops_answer else DONE


def _refused_written(reading: Reading, path: Path, force: bool) -> str:
    """Write the refused rows, and say where to; and what is, or was, there of an earlier run."""
    from forecaster.writing import refused_lists, write_refused

    earlier = refused_lists(path)
    files = write_refused(reading, path, force)
    told = [f"Refused rows written to {_listed(files)}." if files else "No row was refused."]
    left_over = [file for file in earlier if file not in files]
    if left_over and force:
        told.append(f"Deleted, since nothing of it is refused any more: {_listed(left_over)}.")
    elif left_over:
        told.append(f"Of an earlier run, and no longer so: {_listed(left_over)}. --force deletes such lists.")
    return " ".join(told)


def _listed(files: Sequence[Path]) -> str:
    return ", ".join(map(str, files))


@COMMANDS.register(
    "forecast",
    "risk and engine hours left of each unit in service, ranked",
    SOURCE,
    AS_JSON,
    AS_OF,
    HOURS,
    argument(
        "--model",
        choices=tuple(MODELS),
        default=DEFAULT_MODEL,
        metavar="MODEL",
        help=f"life model: {' or '.join(MODELS)} ({DEFAULT_MODEL})",
    ),
    EXPERIENCE,
    PRIORS,
    argument("--limit", metavar="N", type=NumberOf(UNITS_PRINTED), help="print only the N units most at risk"),
)
def _forecast(asked: Namespace) -> int:
    from forecaster.report.as_json import forecast_json, written
    from forecaster.report.text import forecast_text

    fleet, as_of = opened(asked)
    tell_learning(fleet, as_of)
    forecast = fleet.forecast(as_of, asked.hours, asked.model)
    doubtful = fleet.reading.doubtful_units
    if asked.json:
        print(written(forecast_json(forecast, doubtful, asked.limit)))
    else:
        refused = sum(fleet.reading.refused_counts.values())
        print(forecast_text(forecast, page(), doubtful, refused, asked.source, asked.limit))
    return DONE


@COMMANDS.register(
    "experience",
    "save what this fleet taught to a file that another fleet can start from; no craft, owner or date is in it",
    argument("act", metavar="save", choices=("save",), help="the only act so far"),
    SOURCE,
    argument("file", metavar="FILE", type=Path, help="the JSON file to write"),
    FORCE,
    AS_OF,
)
def _experience(asked: Namespace) -> int:
    from forecaster.experience import save_experience
    from forecaster.fleet import open_fleet
    from forecaster.written_files import check_places

    as_of, today = days_asked(asked)
    fleet = open_fleet(asked.source, today)
    check_places([asked.file], sources_of(asked), asked.force)  # told before the long work, not after it
    tell_learning(fleet, as_of)
    fit = fleet.two_stage(as_of)
    save_experience(fit, asked.file, asked.force, sources_of(asked))
    print(
        f"What {fit.evidence.lives} lives with {fit.evidence.failures} failures taught is in {asked.file}.\n"
        f"Use it with: forecaster forecast SOURCE --experience {asked.file}"
    )
    return DONE


@COMMANDS.register(
    "backtest",
    "how good past forecasts would have been, against simpler rules",
    SOURCE,
    AS_JSON,
    AS_OF,
    HOURS,
    argument(
        "--every",
        choices=("month", "season"),
        default="month",
        metavar="SPAN",
        help="look back on forecasts of each month of a season (month, the default), or of its opening alone (season)",
    ),
)
def _backtest(asked: Namespace) -> int:
    from forecaster.report.as_json import written
    from forecaster.report.backtest_text import backtest_json, backtest_text

    fleet, as_of = opened(asked)

    def progress(done: int, days: int, what: str) -> None:
        tell_progress(f"{done} of {days} past days: {what} ...")

    told = fleet.backtest(as_of, asked.hours, asked.every, progress)
    print(written(backtest_json(told)) if asked.json else backtest_text(told, page()))
    return DONE
