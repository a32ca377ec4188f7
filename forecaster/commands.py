"""The command line: each command is one function that asks the core and prints the answer.

The commands stand by subject in the rooms beside this one. To add one, write a function like those, register it, and
put it into README's table. Import what it needs inside it. Standard output holds the answer and nothing else.
"""

from __future__ import annotations

import sys
from argparse import Namespace
from collections.abc import Sequence
from pathlib import Path

from forecaster import (
    __version__,
    bench_commands,
    decision_commands,
    forecast_commands,
    help_command,
    report_command,
)
from forecaster.command_line import DONE, Commands, NumberOf, argument, hush_libraries, parse, run, tell_progress
from forecaster.question_options import FORCE
from forecaster.ranges import CRAFT_INVENTED, SEASONS_INVENTED, SEED, UPLOAD_MEMORY, UPLOAD_TIME, NumberRange

DESCRIPTION = "Forecasts the maintenance of superchargers on rental watercraft from hour logs, water and teardowns."
ROOMS = (forecast_commands, decision_commands, report_command, bench_commands, help_command)
COMMANDS = Commands({name: command for room in ROOMS for name, command in room.COMMANDS.by_name.items()})
PORT = NumberRange("a whole number", 1, 65_535, whole=True)
# As in forecaster.worlds, which is too heavy to ask for --help; the tests hold them together.
WORLD_NAMES = ("rust_at_incident", "lasting_rise", "dry", "long_noise")


def main(words: Sequence[str] | None = None) -> int:
    """Run the command that `words` (by default the process's own) ask for; returns the exit status."""
    if words is None:  # this process is the command, and nobody else's
        hush_libraries()
    given = sys.argv[1:] if words is None else list(words)
    return run(lambda: _answer(given), given)


def _answer(words: list[str]) -> int:
    if words[:1] == ["help"] and words[1:2] and words[1] in COMMANDS.by_name:
        words = [words[1], "--help"]  # as people ask elsewhere
    asked = parse(COMMANDS, words, __version__, DESCRIPTION)
    asked.commands = COMMANDS  # for the limits of all options
    status: int = asked.command.run(asked)
    return status


@COMMANDS.register(
    "simulate",
    "an invented fleet with a known truth, to try things out on",
    argument("out", metavar="OUT", type=Path, help="folder to write it to; it is made"),
    argument("--craft", metavar="N", type=NumberOf(CRAFT_INVENTED), default=28, help="how many craft (28)"),
    argument("--seasons", metavar="N", type=NumberOf(SEASONS_INVENTED), default=3, help="how many rental seasons (3)"),
    argument("--seed", metavar="N", type=NumberOf(SEED), default=1, help="another seed, another fleet (1)"),
    argument(
        "--world", metavar="NAME", default=WORLD_NAMES[0], help=f"law of nature: {', '.join(WORLD_NAMES)} (the first)"
    ),
    argument("--truth", action="store_true", help="also write truth.json: what really was so"),
    FORCE,
)
def _simulate(asked: Namespace) -> int:
    from forecaster.simulate import check_invented, simulate_fleet, write_simulated

    check_invented(asked.out, asked.truth, asked.force)  # told before the work, not after it
    tell_progress("Inventing a fleet ...")
    fleet = simulate_fleet(craft=asked.craft, seasons=asked.seasons, seed=asked.seed, world=asked.world)
    write_simulated(fleet, asked.out, asked.truth, asked.force)
    print(
        f"An invented fleet of {asked.craft:,} craft is in {asked.out}; its records end on {fleet.as_of}.\n"
        f"Forecast it with: forecaster forecast {asked.out} --as-of {fleet.as_of}"
    )
    return DONE


@COMMANDS.register(
    "dashboard",
    "the same answers in the browser; ends with Ctrl-C",
    argument(
        "source",
        metavar="SOURCE",
        nargs="?",
        help="a fleet folder or a workbook; without it the start page offers the sample fleet",
    ),
    argument("--port", metavar="N", type=NumberOf(PORT), help="port to listen on (a free one from 8501 up)"),
    argument("--no-browser", action="store_true", help="print the address without opening the browser"),
    argument(
        "--upload-memory", metavar="MB", type=NumberOf(UPLOAD_MEMORY), help="memory for reading one upload (1000)"
    ),
    argument("--upload-seconds", metavar="N", type=NumberOf(UPLOAD_TIME), help="time for reading one upload (60)"),
)
def _dashboard(asked: Namespace) -> int:
    from forecaster.serving import serve_dashboard

    limits = {"FORECASTER_UPLOAD_MEMORY": asked.upload_memory, "FORECASTER_UPLOAD_SECONDS": asked.upload_seconds}
    return serve_dashboard(asked.source, asked.port, not asked.no_browser, limits)
