"""The command ``help``: topics that are no command of their own, pages that ship with the program among them."""

from __future__ import annotations

from argparse import Namespace
from difflib import get_close_matches
from importlib import resources

from forecaster.command_line import DONE, Commands, argument
from forecaster.question_options import AS_JSON, page

COMMANDS = Commands()
LIMITS = "limits"
PAGES = "docs"  # beside this file: one page a topic, named for it
ENDING = ".md"


@COMMANDS.register(
    "help",
    "topics to read about; limits: how much is read, which numbers and days are taken, where to change it",
    argument("topic", metavar="TOPIC", nargs="?", help="what to read about; left out: which topics there are"),
    AS_JSON,
)
def _help(asked: Namespace) -> int:
    from forecaster.report.as_json import written

    if asked.topic is None:
        found = topics()
        width = max(map(len, found))
        lines = [f"  {name:<{width}}  {about}" for name, about in found.items()]
        told = "\n".join(["Read about one of these with `forecaster help TOPIC`:", *lines, "", OF_COMMANDS])
        print(written({"topics": found}) if asked.json else told)
    elif asked.topic == LIMITS:
        from forecaster.limits import limits
        from forecaster.report.limits_text import limits_json, limits_text

        found_limits = limits(asked.commands)
        print(written(limits_json(found_limits)) if asked.json else limits_text(found_limits, page()))
    else:
        text = page_about(asked.topic)
        print(written({"topic": asked.topic, "text": text}) if asked.json else text.rstrip("\n"))
    return DONE


OF_COMMANDS = "Of a command: `forecaster COMMAND --help`."


def topics() -> dict[str, str]:
    """Topics that can be read about, and each in a line."""
    return {LIMITS: "how much is read, which numbers and days are taken, and where to change it", **_pages()}


def _pages() -> dict[str, str]:
    """The pages that ship with the program, by topic, and the heading of each."""
    folder = resources.files("forecaster").joinpath(PAGES)
    names = sorted(file.name for file in folder.iterdir() if file.name.endswith(ENDING)) if folder.is_dir() else []
    return {
        name.removesuffix(ENDING): folder.joinpath(name).read_text("utf-8").lstrip("# ").split("\n", 1)[0]
        for name in names
    }


def page_about(topic: str) -> str:
    """The page about a topic. Raises WrongUsage, naming the nearest topic, where there is none."""
    from forecaster.errors import WrongUsage

    if topic not in _pages():
        near = get_close_matches(topic, topics(), n=1, cutoff=0.0)[0]
        raise WrongUsage(
            f"{topic!r} is no topic. The nearest is `forecaster help {near}`. Topics: {', '.join(topics())}. "
            f"{OF_COMMANDS}"
        )
    return resources.files("forecaster").joinpath(PAGES, f"{topic}{ENDING}").read_text("utf-8")
