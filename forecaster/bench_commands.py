"""The commands about one craft or unit on the bench: flooded, teardown, slip."""

from __future__ import annotations

from argparse import Namespace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from forecaster.command_line import DONE, HOURS, Commands, NumberOf, argument, day, tell_progress
from forecaster.finding_options import finding_options, told_finding
from forecaster.question_options import (
    AS_JSON,
    AS_OF,
    EXPERIENCE,
    FORCE,
    PRIORS,
    QUOTE_PRICES,
    SOURCE,
    days_asked,
    opened,
    page,
    prices_given,
    sources_of,
    tell_learning,
)
from forecaster.ranges import CLOCK_HOURS, ENGINE_HOURS, MINUTES_UNDER

if TYPE_CHECKING:
    from forecaster.flooding import AfterWater
    from forecaster.flooding_facts import Flooding
    from forecaster.settings import FleetSettings

COMMANDS = Commands()


@COMMANDS.register(
    "flooded",
    "what to do after a craft was under water, and the risk; works with no fleet at all",
    argument("source", metavar="SOURCE", nargs="?", help="a fleet folder or a workbook; left out: no records"),
    argument("craft", metavar="CRAFT", nargs="?", help="the craft, as in craft.csv"),
    argument("--happened-on", metavar="DATE", type=day, help="day it happened (the day of the answer)"),
    argument(
        "--hours-ago",
        metavar="H",
        type=NumberOf(CLOCK_HOURS),
        help="clock hours from the water to now, roughly: tells whether a treatment can still be in time",
    ),
    argument(
        "--under-minutes", metavar="M", type=NumberOf(MINUTES_UNDER), help="minutes under; 0: swamped, never under"
    ),
    argument("--water", choices=("salt", "fresh", "brackish", "unknown"), default="unknown", help="the water"),
    argument("--engine", choices=("running", "off", "unknown"), default="unknown", help="as it went under"),
    argument("--oil", choices=("clear", "milky", "unknown"), default="unknown", help="what the oil looks like now"),
    argument(
        "--treated",
        choices=("yes", "no", "unknown"),
        default="unknown",
        help="yes: oil changed until clear, and the engine run warm to dry it",
    ),
    argument(
        "--treated-within-h", metavar="H", type=NumberOf(CLOCK_HOURS), help="clock hours from the water to treatment"
    ),
    argument(
        "--water-in-cylinder", choices=("yes", "no", "unknown"), default="unknown", help="seen with the plugs out"
    ),
    argument(
        "--spin",
        choices=("quiet", "slight", "rattle", "not_done"),
        default="not_done",
        help="supercharger spun by hand since then: what was heard",
    ),
    argument(
        "--compression",
        choices=("good", "low", "unknown"),
        default="unknown",
        help="a mechanic's compression test since then",
    ),
    argument(
        "--hours-since-rebuild",
        metavar="H",
        type=NumberOf(ENGINE_HOURS),
        help="of the supercharger, now; only without SOURCE",
    ),
    argument(
        "--hours-since-water",
        metavar="H",
        type=NumberOf(ENGINE_HOURS),
        help="engine hours run since then (0); only without SOURCE",
    ),
    argument("--parts", choices=("oem", "aftermarket", "unknown"), help="its rotating parts; only without SOURCE"),
    argument("--sheet", metavar="FILE", type=Path, help="write the answer to this file too: one page to print (PDF)"),
    FORCE,
    EXPERIENCE,
    PRIORS,
    AS_OF,
    AS_JSON,
)
def _flooded(asked: Namespace) -> int:
    from forecaster.report.as_json import written
    from forecaster.report.flooding_text import flooding_json, flooding_text
    from forecaster.written_files import check_places, write_files

    if asked.sheet is not None:
        check_places([asked.sheet], sources_of(asked), asked.force)
    answer, settings = _after_water(asked)
    if asked.sheet is not None:
        from forecaster.paper.water_sheet import water_sheet

        sheet = water_sheet(answer, date_format=settings.date_format)
        write_files({asked.sheet: sheet}, sources_of(asked), asked.force)
    if asked.json:
        print(written(flooding_json(answer, settings.currency)))
        return DONE
    print(flooding_text(answer, page(), settings.currency))
    if asked.sheet is not None:
        print(f"\nOn one page to print: {asked.sheet}")
    return DONE


def _after_water(asked: Namespace) -> tuple[AfterWater, FleetSettings]:
    """The answer of ``flooded``, and the settings that it was made with."""
    from forecaster.errors import WrongUsage
    from forecaster.fleet import believed
    from forecaster.flooded_craft import flooded_alone, likely_day
    from forecaster.flooding_facts import day_of_water
    from forecaster.settings import FleetSettings

    as_of, _ = days_asked(asked)
    if asked.source is None:
        flooding = _flooding_told(asked, asked.happened_on or day_of_water(asked.hours_ago, as_of))
        prior = believed(asked.experience, asked.priors)
        answer = flooded_alone(flooding, as_of, asked.hours_since_rebuild, asked.parts or "unknown", prior)
        return answer, FleetSettings()
    if asked.craft is None:
        raise WrongUsage(
            "Name the craft that was under water after SOURCE, or leave SOURCE out to ask without records."
        )
    if asked.hours_since_rebuild is not None or asked.parts is not None:
        raise WrongUsage(
            "--hours-since-rebuild and --parts are for a craft without records. With SOURCE, they come from "
            "hours_at_fitting and parts in fittings.csv."
        )
    fleet, as_of = opened(asked)
    tell_learning(fleet, as_of)
    day = asked.happened_on or likely_day(fleet.records, asked.craft, asked.hours_ago, as_of)
    return fleet.after_water(asked.craft, _flooding_told(asked, day), as_of), fleet.settings


def _flooding_told(asked: Namespace, happened_on: date) -> Flooding:
    """The water as the options tell it."""
    from forecaster.flooding_facts import Flooding, flooding_of

    options = {name: getattr(asked, name) for name in Flooding.model_fields if hasattr(asked, name)}
    return flooding_of(**(options | {"happened_on": happened_on, "hours_run_since": asked.hours_since_water}))


@COMMANDS.register(
    "teardown",
    "from what was found in an opened unit: what is reused, what is renewed, rebuild or new, and the quote",
    argument("source", metavar="SOURCE", nargs="?", help="a fleet folder or a workbook, for its prices and season"),
    *finding_options(),
    argument("--in-season", action="store_true", help="with the rush surcharge (left out: by the day and the season)"),
    argument("--off-season", action="store_true", help="without the rush surcharge"),
    *QUOTE_PRICES,
    AS_OF,
    AS_JSON,
)
def _teardown(asked: Namespace) -> int:
    from forecaster.opened_unit import finding_of
    from forecaster.report.as_json import written
    from forecaster.report.teardown_text import teardown_json, teardown_text
    from forecaster.slip import SlipLimits
    from forecaster.teardown import advise_teardown

    finding = finding_of(told_finding(asked))
    settings, in_season, prices_of = _bench_settings(asked)
    currency = settings.currency
    advice = advise_teardown(finding, settings.costs, in_season, SlipLimits.of(settings), settings.parts)
    if asked.json:
        print(written(teardown_json(finding, advice, currency, in_season, prices_of)))
    else:
        print(teardown_text(advice, page(), currency, in_season, prices_of))
    return DONE


def _bench_settings(asked: Namespace) -> tuple[FleetSettings, bool, str]:
    """Settings with the prices of a quote, whether the day is in season, and whose prices they are, in words."""
    from forecaster.errors import WrongUsage
    from forecaster.fleet import open_fleet
    from forecaster.settings import FleetSettings

    if asked.in_season and asked.off_season:
        raise WrongUsage("--in-season and --off-season contradict each other: give one, or none to go by the day.")
    as_of, today = days_asked(asked)
    settings, whose = FleetSettings(), "the program's defaults; name your fleet, or give yours with --rebuild-price"
    if asked.source is not None:
        fleet = open_fleet(asked.source, today)
        settings, whose = fleet.settings, f"those of {fleet.name}"
    given = prices_given(asked)
    if given:
        whose = f"as given ({', '.join(sorted(field.replace('_', ' ') for field in given))}), else {whose}"
    in_season = asked.in_season or (not asked.off_season and settings.season.contains(as_of))
    costs = settings.costs.model_copy(update=given)
    return settings.model_copy(update={"costs": costs}), in_season, whose


@COMMANDS.register(
    "slip",
    "clutch slip of each unit in service: where it stands, how it falls, and in how many hours it is too low",
    SOURCE,
    AS_JSON,
    AS_OF,
    HOURS,
)
def _slip(asked: Namespace) -> int:
    from forecaster.report.as_json import written
    from forecaster.report.slip_text import slip_json, slip_text

    fleet, as_of = opened(asked)
    tell_progress("Learning how slip falls ...")
    slip = fleet.slip(as_of, asked.hours)
    lives = fleet.histories(as_of).in_service().lives
    craft = dict(zip(lives["unit_id"], lives["craft_id"], strict=True))
    print(written(slip_json(slip, as_of, craft)) if asked.json else slip_text(slip, as_of, craft, page()))
    return DONE
