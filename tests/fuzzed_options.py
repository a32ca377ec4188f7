"""Strategies of hostile options: every option of every command that the program has, found by walking through them."""

from __future__ import annotations

import argparse

from hypothesis import strategies as st

from forecaster.command_line import Argument, Command
from forecaster.commands import COMMANDS
from tests.fuzz_runs import ROOM, Case, Odd
from tests.fuzzed_fleets import CHANGES, FLEET, NAMES, PRIORS, good_experience, good_files
from tests.hostile_texts import ANY, DATES, NUMBERS

PATHS = (
    *(FLEET, FLEET, f"{ROOM}/nowhere", f"{ROOM}/nowhere/deeper.csv", f"{FLEET}/craft.csv", f"{FLEET}/fleet.toml", ROOM),
    *(f"{ROOM}/pipe", f"{ROOM}/device", f"{ROOM}/pipe.xlsx", f"{ROOM}/device.xlsx", f"{ROOM}/empty"),
    *(f"{ROOM}/priors.toml", f"{ROOM}/learned.json", f"{ROOM}/changes.csv", f"{ROOM}/empty.xlsx"),
    *("", ".", "fleet/", "-", "nul", "con", "x" * 300, "\u202ex", "a\nb", "fleet\udcff", "a\0b"),
    *("fleet/craft.csv/x", "new/deeper/x.csv", f"{ROOM}/piped", f"{ROOM}/new.xlsx"),
)  # fmt: skip
NUMBERS_OF_OPTIONS = ("1", "2", "3", "7", "50", "0.5", "0.25", "9000", "20000", "8", *NUMBERS)
DAYS_OF_OPTIONS = ("2025-11-01", "2025-07-04", "2026-01-15", "2026-05-02", "2025-11-10", "1990-01-01", "2100-12-31")
CHANGES_OF_OPTIONS = ("S1:rebuild", "S2:leave", "S3:check:2025-11-10", "S5:rebuild:2026-02-02:why")
# A command that writes must find no way out of its room.
HARMLESS = tuple(text for text in ANY if not text.startswith(("/", "..", "~")))
POOL = (*NUMBERS_OF_OPTIONS, *DAYS_OF_OPTIONS, *DATES, *NAMES, *CHANGES_OF_OPTIONS, "all", "Ødegård Boats", *HARMLESS)
MOST_OPTIONS = 5


@st.composite
def options(draw: st.DrawFn) -> Case:
    """A command with some of its options, each taken or refused."""
    command = COMMANDS.by_name[draw(st.sampled_from(tuple(COMMANDS.by_name)))]
    words: list[str] = [command.name]
    for argument in (a for a in command.arguments if not a.names[0].startswith("-")):
        if argument.options.get("nargs") == "?" and draw(st.integers(0, 2)) == 0:
            break
        words.append(_positional(draw, argument))
    named = [a for a in command.arguments if a.names[0].startswith("-")]
    chosen = draw(st.lists(st.sampled_from(named), max_size=MOST_OPTIONS)) if named else []
    for argument in chosen:
        words += _option(draw, argument)
    if _answers_as_of(command) and draw(st.integers(0, 3)):
        words += ["--as-of", draw(st.sampled_from(DAYS_OF_OPTIONS[:4]))]
    if draw(st.integers(0, 9)) == 9:
        words.insert(draw(st.integers(0, len(words))), draw(st.sampled_from((*HARMLESS, "--help", "--version", "--x"))))
    return Case("options", room_of_options(), tuple(words), did=(" ".join(words)[:200],))


def room_of_options() -> dict[str, bytes | Odd]:
    """A good fleet and what else a path may lead to."""
    odd: dict[str, bytes | Odd] = {
        **{"pipe": Odd.PIPE, "device": Odd.ENDLESS, "pipe.xlsx": Odd.PIPE, "device.xlsx": Odd.ENDLESS},
        **{"empty": Odd.FOLDER, "empty.xlsx": b"", "piped/craft.csv": Odd.PIPE, "piped/fittings.csv": Odd.ENDLESS},
        "priors.toml": PRIORS.encode(),
        "learned.json": good_experience().encode(),
        "changes.csv": CHANGES.encode(),
    }
    return odd | {f"fleet/{name}": content for name, content in good_files().items()}


def _answers_as_of(command: Command) -> bool:
    return any("--as-of" in argument.names for argument in command.arguments)


def _positional(draw: st.DrawFn, argument: Argument) -> str:
    """A word for an argument without a name: mostly one that is meant there."""
    if draw(st.integers(0, 4)):
        usual = {"source": (FLEET,), "unit": NAMES[5:9], "craft": NAMES[:4], "out": (f"{ROOM}/new",)}
        return draw(st.sampled_from(_choices(argument) or usual.get(argument.names[0], (f"{ROOM}/new",))))
    return draw(st.sampled_from((*PATHS, *HARMLESS)))


def _option(draw: st.DrawFn, argument: Argument) -> list[str]:
    """An option and its value: three times in four one that the command line takes."""
    name = draw(st.sampled_from(argument.names))
    if argument.options.get("action") == "store_true":
        return [name]
    if draw(st.integers(0, 3)):
        value = draw(st.sampled_from(taken_values(argument)))
    else:
        value = draw(st.sampled_from((*POOL, *PATHS)))
    return [f"{name}={value}"] if value.startswith("-") or draw(st.booleans()) else [name, value]


def taken_values(argument: Argument) -> tuple[str, ...]:
    """The texts of the pool that the option's own reader takes; its paths where it names a file or folder."""
    if choices := _choices(argument):
        return choices
    kind = argument.options.get("type")
    if argument.options.get("metavar") in ("FILE", "PATH", "FOLDER"):
        return PATHS
    return tuple(text for text in POOL if kind is None or _takes(kind, text))


def _takes(kind: object, text: str) -> bool:
    try:
        kind(text)  # type: ignore[operator]
    except (argparse.ArgumentTypeError, ValueError):
        return False
    return True


def _choices(argument: Argument) -> tuple[str, ...]:
    return tuple(argument.options.get("choices") or ())
