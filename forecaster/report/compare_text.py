"""Rebuild now or later, for one unit: as text and as JSON."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from forecaster.amounts import Amount
from forecaster.decisions import Swing
from forecaster.now_or_later import NowOrLater
from forecaster.report import sentences
from forecaster.report.as_json import Json, day_or_null, instruction_json, triggers_json, with_interval
from forecaster.report.figures import money
from forecaster.report.instruction_wording import beside_costs, instruction_sentence, what_waiting_costs
from forecaster.report.table import TextColumn, plain_table
from forecaster.report.text import Page
from forecaster.waiting import Option

WEEKS_BETWEEN_ROWS = 4  # of the table
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


def answer_sentence(told: NowOrLater, currency: str) -> str:
    """What these costs alone would do with the unit, and what it saves, in one sentence."""
    sure = f"now is the cheaper one with a chance of {_likely(told)}"
    if told.now_is_best:
        return (
            f"By costs alone, rebuild {told.unit_id} before it runs again: about {_amount(told.saved, currency)} "
            f"cheaper over two years than the next best, to {DOING[told.later.action]}{_when(told.later)}; {sure}."
        )
    return (
        f"By costs alone, do not rebuild {told.unit_id} now: to {DOING[told.best.action]}{_when(told.best)} is about "
        f"{_amount(told.saved.opposite, currency)} cheaper over two years; {sure}."
    )


def _likely(told: NowOrLater) -> str:
    """The chance that now is cheaper; the draws of a posterior show neither a nought nor a certainty."""
    least = 100 / told.n_draws
    chance = 100 * told.chance_now_is_cheaper
    if chance < least:
        return f"under {least:.0f} %"
    return f"over {100 - least:.0f} %" if chance > 100 - least else f"{chance:.0f} %"


def _when(option: Option) -> str:
    return "" if option.on is None else f" in the week of {option.on}"


def _amount(amount: Amount, currency: str) -> str:
    """An amount with its central 90 % interval: "USD 1,115 (654-1,833)"."""
    dash = " to " if amount.low < 0 else "-"
    return f"{money(amount.mean, currency)} ({amount.low:z,.0f}{dash}{amount.high:z,.0f})"


def compare_text(told: NowOrLater, swings: Sequence[Swing], currency: str, page: Page) -> str:
    """The instruction, what costs alone would say, the options month by month, and what moves it."""
    columns = [
        TextColumn("week of"),
        TextColumn(f"rebuild then\n{currency} (90 %)", right=True, least=14),
        TextColumn(f"check then\n{currency} (90 %)", right=True, least=14),
        TextColumn("still runs", right=True),
    ]
    weeks: Iterable[Any] = told.weeks.iloc[::WEEKS_BETWEEN_ROWS].itertuples(index=False)
    rows = [
        (
            f"{week.first_day:%Y-%m-%d}",
            _with_range(week.rebuild, week.rebuild_low, week.rebuild_high),
            _with_range(week.check, week.check_low, week.check_high),
            f"{100 * week.runs:.0f} %",
        )
        for week in weeks
    ]
    never = told.never
    blocks = [
        *_before_all(told, currency, page),
        page.wrapped(answer_sentence(told, currency)),
        plain_table(columns, rows, [""] * len(rows), page.width),
        page.wrapped(
            f"Never opened until it fails: {currency} {_with_range(never.expected_cost, never.low, never.high)}."
        ),
        page.wrapped(_figures(told, currency)),
        page.wrapped(_swing_sentence(swings, currency)),
        page.wrapped(
            "Costs are expected ones from today over two years, in brackets the central 90 % interval; they count the "
            "job, failing, engine damage, lost rental days and the lives after this one under their best upkeep."
        ),
        page.wrapped(sentences.evidence_sentence(told.evidence, "two-stage")),
        page.wrapped(sentences.CAUTION),
    ]
    return "\n\n".join(blocks)


def _before_all(told: NowOrLater, currency: str, page: Page) -> list[str]:
    """What is to be done, whatever the costs say; and where they would say otherwise, why that stands."""
    blocks = []
    if told.stop:
        title = f"Do not run {told.unit_id} as it is; the costs below are no leave to run it"
        blocks.append(page.strong(page.bullets(title, told.stop)))
    elif told.check_first:
        blocks.append(page.strong(page.bullets(f"Check {told.unit_id} before its next ride", told.check_first)))
    if told.instruction is not None:
        own = " (at the fleet's own prices)" if told.changed else ""
        words = [
            f"{instruction_sentence(told.instruction)}{own}",
            what_waiting_costs(told.instruction, currency),
            beside_costs(told),
        ]
        blocks.append(page.strong(page.wrapped(" ".join(filter(None, words)))))
    return blocks


def _with_range(cost: float, low: float, high: float) -> str:
    return f"{cost:z,.0f} ({low:z,.0f}-{high:z,.0f})"


def _figures(told: NowOrLater, currency: str) -> str:
    pays = "A rebuild now would not pay even if it cost nothing."
    if told.break_even.mean > 0:
        pays = f"A rebuild now pays up to a price of {_amount(told.break_even, currency)}."
    check = f"The best check saves {_amount(told.check_saves, currency)} beside the best way without."
    if told.check_saves.mean <= 0:
        check = f"No check pays: the best costs {_amount(told.check_saves.opposite, currency)} more than none."
    month = f"The dearest month of waiting costs {_amount(told.dearest_month, currency)}."
    triggers = told.triggers
    figures = [pays, check, month]
    if triggers.check_at_hours is not None:
        until = _until(triggers.check_until)
        figures.append(f"Run on, it should be checked at {triggers.check_at_hours:.0f} h since rebuild{until}.")
    if triggers.rebuild_at_hours is not None:
        at, until = f"{triggers.rebuild_at_hours:.0f} h since rebuild", _until(triggers.rebuild_until)
        figures.append(f"Run on, it should be rebuilt at {at}, even in season{until}.")
    return " ".join(figures)


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


def compare_json(told: NowOrLater, swings: Sequence[Swing]) -> Json:
    """Every option and the figures about them, for other programs; money in the fleet's currency."""
    return {
        "unit_id": told.unit_id,
        "as_of": told.as_of.isoformat(),
        "instruction": None if told.instruction is None else instruction_json(told.instruction),
        "costs_alone": told.alone,
        "instruction_stands_by": list(told.stands) if told.instruction and told.alone != told.instruction.act else [],
        "options": [*_by_week(told, "rebuild"), *_by_week(told, "check"), _option(told.never)],
        "best": _option(told.best),
        "best_later": _option(told.later),
        "chance_now_is_cheaper": told.chance_now_is_cheaper,
        "saves": with_interval(told.saved),
        "break_even_rebuild_price": told.break_even.mean,
        "value_of_check": max(told.check_saves.mean, 0.0),
        "cost_of_waiting_per_month": told.dearest_month.mean,
        "cost_of_waiting": [
            {"until": day.date().isoformat(), "cost": cost}
            for day, cost in zip(told.by_month["until"], told.by_month["extra"], strict=True)
        ],
        "season": triggers_json(told.triggers),
        "moves_it": [{"what": s.what, "low": s.low, "high": s.high} for s in swings],
        "stop": list(told.stop),
        "check_first": list(told.check_first),
    }


def _by_week(told: NowOrLater, action: str) -> list[Json]:
    columns = ["first_day", action, f"{action}_low", f"{action}_high"]
    weeks = zip(*(told.weeks[name] for name in columns), strict=True)
    return [
        {"action": action, "on": day.date().isoformat(), "expected_cost": cost, "low": low, "high": high}
        for day, cost, low, high in weeks
    ]


def _option(option: Option) -> Json:
    return {
        "action": option.action,
        "on": day_or_null(option.on),
        "expected_cost": option.expected_cost,
        "low": option.low,
        "high": option.high,
    }
