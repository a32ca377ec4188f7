"""The command line: each command is one function that asks the core and prints the answer.

To add one, write a function like those below, register it, and put it into README's table. Import what it needs
inside it. Standard output holds the answer and nothing else.
"""

from __future__ import annotations

import sys
from argparse import Namespace
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from forecaster import __version__
from forecaster.command_line import (
    DONE,
    STOPPED,
    Argument,
    Commands,
    argument,
    day,
    number_from_0,
    parse,
    positive_hours,
    run,
    tell,
    tell_progress,
    whole_number,
)
from forecaster.finding_options import finding_options, told_finding

if TYPE_CHECKING:
    from forecaster.fleet import Fleet
    from forecaster.flooding import AfterWater
    from forecaster.report.text import Page
    from forecaster.settings import Costs

DESCRIPTION = "Forecasts the maintenance of superchargers on rental watercraft from hour logs, water and teardowns."
COMMANDS = Commands()
# As in forecaster.fleet and forecaster.worlds, which are too heavy to ask for --help; the tests hold them together.
MODEL_NAMES = ("two-stage", "weibull")
WORLD_NAMES = ("rust_at_incident", "lasting_rise", "dry", "long_noise")

SOURCE = argument("source", metavar="SOURCE", help="a fleet folder or a workbook")
AS_JSON = argument("--json", action="store_true", help="machine-readable answer on standard output")
AS_OF = argument(
    "--as-of", metavar="DATE", type=day, help="answer as of this day, year-month-day; nothing later is used (today)"
)
EXPERIENCE = argument(
    "--experience", metavar="FILE", type=Path, help="what another fleet taught (see `experience`), taken as the prior"
)
PRIORS = argument("--priors", metavar="FILE", type=Path, help="your own copy of priors.toml")
# Prices that a question may set for itself, beside fleet.toml's: option, field of forecaster.prices.Prices, what it is.
PRICE_OPTIONS = (
    ("--rebuild-price", "rebuild", "a planned rebuild"),
    ("--new-unit-price", "new_unit", "a new unit"),
    ("--engine-price", "engine_damage", "an engine repair"),
    ("--check-price", "check", "a check"),
    ("--day-rate", "day_rate", "rental income of one in-season day"),
)
RUSH_OPTION = ("--rush-surcharge", "rebuild_in_season_extra", "what a rebuild costs more in season")


def _price(name: str, field: str, what: str) -> Argument:
    return argument(
        name,
        metavar="MONEY",
        dest=f"price_{field}",
        type=number_from_0("money"),
        help=f"{what}, in place of the fleet's own",
    )


PRICES = tuple(_price(*option) for option in PRICE_OPTIONS)
# A quote for the bench knows no rental income.
QUOTE_PRICES = tuple(_price(*option) for option in (*PRICE_OPTIONS, RUSH_OPTION) if option[1] != "day_rate")


def main(words: Sequence[str] | None = None) -> int:
    """Run the command that `words` (by default the process's own) ask for; returns the exit status."""
    given = sys.argv[1:] if words is None else list(words)
    return run(lambda: _answer(given))


def _answer(words: list[str]) -> int:
    asked = parse(COMMANDS, words, __version__, DESCRIPTION)
    status: int = asked.command.run(asked)
    return status


@COMMANDS.register(
    "validate",
    "what was read, and every problem: file, row, column, value, why, what to do",
    SOURCE,
    AS_JSON,
    argument("--as-of", metavar="DATE", type=day, help="rows dated after this day and after today are refused (today)"),
    argument(
        "--refused", metavar="PATH", type=Path, help="write the refused rows, with their reasons: a folder, or .xlsx"
    ),
)
def _validate(asked: Namespace) -> int:
    from forecaster.reading import read_fleet
    from forecaster.report.as_json import validation_json, written
    from forecaster.report.text import validation_text
    from forecaster.writing import write_refused

    _, today = _days(asked)
    reading = read_fleet(asked.source, today)
    if asked.refused is not None:
        written_to = write_refused(reading, asked.refused)
        told = f"Refused rows written to {', '.join(map(str, written_to))}." if written_to else "No row was refused."
        tell(told)
    print(written(validation_json(reading)) if asked.json else validation_text(reading, _page()))
    return STOPPED if reading.stops_answer else DONE


@COMMANDS.register(
    "forecast",
    "risk and engine hours left of each unit in service, ranked",
    SOURCE,
    AS_JSON,
    AS_OF,
    argument("--hours", metavar="H", type=positive_hours, default=50.0, help="engine hours to look ahead (50)"),
    argument(
        "--model", choices=MODEL_NAMES, default=MODEL_NAMES[0], metavar="MODEL", help="two-stage (default) or weibull"
    ),
    EXPERIENCE,
    PRIORS,
    argument("--limit", metavar="N", type=whole_number(1, 1_000_000), help="print only the N units most at risk"),
)
def _forecast(asked: Namespace) -> int:
    from forecaster.report.as_json import forecast_json, written
    from forecaster.report.text import forecast_text

    fleet, as_of = _opened(asked)
    tell_progress(f"Learning from {fleet.histories(as_of).n_lives:,} lives ...")
    forecast = fleet.forecast(as_of, asked.hours, asked.model)
    doubtful = fleet.reading.doubtful_units
    if asked.json:
        print(written(forecast_json(forecast, doubtful, asked.limit)))
    else:
        refused = sum(fleet.reading.refused_counts.values())
        print(forecast_text(forecast, _page(), doubtful, refused, asked.source, asked.limit))
    return DONE


@COMMANDS.register(
    "experience",
    "save what this fleet taught to a file that another fleet can start from; no craft, owner or date is in it",
    argument("act", metavar="save", choices=("save",), help="the only act so far"),
    SOURCE,
    argument("file", metavar="FILE", type=Path, help="the JSON file to write"),
    AS_OF,
)
def _experience(asked: Namespace) -> int:
    from forecaster.experience import save_experience
    from forecaster.fleet import open_fleet

    as_of, today = _days(asked)
    fleet = open_fleet(asked.source, today)
    tell_progress(f"Learning from {fleet.histories(as_of).n_lives:,} lives ...")
    fit = fleet.two_stage(as_of)
    save_experience(fit, asked.file)
    print(
        f"What {fit.evidence.lives} lives with {fit.evidence.failures} failures taught is in {asked.file}.\n"
        f"Use it with: forecaster forecast SOURCE --experience {asked.file}"
    )
    return DONE


@COMMANDS.register(
    "compare",
    "rebuild one unit now or later: what each week costs, and what moves the answer",
    SOURCE,
    argument("unit", metavar="UNIT", help="the unit's unit_id"),
    AS_JSON,
    AS_OF,
    EXPERIENCE,
    PRIORS,
    *PRICES,
)
def _compare(asked: Namespace) -> int:
    from forecaster.report.as_json import written
    from forecaster.report.compare_text import compare_json, compare_text

    fleet, as_of = _opened(asked)
    tell_progress(f"Weighing the weeks ahead of {asked.unit} ...")
    decisions = fleet.decisions(as_of, **_prices(asked))
    waiting, swings = decisions.waiting(asked.unit), decisions.swings(asked.unit)
    if asked.json:
        print(written(compare_json(asked.unit, waiting, swings)))
    else:
        currency, evidence = fleet.settings.currency, fleet.two_stage(as_of).evidence
        print(compare_text(asked.unit, waiting, swings, currency, evidence, _page()))
    return DONE


@COMMANDS.register(
    "plan",
    "the off-season plan within budget and bench, the season's triggers, parts and spares",
    SOURCE,
    AS_JSON,
    AS_OF,
    argument("--budget", metavar="B", type=number_from_0("money"), help="money for the work (fleet.toml's)"),
    argument("--from", metavar="DATE", dest="begins", type=day, help="first day of the work (the off-season's)"),
    argument("--ready-by", metavar="DATE", type=day, help="day by which all must be back (the season's opening)"),
    argument("--bench", metavar="N", type=number_from_0("rebuilds a week"), help="rebuilds a week (fleet.toml's)"),
    EXPERIENCE,
    PRIORS,
    *PRICES,
)
def _plan(asked: Namespace) -> int:
    from forecaster.off_season import plan_off_season
    from forecaster.report.as_json import written
    from forecaster.report.plan_text import plan_json, plan_text

    fleet, as_of = _opened(asked)
    decisions = fleet.decisions(as_of, **_prices(asked))
    answer = plan_off_season(decisions, asked.budget, asked.begins, asked.ready_by, asked.bench, progress=tell_progress)
    print(written(plan_json(answer)) if asked.json else plan_text(answer, _page()))
    return DONE


@COMMANDS.register(
    "interval",
    "service interval: at how many hours a rebuild costs least, and how long fresh units last (B10 and B50)",
    SOURCE,
    AS_JSON,
    AS_OF,
    EXPERIENCE,
    PRIORS,
    *PRICES,
)
def _interval(asked: Namespace) -> int:
    from forecaster.report.as_json import written
    from forecaster.report.interval_text import interval_json, interval_text

    fleet, as_of = _opened(asked)
    wanted = _prices(asked)
    prices = fleet.prices(as_of, **wanted)
    tell_progress(f"Learning from {fleet.histories(as_of).n_lives:,} lives ...")
    evidence, lives = fleet.two_stage(as_of).evidence, fleet.service_lives(as_of)
    intervals = fleet.service_intervals(as_of, **wanted)
    if asked.json:
        print(written(interval_json(as_of, evidence, lives, intervals, prices)))
    else:
        print(interval_text(evidence, lives, _page(), intervals, prices, fleet.settings.currency))
    return DONE


@COMMANDS.register(
    "backtest",
    "how good past forecasts would have been, against simpler rules",
    SOURCE,
    AS_JSON,
    AS_OF,
    argument("--hours", metavar="H", type=positive_hours, default=50.0, help="engine hours to look ahead (50)"),
    argument(
        "--every",
        choices=("month", "season"),
        default="month",
        metavar="SPAN",
        help="look back on forecasts of each month of a season (month, the default), or of its opening alone (season)",
    ),
)
def _backtest(asked: Namespace) -> int:
    from forecaster.backtest import backtest
    from forecaster.report.as_json import written
    from forecaster.report.backtest_text import backtest_json, backtest_text

    fleet, as_of = _opened(asked)

    def progress(done: int, days: int, what: str) -> None:
        tell_progress(f"{done} of {days} past days: {what} ...")

    told = backtest(fleet.records, as_of, asked.hours, progress=progress, every=asked.every)
    print(written(backtest_json(told)) if asked.json else backtest_text(told, _page()))
    return DONE


@COMMANDS.register(
    "flooded",
    "what to do after a craft was under water, and the risk; works with no fleet at all",
    argument("source", metavar="SOURCE", nargs="?", help="a fleet folder or a workbook; left out: no records"),
    argument("craft", metavar="CRAFT", nargs="?", help="the craft, as in craft.csv"),
    argument("--happened-on", metavar="DATE", type=day, help="day it happened (the day of the answer)"),
    argument(
        "--under-minutes", metavar="M", type=number_from_0("minutes"), help="minutes under; 0: swamped, never under"
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
        "--treated-within-h", metavar="H", type=number_from_0("hours"), help="clock hours from the water to treatment"
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
        "--hours-since-rebuild",
        metavar="H",
        type=number_from_0("engine hours"),
        help="of the supercharger, now; only without SOURCE",
    ),
    argument(
        "--hours-since-water",
        metavar="H",
        type=number_from_0("engine hours"),
        help="engine hours run since then (0); only without SOURCE",
    ),
    argument("--parts", choices=("oem", "aftermarket", "unknown"), help="its rotating parts; only without SOURCE"),
    EXPERIENCE,
    PRIORS,
    AS_OF,
    AS_JSON,
)
def _flooded(asked: Namespace) -> int:
    from forecaster.report.as_json import written
    from forecaster.report.flooding_text import flooding_json, flooding_text

    answer, currency = _after_water(asked)
    print(written(flooding_json(answer, currency)) if asked.json else flooding_text(answer, _page(), currency))
    return DONE


def _after_water(asked: Namespace) -> tuple[AfterWater, str]:
    """The answer of ``flooded`` and the currency of its costs."""
    from forecaster.errors import WrongUsage
    from forecaster.fleet import believed, open_fleet
    from forecaster.flooded_craft import flooded_alone
    from forecaster.flooding_facts import flooding_of
    from forecaster.settings import FleetSettings

    as_of, today = _days(asked)
    told = ("under_minutes", "water", "engine", "oil", "treated", "treated_within_h", "water_in_cylinder", "spin")
    facts = {name: getattr(asked, name) for name in told} | {"hours_run_since": asked.hours_since_water}
    flooding = flooding_of(happened_on=asked.happened_on or as_of, **facts)
    if asked.source is None:
        prior = believed(asked.experience, asked.priors)
        answer = flooded_alone(flooding, as_of, asked.hours_since_rebuild, asked.parts or "unknown", prior)
        return answer, FleetSettings().currency
    if asked.craft is None:
        raise WrongUsage(
            "Name the craft that was under water after SOURCE, or leave SOURCE out to ask without records."
        )
    if asked.hours_since_rebuild is not None or asked.parts is not None:
        raise WrongUsage(
            "--hours-since-rebuild and --parts are for a craft without records. With SOURCE, they come from "
            "hours_at_fitting and parts in fittings.csv."
        )
    tell_progress(f"Reading {asked.source} ...")
    fleet = open_fleet(asked.source, today, asked.experience, asked.priors)
    tell_progress(f"Learning from {fleet.histories(as_of).n_lives:,} lives ...")
    return fleet.after_water(asked.craft, flooding, as_of), fleet.settings.currency


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
    from forecaster.teardown import advise_teardown

    finding = finding_of(told_finding(asked))
    costs, currency, in_season, prices_of = _bench_prices(asked)
    advice = advise_teardown(finding, costs, in_season)
    if asked.json:
        print(written(teardown_json(finding, advice, currency, in_season, prices_of)))
    else:
        print(teardown_text(advice, _page(), currency, in_season, prices_of))
    return DONE


def _bench_prices(asked: Namespace) -> tuple[Costs, str, bool, str]:
    """Prices of a quote, their currency, whether the day is in season, and whose prices they are, in words."""
    from forecaster.errors import WrongUsage
    from forecaster.fleet import open_fleet
    from forecaster.settings import FleetSettings

    if asked.in_season and asked.off_season:
        raise WrongUsage("--in-season and --off-season contradict each other: give one, or none to go by the day.")
    as_of, today = _days(asked)
    settings, whose = FleetSettings(), "the program's defaults; name your fleet, or give yours with --rebuild-price"
    if asked.source is not None:
        fleet = open_fleet(asked.source, today)
        settings, whose = fleet.settings, f"those of {fleet.name}"
    given = _prices(asked)
    if given:
        whose = f"as given ({', '.join(sorted(field.replace('_', ' ') for field in given))}), else {whose}"
    in_season = asked.in_season or (not asked.off_season and settings.season.contains(as_of))
    return settings.costs.model_copy(update=given), settings.currency, in_season, whose


@COMMANDS.register(
    "slip",
    "clutch slip of each unit in service: where it stands, how it falls, and in how many hours it is too low",
    SOURCE,
    AS_JSON,
    AS_OF,
    argument("--hours", metavar="H", type=positive_hours, default=50.0, help="engine hours to look ahead (50)"),
)
def _slip(asked: Namespace) -> int:
    from forecaster.report.as_json import written
    from forecaster.report.slip_text import slip_json, slip_text

    fleet, as_of = _opened(asked)
    tell_progress("Learning how slip falls ...")
    slip = fleet.slip(as_of, asked.hours)
    lives = fleet.histories(as_of).in_service().lives
    craft = dict(zip(lives["unit_id"], lives["craft_id"], strict=True))
    print(written(slip_json(slip, as_of, craft)) if asked.json else slip_text(slip, as_of, craft, _page()))
    return DONE


@COMMANDS.register(
    "simulate",
    "an invented fleet with a known truth, to try things out on",
    argument("out", metavar="OUT", type=Path, help="folder to write it to; it is made"),
    argument("--craft", metavar="N", type=whole_number(1, 5_000), default=28, help="how many craft (28)"),
    argument("--seasons", metavar="N", type=whole_number(1, 50), default=3, help="how many rental seasons (3)"),
    argument("--seed", metavar="N", type=whole_number(0, 2**31), default=1, help="another seed, another fleet (1)"),
    argument(
        "--world", metavar="NAME", default=WORLD_NAMES[0], help=f"law of nature: {', '.join(WORLD_NAMES)} (the first)"
    ),
    argument("--truth", action="store_true", help="also write truth.json: what really was so"),
    argument("--force", action="store_true", help="write over files of a fleet in OUT"),
)
def _simulate(asked: Namespace) -> int:
    from forecaster.errors import WrongUsage
    from forecaster.records import TABLES
    from forecaster.simulate import simulate_fleet, write_simulated

    in_the_way = [table.file for table in TABLES.values() if (asked.out / table.file).exists()]
    if in_the_way and not asked.force:
        raise WrongUsage(
            f"{asked.out} holds {', '.join(in_the_way)} already. Name another folder, or write over them with --force."
        )
    tell_progress("Inventing a fleet ...")
    fleet = simulate_fleet(craft=asked.craft, seasons=asked.seasons, seed=asked.seed, world=asked.world)
    write_simulated(fleet, asked.out, truth=asked.truth)
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
    argument("--port", metavar="N", type=whole_number(1, 65535), help="port to listen on (a free one from 8501 up)"),
    argument("--no-browser", action="store_true", help="print the address without opening the browser"),
)
def _dashboard(asked: Namespace) -> int:
    from forecaster.serving import serve_dashboard

    return serve_dashboard(asked.source, asked.port, open_browser=not asked.no_browser)


def _prices(asked: Namespace) -> dict[str, float]:
    """The prices that the question sets for itself."""
    fields = [field for _, field, _ in (*PRICE_OPTIONS, RUSH_OPTION)]
    given = {field: getattr(asked, f"price_{field}", None) for field in fields}  # no command takes them all
    return {field: value for field, value in given.items() if value is not None}


def _opened(asked: Namespace) -> tuple[Fleet, date]:
    """The fleet that was asked about, with the experience or priors given, and the day to answer for."""
    from forecaster.fleet import open_fleet

    as_of, today = _days(asked)
    tell_progress(f"Reading {asked.source} ...")
    believed = (getattr(asked, "experience", None), getattr(asked, "priors", None))  # not every command takes them
    return open_fleet(asked.source, today, *believed), as_of


def _days(asked: Namespace) -> tuple[date, date]:
    """The day asked about and the day up to which rows are believed: a day ahead of the clock is taken at its word."""
    as_of: date = asked.as_of or date.today()
    return as_of, max(as_of, date.today())


def _page() -> Page:
    from forecaster.report.terminal import page_of

    return page_of(sys.stdout)
