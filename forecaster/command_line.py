"""How the command line works, whatever the commands: registration, options, refusals, streams, exit status.

Only the standard library is imported here, and by ``forecaster.commands`` before a command runs: ``--help`` answers
at once.
"""

from __future__ import annotations

import argparse
import os
import re
import sys
import traceback
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date
from difflib import get_close_matches
from types import TracebackType
from typing import Any, NoReturn, TextIO

from forecaster.errors import ForecasterError, WrongUsage
from forecaster.plain_streams import bare, plain, plain_streams
from forecaster.ranges import FIRST_DAY, HORIZON_HOURS, LAST_DAY, NumberRange, OutOfRange, within_days
from forecaster.shown_values import MOST_SHOWN, shortened, shown

MOST_REPEATED = 200  # characters of a word of the command that a refusal repeats whole: a path may be so long
MOST_OF_A_FAULT = 300  # characters: what a library says may hold a whole table
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
        near = get_close_matches(words[0][:MOST_SHOWN], commands.by_name, n=1, cutoff=0.0)[0]
        raise WrongUsage(f"{shown(words[0])} is not a command. The nearest is `{PROGRAM} {near}`. {_known(commands)}")
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
    option = shortened(word.split("=")[0])
    known = [name for action in parser._actions for name in action.option_strings if name.startswith("--")]
    near = get_close_matches(option, known, n=1, cutoff=0.0)[0]
    raise WrongUsage(f"{option} is not an option here. The nearest is {near}. See `{parser.prog} --help`.")


def day(text: str) -> date:
    """A day given as year-month-day, in the span in which the forecaster reckons; nothing else is guessed at."""
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        raise argparse.ArgumentTypeError(f"{shown(text)} is not a date; write year-month-day, for example 2026-10-31")
    try:
        found = date.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text!r} is not a day of the calendar ({error})") from error
    if not within_days(found):
        raise argparse.ArgumentTypeError(f"{text!r} is not a day from {FIRST_DAY} to {LAST_DAY}")
    return found


@dataclass(frozen=True)
class NumberOf:
    """Reads the number that a word says, as ``type`` of an argument; a whole number where the range is one of those."""

    limits: NumberRange

    def __call__(self, text: str) -> float:
        """The number. Raises argparse's own error, with the range, for a word that says none of it."""
        try:
            return self.limits.typed(text)
        except OutOfRange as refusal:
            raise argparse.ArgumentTypeError(str(refusal)) from None


# To look ahead: one option for every question that asks for so many hours.
HOURS = argument(
    "--hours", metavar="H", type=NumberOf(HORIZON_HOURS), default=50.0, help="engine hours to look ahead (50)"
)


def tell(text: str) -> None:
    """A message to whoever watches: on standard error, so that answers stay alone on standard output."""
    if sys.stderr is None:  # else print would take standard output
        return
    try:
        print(plain(text), file=sys.stderr, flush=True)
    except (OSError, ValueError):  # nobody is there to be told
        _let_go_of(sys.stderr, sys.__stderr__)


def tell_progress(text: str) -> None:
    """What is being done, where a person watches a terminal: nothing in files and pipes."""
    if sys.stderr is not None and sys.stderr.isatty():
        tell(text)


def hush_libraries() -> None:
    """Warnings of libraries speak to developers: none reaches a terminal, unless Python's -W or -X dev asks for them.

    What makes an answer wrong is checked where it is worked out, and told as a refusal or a remark.
    """
    if not sys.warnoptions:
        warnings.simplefilter("ignore")


def with_short_words(told: str, words: Sequence[str]) -> str:
    """What is told of the words of a command, without those of any length: argparse repeats them as they are."""
    given = [part for word in words if len(word) > MOST_REPEATED for part in (word, word.partition("=")[2])]
    for word in given:
        if len(word) > MOST_REPEATED:
            told = told.replace(repr(word), shown(word)).replace(word, shortened(word))
    return told


def run(answer: Callable[[], int], words: Sequence[str] = ()) -> int:
    """The exit status of `answer`, with every refusal told in plain words; `words`: those that ask for it.

    A standard output that nobody reads any more ends it quietly: with 1 where the reader left before the end, with the
    answer's own status where there was no output from the start, as with one that leads nowhere.
    """
    _open_what_is_closed()
    _make_streams_encodable()
    if not sys.flags.dev_mode:  # `python -X dev -m forecaster` shows developers the whole traceback
        sys.excepthook = tell_fault
    try:
        try:
            with plain_streams():
                return answer()
        finally:
            sys.stdout.flush()
    except ForecasterError as refusal:
        tell(f"{PROGRAM}: {with_short_words(str(refusal), words)}")
        return refusal.exit_status
    except BrokenPipeError:
        _let_go_of(sys.stdout, sys.__stdout__)
        return STOPPED
    except KeyboardInterrupt:
        tell(f"{PROGRAM}: stopped before the answer was complete.")
        return STOPPED
    except OSError as error:
        tell(f"{PROGRAM}: {error.strerror or error}{_file_of(error)}. The answer is not complete.")
        _let_go_of(sys.stdout, sys.__stdout__)
        return STOPPED


def _file_of(error: OSError) -> str:
    return f": {error.filename}" if error.filename else ""


def _make_streams_encodable() -> None:
    """A craft's name that the terminal cannot show is shown as an escape, where it would stop the program."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")


def _open_what_is_closed() -> None:
    """Where a standard stream was closed before the start (``>&-``), let it lead nowhere.

    Python has none then, and the next file that is opened would get its number: what compiled code prints would end up
    in it.
    """
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            nowhere = os.open(os.devnull, os.O_RDWR)  # the lowest number that is free, and so the stream's own
            setattr(sys, name, os.fdopen(nowhere, mode, encoding="utf-8", closefd=False))


def _let_go_of(stream: TextIO, own: TextIO | None) -> None:
    """Send what is still unwritten nowhere: the reader has gone, and the interpreter would complain on its way out."""
    if own is not None and bare(stream) is own:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, own.fileno())
        os.close(nowhere)


def tell_fault(kind: type[BaseException], fault: BaseException, trace: TracebackType | None) -> None:
    """A fault of the program itself in one line that is worth reporting, instead of a traceback."""
    frames = traceback.extract_tb(trace)
    where = f" (at {os.path.basename(frames[-1].filename)} line {frames[-1].lineno})" if frames else ""
    tell(
        f"{PROGRAM}: a fault of the program, not of your records: "
        f"{kind.__name__}: {shortened(str(fault), MOST_OF_A_FAULT)}{where}. "
        "Please report this line to whoever maintains the program."
    )
