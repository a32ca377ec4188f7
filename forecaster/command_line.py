"""How the command line works, whatever the commands: registration, options, refusals, streams, exit status.

Only the standard library is imported here, and by ``forecaster.commands`` before a command runs: ``--help`` answers
at once.
"""

from __future__ import annotations

import argparse
import math
import os
import re
import sys
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date
from difflib import get_close_matches
from types import TracebackType
from typing import Any, NoReturn

from forecaster.errors import ForecasterError, WrongUsage
from forecaster.plain_streams import plain, plain_streams

DONE, STOPPED = 0, 1  # exit statuses; those of refusals stand in forecaster.errors
PROGRAM = "forecaster"


@dataclass(frozen=True)
class Argument:
    """One argument of a command, as argparse takes it."""

    names: tuple[str, ...]
    options: dict[str, Any]


def argument(*names: str, **options: Any) -> Argument:
    """An argument of a command; names and options as for ``ArgumentParser.add_argument``."""
    return Argument(names, options)


@dataclass(frozen=True)
class Command:
    """A command: its name, what it answers, its arguments, and the function that answers and gives the exit status."""

    name: str
    answers: str
    arguments: tuple[Argument, ...]
    run: Callable[[argparse.Namespace], int]


@dataclass(frozen=True)
class Commands:
    """The commands of the program, by name, in the order in which they were registered."""

    by_name: dict[str, Command] = field(default_factory=dict)

    def register(
        self, name: str, answers: str, *arguments: Argument
    ) -> Callable[[Callable[[argparse.Namespace], int]], Callable[[argparse.Namespace], int]]:
        """Decorate the function that runs a command; it gets the parsed arguments and returns the exit status."""

        def keep(run: Callable[[argparse.Namespace], int]) -> Callable[[argparse.Namespace], int]:
            self.by_name[name] = Command(name, answers, arguments, run)
            return run

        return keep


class _Parser(argparse.ArgumentParser):
    """Refuses as the rest of the program does: one plain message, exit status 2."""

    def error(self, message: str) -> NoReturn:
        raise WrongUsage(f"{message}. See `{self.prog} --help`.")


def parse(commands: Commands, words: Sequence[str], version: str, description: str) -> argparse.Namespace:
    """The arguments of the command that `words` ask for, with the command itself as ``command``.

    Raises WrongUsage for a command or option that is not known, naming the nearest, and for a value of the wrong kind.
    ``--help`` and ``--version`` print and raise SystemExit(0).
    """
    parser, parsers = _parsers(commands, version, description)
    if not words:
        raise WrongUsage(f"Say what to do. {_known(commands)} See `{PROGRAM} --help`.")
    if not words[0].startswith("-") and words[0] not in commands.by_name:
        near = get_close_matches(words[0], commands.by_name, n=1, cutoff=0.0)[0]
        raise WrongUsage(f"{words[0]!r} is not a command. The nearest is `{PROGRAM} {near}`. {_known(commands)}")
    asked, unknown = parser.parse_known_args(words)
    if unknown:
        _refuse_unknown(unknown[0], parsers[asked.command.name] if "command" in asked else parser)
    if "command" not in asked:
        raise WrongUsage(f"Say what to do. {_known(commands)} See `{PROGRAM} --help`.")
    return asked


def _parsers(commands: Commands, version: str, description: str) -> tuple[_Parser, dict[str, _Parser]]:
    parser = _Parser(prog=PROGRAM, description=description, allow_abbrev=False)
    parser.add_argument("--version", action="version", version=f"{PROGRAM} {version}")
    several = parser.add_subparsers(metavar="COMMAND", parser_class=_Parser)
    parsers = {}
    for command in commands.by_name.values():
        answers = command.answers
        own = several.add_parser(command.name, help=answers, description=_sentence(answers), allow_abbrev=False)
        for each in command.arguments:
            own.add_argument(*each.names, **each.options)
        own.set_defaults(command=command)
        parsers[command.name] = own
    return parser, parsers


def _sentence(answers: str) -> str:
    return f"{answers[0].upper()}{answers[1:]}."


def _known(commands: Commands) -> str:
    return f"Commands: {', '.join(commands.by_name)}."


def _refuse_unknown(word: str, parser: _Parser) -> NoReturn:
    if not word.startswith("-"):
        raise WrongUsage(f"{word!r} is one argument too many. See `{parser.prog} --help`.")
    option = word.split("=")[0]
    known = [name for action in parser._actions for name in action.option_strings if name.startswith("--")]
    near = get_close_matches(option, known, n=1, cutoff=0.0)[0]
    raise WrongUsage(f"{option} is not an option here. The nearest is {near}. See `{parser.prog} --help`.")


def day(text: str) -> date:
    """A day given as year-month-day; anything else is refused rather than guessed."""
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
        try:
            return date.fromisoformat(text)
        except ValueError as error:
            raise argparse.ArgumentTypeError(f"{text!r} is not a day of the calendar ({error})") from error
    raise argparse.ArgumentTypeError(f"{text!r} is not a date; write year-month-day, for example 2026-10-31")


def positive_hours(text: str) -> float:
    """Engine hours above 0."""
    try:
        hours = float(text)
    except ValueError:
        hours = math.nan
    if not (math.isfinite(hours) and hours > 0):
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of engine hours above 0, for example 50")
    return hours


def number_from_0(of_what: str) -> Callable[[str], float]:
    """A reader of numbers of at least 0; `of_what`: what they count."""

    def read(text: str) -> float:
        try:
            number = float(text)
        except ValueError:
            number = math.nan
        if not (math.isfinite(number) and number >= 0):
            raise argparse.ArgumentTypeError(f"{text!r} is not a number of {of_what}, 0 or more")
        return number

    return read


def share_from_0_to_1(text: str) -> float:
    """A chance or share, from 0 to 1."""
    try:
        found = float(text)
    except ValueError:
        found = math.nan
    if not 0 <= found <= 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a share from 0 to 1, for example 0.1 for one in ten")
    return found


def whole_number(least: int, most: int) -> Callable[[str], int]:
    """A reader of whole numbers between two limits, both allowed."""

    def read(text: str) -> int:
        if not re.fullmatch(r"-?\d{1,18}", text) or not least <= int(text) <= most:
            raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from {least} to {most}")
        return int(text)

    return read


def tell(text: str) -> None:
    """A message to whoever watches: on standard error, so that answers stay alone on standard output."""
    print(plain(text), file=sys.stderr, flush=True)


def tell_progress(text: str) -> None:
    """What is being done, where a person watches a terminal: nothing in files and pipes."""
    if sys.stderr.isatty():
        tell(text)


def run(answer: Callable[[], int]) -> int:
    """The exit status of `answer`, with every refusal told in plain words."""
    _make_streams_encodable()
    if not sys.flags.dev_mode:  # `python -X dev -m forecaster` shows developers the whole traceback
        sys.excepthook = tell_fault
    try:
        with plain_streams():
            status = answer()
        sys.stdout.flush()
    except ForecasterError as refusal:
        tell(f"{PROGRAM}: {refusal}")
        return refusal.exit_status
    except BrokenPipeError:
        _let_go_of_stdout()
        return STOPPED
    except KeyboardInterrupt:
        tell(f"{PROGRAM}: stopped before the answer was complete.")
        return STOPPED
    except OSError as error:
        tell(f"{PROGRAM}: {error.strerror or error}{_file_of(error)}. The answer is not complete.")
        _let_go_of_stdout()
        return STOPPED
    return status


def _file_of(error: OSError) -> str:
    return f": {error.filename}" if error.filename else ""


def _make_streams_encodable() -> None:
    """A craft's name that the terminal cannot show is shown as an escape, where it would stop the program."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")


def _let_go_of_stdout() -> None:
    """Send what is still unwritten nowhere: the reader has gone, and the interpreter would complain on its way out."""
    own = sys.__stdout__
    if own is not None and sys.stdout is own:
        os.dup2(os.open(os.devnull, os.O_WRONLY), own.fileno())


def tell_fault(kind: type[BaseException], fault: BaseException, trace: TracebackType | None) -> None:
    """A fault of the program itself in one line that is worth reporting, instead of a traceback."""
    frames = traceback.extract_tb(trace)
    where = f" (at {os.path.basename(frames[-1].filename)} line {frames[-1].lineno})" if frames else ""
    tell(
        f"{PROGRAM}: a fault of the program, not of your records: {kind.__name__}: {fault}{where}. "
        "Please report this line to whoever maintains the program."
    )
