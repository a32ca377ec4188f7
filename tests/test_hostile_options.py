"""Every option of every command with values that nobody means: a plain refusal, or an answer that holds numbers.

The exit status is 0, 1 or 2, no warning is raised, and nothing else than a refusal ever leaves a command.
"""

from __future__ import annotations

import argparse
import json
import math
import re
from collections.abc import Iterator
from contextlib import redirect_stderr, redirect_stdout
from datetime import date
from io import StringIO
from pathlib import Path

import pytest

from forecaster import command_line, question_options
from forecaster.command_line import Argument, NumberOf, parse
from forecaster.commands import COMMANDS, main
from forecaster.errors import WrongUsage
from forecaster.ranges import FIRST_DAY, LAST_DAY
from tests.hostile_values import WORDS, is_plain
from tests.small_fleet import small_fleet_folder

DAY = "2025-11-05"  # after the small fleet's season
NOT_ASKED = {"dashboard"}  # serves until it is stopped
AT_LENGTH = {"simulate": ("--craft", "--seasons")}  # the most of these takes hours
# What a command needs besides its options; FLEET and OUT stand for folders.
WORDS_OF = {
    "validate": ("FLEET",),
    "forecast": ("FLEET",),
    "experience": ("save", "FLEET", "OUT/bench.json"),
    "backtest": ("FLEET",),
    "compare": ("FLEET", "S1"),
    "plan": ("FLEET",),
    "interval": ("FLEET",),
    "report": ("FLEET", "--out", "OUT", "--force", "--no-look-back", "--only", "csv"),
    "flooded": (),
    "teardown": ("FLEET",),
    "slip": ("FLEET",),
    "help": ("limits",),
    "simulate": ("OUT/invented", "--force"),
}


def options_of(command: str) -> list[Argument]:
    """Options that take a value."""
    own = COMMANDS.by_name[command].arguments
    return [one for one in own if one.names[0].startswith("-") and one.options.get("action") != "store_true"]


ALL = [(name, option) for name in COMMANDS.by_name for option in options_of(name)]
NAMED = [f"{name} {option.names[0]}" for name, option in ALL]


def words_of(command: str, fleet: str = "fleet", out: str = "out") -> list[str]:
    words = (word.replace("FLEET", fleet).replace("OUT", out) for word in WORDS_OF.get(command, ()))
    return [command, *words]


def test_every_command_that_can_be_asked_is_asked_here() -> None:
    assert set(WORDS_OF) | NOT_ASKED == set(COMMANDS.by_name)


@pytest.mark.parametrize(("command", "option"), ALL, ids=NAMED)
def test_an_option_takes_a_value_of_its_range_and_refuses_every_other(command: str, option: Argument) -> None:
    for word in WORDS:
        told = ""
        try:
            asked = parse(COMMANDS, [*words_of(command), f"{option.names[0]}={word}"], "0", "")
        except WrongUsage as refusal:
            told = command_line.with_short_words(str(refusal), [f"{option.names[0]}={word}"])
            is_plain(told.encode("ascii", "backslashreplace").decode())
            assert option.names[0] in told
            continue
        value = getattr(asked, option.options.get("dest", option.names[0].removeprefix("--").replace("-", "_")))
        reads = option.options.get("type")
        if isinstance(reads, NumberOf):
            assert reads.limits.why_not(value) is None
            assert value == float(word)
        elif reads is command_line.day:
            assert FIRST_DAY <= (value[-1] if isinstance(value, list) else value) <= LAST_DAY


@pytest.mark.parametrize(("command", "option"), ALL, ids=NAMED)
def test_an_option_is_a_number_a_day_a_path_one_of_some_words_or_read_later(command: str, option: Argument) -> None:
    reads, later = option.options.get("type"), ("--owner", "--change", "--world", "--model", "--every")
    known = isinstance(reads, NumberOf) or reads in (command_line.day, Path) or "choices" in option.options
    assert known or option.names[0] in later


# --- whole answers ----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> str:
    return str(small_fleet_folder(tmp_path_factory.mktemp("options") / "fleet"))


def answered(*words: str) -> tuple[int, str, str]:
    with redirect_stdout(StringIO()) as out, redirect_stderr(StringIO()) as err:
        status = main(words)
    return status, out.getvalue(), err.getvalue()


def no_number_is_missing(told: str) -> None:
    """Neither NaN, nor infinity, nor -0 is told; JSON is strict."""
    strange = re.search(r"\bnan\b|\binf\b|(?<![\w.-])-0(?:[.,]0+)?(?![\w.,-])", told, re.IGNORECASE)
    assert strange is None, told[max(strange.start() - 80, 0) : strange.end() + 40]
    if told.startswith("{"):
        json.loads(told, parse_constant=lambda text: pytest.fail(f"{text} in JSON"))


def at(end: str, option: Argument) -> Iterator[str]:
    """The option at one end of its range."""
    reads = option.options.get("type")
    if isinstance(reads, NumberOf):
        yield f"{option.names[0]}={getattr(reads.limits, end):.12g}"


@pytest.mark.parametrize("command", WORDS_OF)
@pytest.mark.parametrize("end", ["least", "most"])
def test_with_every_number_at_an_end_of_its_range_there_is_an_answer_or_a_refusal(
    fleet: str, tmp_path: Path, command: str, end: str
) -> None:
    numbers = [
        word
        for option in options_of(command)
        if option.names[0] not in AT_LENGTH.get(command, ())
        for word in at(end, option)
    ]
    days = [] if command in ("simulate", "help") else ["--as-of", DAY]
    for form in (
        ((), ("--json",)) if any("--json" in one.names for one in COMMANDS.by_name[command].arguments) else ((),)
    ):
        status, told, refused = answered(*words_of(command, fleet, str(tmp_path)), *days, *numbers, *form)
        assert status in (0, 1, 2)
        assert (status == 0) == bool(told), refused
        no_number_is_missing(told)
        is_plain(refused)


@pytest.mark.parametrize("prices", [("0", "0"), ("1000000000", "0"), ("0", "1000000000")])
@pytest.mark.parametrize("command", ["compare", "plan", "interval"])
def test_prices_that_contradict_each_other_leave_an_answer_of_numbers(
    fleet: str, command: str, prices: tuple[str, str]
) -> None:
    given = zip(("--rebuild-price", "--new-unit-price"), prices, strict=True)
    asked = (f"{name}={price}" for name, price in given)
    for form in ((), ("--json",)):
        status, told, refused = answered(*words_of(command, fleet), "--as-of", DAY, *asked, *form)
        assert (status, refused) == (0, "")
        no_number_is_missing(told)


# --- the machine's own day --------------------------------------------------------------------------------------------


class _Clock(date):
    """A clock that was never set, or set far ahead."""

    shows = (1970, 1, 1)

    @classmethod
    def today(cls) -> _Clock:
        return cls(*cls.shows)


@pytest.mark.parametrize("year", [1970, 1989, 2101, 3000, 9999])
def test_a_clock_that_is_wrong_is_told_and_a_day_that_is_named_goes_before_it(
    fleet: str, monkeypatch: pytest.MonkeyPatch, year: int
) -> None:
    monkeypatch.setattr(question_options, "date", _Clock)
    monkeypatch.setattr(_Clock, "shows", (year, 12, 31))
    for command in ("validate", "forecast", "plan", "slip", "backtest", "flooded"):
        status, told, refused = answered(*words_of(command, fleet))
        assert (status, told) == (2, "")
        assert (
            f"The day of this computer's clock must lie between 1990-01-01 and 2100-12-31; it is {year}-12-31"
            in refused
        )
        assert "name a day with --as-of" in refused
    assert answered(*words_of("validate", fleet), "--as-of", DAY)[0] == 0
    assert answered(*words_of("forecast", fleet), "--as-of", DAY, "--json")[0] == 0


@pytest.mark.parametrize("command", ["forecast", "compare", "plan", "slip", "interval", "backtest", "flooded"])
@pytest.mark.parametrize("day", [FIRST_DAY, LAST_DAY])
def test_both_ends_of_the_span_of_days_are_answered_or_refused_in_words(fleet: str, command: str, day: date) -> None:
    status, told, refused = answered(*words_of(command, fleet), "--as-of", day.isoformat(), "--json")
    assert status in (0, 1)
    assert (status == 0) == bool(told)
    no_number_is_missing(told)
    is_plain(refused)


def test_an_option_of_the_wrong_kind_is_argparses_own_error() -> None:
    with pytest.raises(argparse.ArgumentTypeError, match="is not a day from 1990-01-01 to 2100-12-31"):
        command_line.day("9999-12-31")
    assert not math.isnan(float(command_line.HOURS.options["default"]))
