"""Rebuild now or later, for one unit: as text and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from forecaster.decisions import Swing
from forecaster.life_model import Evidence
from forecaster.report import sentences
from forecaster.report.as_json import Json, day_or_null, triggers_json
from forecaster.report.figures import money
from forecaster.report.table import TextColumn, plain_table
from forecaster.report.text import Page
from forecaster.waiting import Option, Waiting

NAMES = {
    "rebuild": "the price of a rebuild",
    "new_unit": "the price of a new unit",
    "engine_damage": "the price of an engine repair",
    "day_rate": "what a lost rental day costs",
    "core_lost": "the chance that a failure costs the core",
    "engine_hit": "the chance that debris reaches the engine",
    "check": "the price of a check",
}
DOING = {"rebuild": "rebuild it", "check": "check it, and rebuild it if it rattles", "none": "run it until it fails"}


def answer_sentence(unit_id: str, waiting: Waiting, currency: str) -> str:
    """What to do with the unit, and what it saves, in one sentence."""
    now, best, later = waiting.option("rebuild"), waiting.best, waiting.best_later
    is_now = best.action == "rebuild" and waiting.weeks.step_of_week[best.week] == 0
    if is_now:
        saved = later.expected_cost - now.expected_cost
        return (
            f"Rebuild {unit_id} before it runs again: about {money(saved, currency)} cheaper over two years than the "
            f"next best, to {DOING[later.action]}{_when(later)}; now is the cheaper one with a chance of "
            f"{100 * waiting.chance_now_is_cheaper:.0f} %."
        )
    saved = now.expected_cost - best.expected_cost
    return (
        f"Do not rebuild {unit_id} now: to {DOING[best.action]}{_when(best)} is about {money(saved, currency)} cheaper "
        f"over two years; now is the cheaper one with a chance of {100 * waiting.chance_now_is_cheaper:.0f} %."
    )


def _when(option: Option) -> str:
    return "" if option.on is None else f" in the week of {option.on}"


def compare_text(
    unit_id: str, waiting: Waiting, swings: Sequence[Swing], currency: str, evidence: Evidence, page: Page
) -> str:
    """The answer, the options month by month, and what moves it."""
    step = max(round(52 / 12), 1)
    shown = [*range(0, waiting.weeks.n, step)]
    columns = [
        TextColumn("week of"),
        TextColumn(f"rebuild then\n{currency} (90 %)", right=True, least=14),
        TextColumn(f"check then\n{currency} (90 %)", right=True, least=14),
        TextColumn("still runs", right=True),
    ]
    rows = [
        (
            str(waiting.weeks.first_day[week]),
            _with_range(waiting.option("rebuild", week)),
            _with_range(waiting.option("check", week)),
            f"{100 * waiting.running[week]:.0f} %",
        )
        for week in shown
    ]
    never = waiting.option("none")
    blocks = [
        page.strong(page.wrapped(answer_sentence(unit_id, waiting, currency))),
        plain_table(columns, rows, [""] * len(rows), page.width),
        page.wrapped(f"Never opened until it fails: {currency} {_with_range(never)}."),
        page.wrapped(_figures(waiting, currency)),
        page.wrapped(_swing_sentence(swings, currency)),
        page.wrapped(
            "Costs are expected ones from today over two years, in brackets the central 90 % interval; they count the "
            "job, failing, engine damage, lost rental days and the lives after this one under their best upkeep."
        ),
        page.wrapped(sentences.evidence_sentence(evidence, "two-stage")),
        page.wrapped(sentences.CAUTION),
    ]
    return "\n\n".join(blocks)


def _with_range(option: Option) -> str:
    return f"{option.expected_cost:,.0f} ({option.low:,.0f}-{option.high:,.0f})"


def _figures(waiting: Waiting, currency: str) -> str:
    told = [
        f"A rebuild now pays up to a price of {money(max(waiting.break_even_rebuild_price, 0.0), currency)}.",
        f"The best check is worth {money(waiting.value_of_check, currency)}.",
        f"The dearest month of waiting costs {money(waiting.cost_of_waiting_per_month, currency)}.",
    ]
    triggers = waiting.triggers
    if triggers.check_at_hours is not None:
        until = _until(triggers.check_until)
        told.append(f"Run on, it should be checked at {triggers.check_at_hours:.0f} h since rebuild{until}.")
    if triggers.rebuild_at_hours is not None:
        at, until = f"{triggers.rebuild_at_hours:.0f} h since rebuild", _until(triggers.rebuild_until)
        told.append(f"Run on, it should be rebuilt at {at}, even in season{until}.")
    return " ".join(told)


def _until(day: date | None) -> str:
    """Later than that day a trigger can wait for the season's close."""
    return "" if day is None else f", if that is by {day}"


def _swing_sentence(swings: Sequence[Swing], currency: str) -> str:
    if not swings:
        return ""
    top = swings[0]
    return (
        f"What moves the answer most is {NAMES[top.what]}: a quarter lower or higher, rebuilding now saves "
        f"{money(top.low, currency)} or {money(top.high, currency)}."
    )


def compare_json(unit_id: str, waiting: Waiting, swings: Sequence[Swing]) -> Json:
    """Every option and the figures about them, for other programs; money in the fleet's currency."""
    return {
        "unit_id": unit_id,
        "as_of": waiting.weeks.first_day[0].isoformat(),
        "options": [_option(option) for option in waiting.options],
        "best": _option(waiting.best),
        "best_later": _option(waiting.best_later),
        "chance_now_is_cheaper": waiting.chance_now_is_cheaper,
        "break_even_rebuild_price": waiting.break_even_rebuild_price,
        "value_of_check": waiting.value_of_check,
        "cost_of_waiting_per_month": waiting.cost_of_waiting_per_month,
        "cost_of_waiting": [{"until": day.isoformat(), "cost": cost} for day, cost in waiting.cost_of_waiting],
        "season": triggers_json(waiting.triggers),
        "moves_it": [{"what": s.what, "low": s.low, "high": s.high} for s in swings],
    }


def _option(option: Option) -> Json:
    return {
        "action": option.action,
        "on": day_or_null(option.on),
        "expected_cost": option.expected_cost,
        "low": option.low,
        "high": option.high,
    }
