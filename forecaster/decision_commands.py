"""The commands about what pays: compare, plan, interval."""

from __future__ import annotations

from argparse import Namespace

from forecaster.command_line import DONE, Commands, argument, day, tell_progress, whole_number
from forecaster.question_options import (
    AS_JSON,
    AS_OF,
    EXPERIENCE,
    PLAN_OPTIONS,
    PRICES,
    PRIORS,
    SOURCE,
    opened,
    page,
    prices_given,
    tell_learning,
)

COMMANDS = Commands()


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

    fleet, as_of = opened(asked)
    tell_progress(f"Weighing the weeks ahead of {asked.unit} ...")
    prices = prices_given(asked)
    told = fleet.now_or_later(asked.unit, as_of, **prices)
    swings = fleet.decisions(as_of).swings(asked.unit, None, **prices)
    if asked.json:
        print(written(compare_json(told, swings)))
    else:
        print(compare_text(told, swings, fleet.settings.currency, page()))
    return DONE


@COMMANDS.register(
    "plan",
    "the off-season plan within budget and bench, the season's triggers, parts and spares",
    SOURCE,
    AS_JSON,
    AS_OF,
    *PLAN_OPTIONS,
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
        type=whole_number(0, 1000),
        default=0,
        help="spare units that stand in where craft earn (0)",
    ),
    EXPERIENCE,
    PRIORS,
    *PRICES,
)
def _plan(asked: Namespace) -> int:
    from forecaster.report.as_json import written
    from forecaster.report.plan_text import plan_json, plan_text

    fleet, as_of = opened(asked)
    answer = fleet.plan(
        as_of,
        tell_progress,
        budget=asked.budget,
        begins=asked.begins,
        ready_by=asked.ready_by,
        bench_per_week=asked.bench,
        spare_units=asked.spares,
        closed=tuple(asked.closed),
        prices=prices_given(asked),
    )
    instructions = fleet.instructions_by(answer, **prices_given(asked))
    print(written(plan_json(answer, instructions)) if asked.json else plan_text(answer, instructions, page()))
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

    fleet, as_of = opened(asked)
    wanted = prices_given(asked)
    prices = fleet.prices(as_of, **wanted)
    tell_learning(fleet, as_of)
    evidence, lives = fleet.two_stage(as_of).evidence, fleet.service_lives(as_of)
    intervals = fleet.service_intervals(as_of, **wanted)
    if asked.json:
        print(written(interval_json(as_of, evidence, lives, intervals, prices)))
    else:
        print(interval_text(evidence, lives, page(), intervals, prices, fleet.settings.currency))
    return DONE
