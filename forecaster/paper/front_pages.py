"""The first half of the printed report: the answer, the plan week by week, the units ranked."""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.platypus import Flowable, Spacer

from forecaster.forecast import HoursLeft
from forecaster.paper import wording
from forecaster.paper.content import PaperContent, UnitOnPaper
from forecaster.paper.page_parts import (
    ANSWER,
    CAUTION,
    HEADING,
    NOTE,
    SUBHEADING,
    TITLE,
    boxed,
    bullets,
    cut,
    grid,
    noted_grid,
    tiles,
    words,
)
from forecaster.rebuild_parts import PRE_OIL
from forecaster.report import figures
from forecaster.report.figures import counted
from forecaster.report.sentences import WITHOUT_UNIT

RANKED_WIDTHS = (6, 15, 31, 23, 16, 17, 16, 18, 20)  # of the ranked table's columns, as shares
TILE_WIDTHS = (18, 20, 20, 35, 37)  # of the cover's figures: counts are short, amounts long
MOST_NOTE = 400  # characters of the reasons beneath a row: four lines at most
MOST_BROKEN = 8  # limits broken by hand that are named
MOST_STOPPED, MOST_WHY = 10, 260  # units in the box of those that must not run, and characters of each
DOUBT = "\N{DAGGER}"
TICK = "\N{BALLOT BOX}"


def cover(content: PaperContent) -> list[Flowable]:
    """Title, the answer, the units that must not run, the figures, and the unit most at risk."""
    of = [cut(wording.readers(content), 80), f"as of {wording.day(content.as_of, content)}"]
    rebuilt, checked = (len(content.of_action(act)) for act in ("rebuild", "check"))
    currency, saved = content.currency, content.saving
    told: list[Flowable] = [
        words("Supercharger maintenance report", TITLE),
        words(" \N{MIDDLE DOT} ".join(of)),
        words(wording.answer(content), ANSWER),
        *_stopped(content),
        *_changed(content),
        tiles(
            [
                (str(len(content.units)), "units in service"),
                (str(rebuilt), f"to rebuild {wording.off_season(content)}"),
                (str(checked), f"to check {wording.off_season(content)}"),
                (wording.amount(content.spent, currency), "to spend on that work, as expected"),
                (
                    f"{currency}\N{NO-BREAK SPACE}{figures.about(saved.mean)}",
                    f"expected saving over {figures.seasons(content.seasons)} beside doing nothing; "
                    + (f"90 % interval {wording.between(saved.low, saved.high)}" if checked + rebuilt else "no work"),
                ),
            ],
            TILE_WIDTHS,
        ),
        Spacer(0, 6),
        *(words(told_too) for told_too in wording.to_come(content)),
    ]
    if content.evidence.mostly_prior:
        told.append(
            words(
                "Mostly general experience: these records add little yet to what is known of such units anywhere. "
                "Take every figure as a first guess that sharpens with each opening that is recorded.",
                CAUTION,
            )
        )
    top = content.units[0]
    told.append(
        words(
            f"Most at risk: {top.unit_id} on craft {wording.craft(top)}. The chance that its bearing fails within the "
            f"next {figures.hours(content.hours)} of engine time is {wording.chance(top.forecast.fails_within)}. "
            + " ".join(filter(None, [wording.ready(content), wording.season(content)]))
        )
    )
    return told


def _stopped(content: PaperContent) -> list[Flowable]:
    """The box of the units that must not run, and why; nothing where all may."""
    if not content.stopped:
        return []
    lines = [cut(wording.why_stopped(unit), MOST_WHY) for unit in content.stopped[:MOST_STOPPED]]
    more = len(content.stopped) - len(lines)
    rest = [f"and {counted(more, 'unit')} more: all are in the work list (.xlsx)"] if more else []
    return [boxed([words("Do not run", SUBHEADING), *bullets([*lines, *rest])]), Spacer(0, 8)]


def _changed(content: PaperContent) -> list[Flowable]:
    """What was changed by hand, and which limits that breaks; nothing where the plan is the best one."""
    if content.by_hand is None:
        return []
    lines = [cut(line, MOST_WHY) for line in wording.broken(content)[:MOST_BROKEN]]
    more = len(wording.broken(content)) - len(lines)
    rest = [f"and {counted(more, 'more limit')}: see the work list (.xlsx)"] if more else []
    breaks = ["As changed it breaks a limit:", *(f"\N{BULLET} {line}" for line in [*lines, *rest])] if lines else []
    return [words("\n".join([wording.by_hand(content), *breaks]), CAUTION)]  # lighter than what must not run


def weeks(content: PaperContent, names: int) -> list[Flowable]:
    """The planned work, week by week, with a box to tick; at most `names` units in one cell."""
    weeks = content.by_week()
    if not weeks:
        return []
    rows = []
    for monday, units in weeks:
        cost = sum(unit.planned.cost for unit in units)
        acts = ([unit for unit in units if unit.instruction.act == act] for act in ("rebuild", "check"))
        rows.append([wording.day(monday, content), *(_names(chosen, names) for chosen in acts), f"{cost:,.0f}", TICK])
    head = ["Week of", "Rebuild", "Check: spin by hand, rebuild if it rattles"]
    rebuilds = bool(content.of_action("rebuild"))
    return [
        words("The plan, week by week", HEADING),
        grid([*head, f"Cost ({content.currency})", "Done"], rows, (15, 42, 40, 14, 7), right=(3, 4)),
        *([Spacer(0, 3), words(PRE_OIL, NOTE)] if rebuilds else []),
    ]


def _names(units: Sequence[UnitOnPaper], most: int) -> str:
    told = [
        f"{cut(unit.unit_id, 24)} off {cut(unit.craft_id, 24)}{' (by hand)' if unit.changed else ''}"
        for unit in units[:most]
    ]
    return "; ".join(told) + (f"; and {len(units) - most} more" if len(units) > most else "")


def ranked(content: PaperContent, most: int) -> list[Flowable]:
    """The units, most at risk first, each with its reasons; at most `most` of them."""
    listed, season = content.units[:most], wording.day(content.season[1], content)
    rows = [
        [
            str(rank),
            cut(unit.unit_id, 30) + (DOUBT if unit.doubtful else ""),
            cut(wording.craft_and_base(unit), 60),
            wording.work(unit, content).replace("; ", ";\n").replace(", week of ", "\n"),
            _since_rebuild(unit),
            *(
                wording.chance(told).replace(" (", "\n(")
                for told in (one.defective_now, one.fails_within, one.fails_this_season)
            ),
            _hours_left(one.hours_left),
        ]
        for rank, (unit, one) in enumerate(zip(listed, (u.forecast for u in listed), strict=True), 1)
    ]
    head = [
        "",
        "Unit",
        "Craft (base)",
        "What to do, week of",
        "Hours since rebuild",
        "Defective now",
        f"Fails within {content.hours:g} h",
        f"Fails by {season}",
        "Engine hours left",
    ]
    notes = [cut(wording.reasons(unit, hours_told=True), MOST_NOTE) for unit in listed]
    told: list[Flowable] = [
        words("Every unit, most at risk first", HEADING),
        noted_grid(head, rows, notes, RANKED_WIDTHS, right=(4, 5, 6, 7, 8)),
    ]
    rest = len(content.units) - len(listed)
    legend = (
        "In brackets the central 90 % interval. What fails is the supercharger\u2019s bearing. Engine hours left: one "
        "in ten such units fails within the first figure, half within the second. All of it if nobody opens the unit "
        f"and no more water gets in; by {season}, the close of the season, with the engine hours that its craft is "
        "expected to run until then."
    )
    if any(unit.doubtful for unit in listed):
        legend += f" {DOUBT}: take with care until the unit's records are mended."
    if rest:
        legend = f"And {counted(rest, 'unit')} of less risk: all are in the work list (.xlsx). {legend}"
    told += [Spacer(0, 3), words(legend, NOTE)]
    if content.craft_without_unit:
        told += [words(f"{WITHOUT_UNIT}:", NOTE), *bullets(_without_unit(content), NOTE)]
    return told


def _without_unit(content: PaperContent) -> list[str]:
    lines = [cut(line, MOST_WHY) for line in content.craft_without_unit[:MOST_STOPPED]]
    more = len(content.craft_without_unit) - len(lines)
    return [*lines, *([f"and {more} more: all are in the work list (.xlsx)"] if more else [])]


def _hours_left(left: HoursLeft) -> str:
    """By when one in ten, and half, of such units have failed."""
    tenth, half = (
        f"{'>' if value >= figures.FURTHEST else ''}{figures.hours(value)}" for value in (left.p10, left.p50)
    )
    return f"1 in 10 by {tenth}\nhalf by {half}"


def _since_rebuild(unit: UnitOnPaper) -> str:
    one = unit.forecast
    if one.hours_since_rebuild is None:
        return "unknown"
    low, high = one.hours_low, one.hours_high
    if low is None or high is None or f"{low:.0f}" == f"{high:.0f}":
        return figures.hours(one.hours_since_rebuild)
    return f"{figures.hours(one.hours_since_rebuild)}\n({low:,.0f}\N{EN DASH}{high:,.0f})"
