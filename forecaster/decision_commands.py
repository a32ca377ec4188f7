"""The commands about what pays: compare, plan, interval."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path

from forecaster.command_line import DONE, Commands, argument, tell, tell_progress
from forecaster.question_options import (
    AS_JSON,
    AS_OF,
    CHANGES,
    EXPERIENCE,
    FORCE,
    PLAN_OPTIONS,
    PRICES,
    PRIORS,
    SOURCE,
    changes_asked,
    opened,
    page,
    plan_wishes,
    prices_given,
    sources_of,
    tell_learning,
)

COMMANDS = Commands()


@COMMANDS.register(
    "compare",
    "rebuild one unit now or later: what each week costs, and what moves the answer",
    SOURCE,
    argument("unit", metavar="UNIT", help="the unit's unit_id"),
    argument(
        "--with-plan",
        action="store_true",
        help="make the plan of all units for it, however many: of very many the unit's own costs are told without",
    ),
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
    told = fleet.now_or_later(asked.unit, as_of, planned=asked.with_plan or None, **prices)
    swings = fleet.decisions(as_of).swings(asked.unit, None, **prices)
    if asked.json:
        print(written(compare_json(told, swings)))
    else:
        print(compare_text(told, swings, fleet.settings.currency, page()))
    if "plan_not_asked" in told.stands:
        tell(f"The plan of so many units is not made for one: add --with-plan, or see forecaster plan {asked.source}.")
    return DONE


@COMMANDS.register(
    "plan",
    "the off-season plan within budget and bench, the season's triggers, parts and spares",
    SOURCE,
    AS_JSON,
    AS_OF,
    *PLAN_OPTIONS,
    *CHANGES,
    argument("--save-changes", metavar="FILE", type=Path, help="write the changes by hand to a file for --changes"),
    FORCE,
    EXPERIENCE,
    PRIORS,
    *PRICES,
)
def _plan(asked: Namespace) -> int:
    from forecaster.plan_changes import as_planned, changes_file
    from forecaster.report.as_json import written
    from forecaster.report.plan_text import plan_json, plan_text
    from forecaster.written_files import check_places, write_files

    fleet, as_of = opened(asked)
    # The file of --changes may be mended in its place: all that was read from it is in what is written.
    sources = sources_of(asked, "changes")
    if asked.save_changes is not None:
        check_places([asked.save_changes], sources, asked.force)  # told before the long work, not after it
    edits = changes_asked(fleet, as_of, asked)
    made = fleet.plan_with(edits, as_of, tell_progress, **plan_wishes(asked))
    if asked.save_changes is not None:
        saved = changes_file(as_planned(edits, made.answer.plan))
        write_files({asked.save_changes: saved}, sources, asked.force)
    told = fleet.instructions_by(made.answer, **prices_given(asked))
    print(written(plan_json(made.answer, told, made)) if asked.json else plan_text(made.answer, told, page(), made))
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
