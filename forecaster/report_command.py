"""The command ``report``: a printable report, a work list, a calendar and a table, for the fleet or each owner."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from forecaster.command_line import DONE, HOURS, Commands, argument, tell, tell_progress
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
    plan_wishes,
    sources_of,
)

if TYPE_CHECKING:
    from forecaster.fleet import Fleet
    from forecaster.paper.paper import Paper
    from forecaster.plan_problem import PlanEdit

COMMANDS = Commands()
PAPER_KINDS = ("pdf", "xlsx", "ics", "csv")  # as in forecaster.paper.files; the tests hold them together
ALL_OWNERS = "all"


@COMMANDS.register(
    "report",
    "a printable report (PDF), a work list (XLSX, and plain as CSV) and a calendar (ICS), for the fleet or each owner",
    SOURCE,
    argument(
        "--owner",
        metavar="OWNER",
        help=f"this owner's craft alone, as in craft.csv, in their part of the bench; {ALL_OWNERS}: a report for each "
        "owner (default: the fleet)",
    ),
    argument("--out", metavar="FOLDER", type=Path, default=Path(), help="folder to write to; it is made (this folder)"),
    argument(
        "--only",
        metavar="KIND",
        choices=PAPER_KINDS,
        action="append",
        help=f"write this kind alone: {', '.join(PAPER_KINDS)}; may be given more than once",
    ),
    FORCE,
    AS_JSON,
    AS_OF,
    HOURS,
    *PLAN_OPTIONS,
    *CHANGES,
    argument("--no-look-back", action="store_true", help="leave out how past forecasts fared, which takes longest"),
    EXPERIENCE,
    PRIORS,
    *PRICES,
)
def _report(asked: Namespace) -> int:
    from forecaster.paper.files import names_of
    from forecaster.report.as_json import written
    from forecaster.written_files import check_places, write_files

    fleet, as_of = opened(asked)
    owners = _owners(fleet, asked.owner)
    kinds = [kind for kind in PAPER_KINDS if asked.only is None or kind in asked.only]
    names = names_of(fleet.name, owners, as_of).values()
    places = [asked.out / f"{name}.{kind}" for name in names for kind in kinds]
    check_places(places, sources_of(asked), asked.force)  # told before the long work, not after it
    edits = changes_asked(fleet, as_of, asked)
    wish = plan_wishes(asked)
    papers = fleet.reports(
        as_of, owners, tell_progress, hours=asked.hours, edits=edits, look_back=not asked.no_look_back, **wish
    )
    contents = {}
    for paper in papers:
        tell_progress(f"Setting out {paper.name} ...")
        contents.update({asked.out / f"{paper.name}.{kind}": paper.file(kind) for kind in kinds})
    write_files(contents, sources_of(asked), asked.force)
    left_out = _left_out(fleet, owners, papers) if asked.owner == ALL_OWNERS else []
    left_out += _left_out_changes(edits, papers)
    if asked.json:
        print(written(_json(papers, kinds, asked.out, left_out)))
    else:
        for paper in papers:
            whose = f"{paper.content.owner}: " if paper.content.owner else ""
            print(f"{whose}{paper.answer}")
            print("".join(f"  {asked.out / f'{paper.name}.{kind}'}\n" for kind in kinds), end="")
        for remark in left_out:
            tell(remark)
    return DONE


def _owners(fleet: Fleet, wanted: str | None) -> tuple[str | None, ...]:
    """Whose papers are wanted; None stands for the whole fleet. Raises WrongUsage for an owner that is not known."""
    from forecaster.errors import WrongUsage
    from forecaster.paper.owners import refuse_unknown_owner

    if wanted is None:
        return (None,)
    if wanted != ALL_OWNERS:
        refuse_unknown_owner(fleet.records, wanted)
        return (wanted,)
    if not fleet.owners:
        raise WrongUsage(
            "craft.csv names no owner. Fill in its column owner, or leave --owner out for the whole fleet."
        )
    return fleet.owners


def _left_out(fleet: Fleet, owners: tuple[str | None, ...], papers: tuple[Paper, ...]) -> list[str]:
    """What a set of owners' papers does not hold: owners with nothing in service, craft without an owner."""
    made = {paper.content.owner for paper in papers}
    told = [f"No report for {owner}: nothing of theirs is in service." for owner in owners if owner not in made]
    nobodys = int(fleet.records.craft["owner"].isna().sum())
    if nobodys:
        told.append(f"{nobodys} craft have no owner in craft.csv and are in no report; leave --owner out for all.")
    return told


def _left_out_changes(edits: Mapping[str, PlanEdit], papers: tuple[Paper, ...]) -> list[str]:
    """How many changes by hand are in none of the reports, since other owners' units are not."""
    reported = {unit.unit_id for paper in papers for unit in paper.content.units}
    left = len(set(edits) - reported)
    noun = "change by hand is" if left == 1 else "changes by hand are"
    return [f"{left} {noun} of units in none of these reports, and left out."] if left else []


def _json(papers: tuple[Paper, ...], kinds: list[str], folder: Path, remarks: list[str]) -> dict[str, object]:
    return {
        "as_of": papers[0].content.as_of.isoformat(),
        "reports": [
            {
                "owner": paper.content.owner,
                "units": len(paper.content.units),
                "answer": paper.answer,
                "stop": [unit.unit_id for unit in paper.content.stopped],
                "changed_by_hand": list(paper.content.by_hand.units) if paper.content.by_hand else [],
                "broken": list(paper.content.by_hand.broken) if paper.content.by_hand else [],
                "files": [{"kind": kind, "path": str(folder / f"{paper.name}.{kind}")} for kind in kinds],
            }
            for paper in papers
        ],
        "remarks": remarks,
    }
