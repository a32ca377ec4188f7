"""The off-season plan laid out as frames: nothing is worked out here, only put in order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from types import MappingProxyType

import pandas as pd

import forecaster
from fleet_rows import Instructions, craft_told
from plan_form import NO_WEEK
from plan_words import about, in_order, with_range
from words import DASH, all_told, day_words, hours_words, money, percent, plain, told


def table_rows(
    shown: Sequence[forecaster.PlannedAction],
    answer: forecaster.PlanAnswer,
    places: pd.DataFrame,
    instructions: Instructions,
    edits: Mapping[str, forecaster.PlanEdit] = MappingProxyType({}),
) -> pd.DataFrame:
    """The table to be changed by hand, one row a unit in the order of `shown`; money in whole amounts."""
    return pd.DataFrame(
        [
            {
                "unit": one.unit_id,
                "work": one.action,
                "week": one.week_of.isoformat() if one.week_of else NO_WEEK,
                "cost": one.cost,
                "saves": answer.savings[one.unit_id].mean,
                "saves_interval": _interval(answer.savings[one.unit_id]),
                "rattle": percent(one.rattle) if one.action == "check" else "",
                "note": edits[one.unit_id].note if one.unit_id in edits else "",
                "hours": answer.hours.get(one.unit_id),
                "craft": craft_told(one.craft_id, places),
                "instruction": told(forecaster.instruction_in_words(instructions[one.unit_id])),
                "because": all_told(answer.because.get(one.unit_id, ())),
                "remarks": answer.doubtful.get(one.unit_id, ""),
            }
            for one in shown
        ]
    )


def _interval(saving: forecaster.Saving) -> str:
    return "" if saving.mean == saving.low == saving.high == 0 else f"{about(saving.low)} to {about(saving.high)}"


def plan_file(
    answer: forecaster.PlanAnswer, by_hand: Mapping[str, forecaster.PlanEdit], instructions: Instructions
) -> bytes:
    """The plan as a CSV file that a spreadsheet reads: figures unrounded, one row a unit."""
    rows = [
        {
            "unit_id": one.unit_id,
            "craft_id": one.craft_id,
            "instruction": forecaster.instruction_in_words(instructions[one.unit_id]),
            "work": one.action,
            "week_of": one.week_of.isoformat() if one.week_of else "",
            "cost_expected": one.cost,
            "saves_expected": answer.savings[one.unit_id].mean,
            "saves_low_90": answer.savings[one.unit_id].low,
            "saves_high_90": answer.savings[one.unit_id].high,
            "chance_of_rattle": one.rattle if one.action == "check" else None,
            "hours_since_rebuild": answer.hours.get(one.unit_id),
            "season_check_at_hours": answer.triggers[one.unit_id].check_at_hours,
            "season_rebuild_at_hours": answer.triggers[one.unit_id].rebuild_at_hours,
            "because": "; ".join(answer.because.get(one.unit_id, ())),
            "do_not_run": "; ".join(answer.stop.get(one.unit_id, ())),
            "changed_by_hand": "yes" if one.unit_id in by_hand else "no",
            "why_changed": by_hand[one.unit_id].note if one.unit_id in by_hand else "",
            "currency": answer.currency,
        }
        for one in in_order(answer.plan.actions)
    ]
    return forecaster.csv_for_people(pd.DataFrame(rows).round(4))


def bench_rows(answer: forecaster.PlanAnswer, places: pd.DataFrame, by_hand: set[str], currency: str) -> pd.DataFrame:
    """The blocks of the picture; see ``plan_charts.bench_by_week``."""
    rows = [
        {
            "label": one.unit_id,
            "week": pd.Timestamp(one.week_of),
            "action": one.action,
            "by_hand": one.unit_id in by_hand,
            "hover": "<br>".join(
                [
                    f"<b>{escape(one.unit_id)}</b> on {escape(craft_told(one.craft_id, places))}",
                    f"{one.action} in the week of {day_words(one.week_of)}",
                    f"costs {escape(money(one.cost, currency))} now",
                    f"saves about {escape(with_range(answer.savings[one.unit_id], currency))}",
                    *([f"rattles: {percent(one.rattle)}"] if one.action == "check" else []),
                    *(escape(told(reason)) for reason in answer.because.get(one.unit_id, ())),
                ]
            ),
        }
        for one in in_order(answer.plan.actions)
        if one.week_of is not None
    ]
    return pd.DataFrame(rows, columns=["label", "week", "action", "by_hand", "hover"])


def week_rows(answer: forecaster.PlanAnswer) -> pd.DataFrame:
    """The weeks of the bench, Mondays with their places."""
    return pd.DataFrame(
        [{"week": pd.Timestamp(w.monday), "places": w.places, "closed": w.closed} for w in answer.bench],
        columns=["week", "places", "closed"],
    )


def rule_rows(answer: forecaster.PlanAnswer) -> pd.DataFrame:
    """Each N of the rule that adds a rebuild, lowest first; see ``plan_charts.rules_beside``."""
    return pd.DataFrame(
        [
            {
                "hours": rule.n_hours,
                "rebuilds": rule.rebuilds,
                "spent": rule.spent,
                "more": rule.costs_more.mean,
                "low": rule.costs_more.low,
                "high": rule.costs_more.high,
            }
            for rule in reversed(answer.rules)
        ],
        columns=["hours", "rebuilds", "spent", "more", "low", "high"],
    )


def rule_table(answer: forecaster.PlanAnswer, currency: str) -> pd.DataFrame:
    """The table behind that picture."""
    return pd.DataFrame(
        [
            {
                "Rebuild every unit past": "never by hours" if rule.n_hours is None else hours_words(rule.n_hours),
                "Rebuilds": str(rule.rebuilds),
                "Costs now": money(rule.spent, currency),
                "Costs more than the plan": with_range(rule.costs_more, currency),
            }
            for rule in reversed(answer.rules)
        ]
    )


def parts_table(answer: forecaster.PlanAnswer) -> pd.DataFrame:
    """What to order: for the rebuilds, and in reserve for checked units that may rattle."""
    order = answer.parts
    rebuilds, reserve = ({line.part: line.count for line in lines} for lines in (order.parts, order.in_reserve))
    columns = {"For the rebuilds": rebuilds, "In reserve": reserve}
    return pd.DataFrame(
        [
            {"Part": part, **{told: str(counts.get(part, 0)) for told, counts in columns.items() if counts}}
            for part in dict.fromkeys([*rebuilds, *reserve])
        ]
    )


def trigger_table(answer: forecaster.PlanAnswer, places: pd.DataFrame) -> pd.DataFrame:
    """The season's triggers, unit by unit: those with any first."""
    rows = []
    for one in answer.plan.actions:
        triggers = answer.triggers[one.unit_id]
        rows.append(
            {
                "Unit": plain(one.unit_id),
                "Craft": plain(craft_told(one.craft_id, places)),
                "This off-season": one.action,
                "Check at": _at(triggers.check_at_hours),
                "Rebuild at": _at(triggers.rebuild_at_hours),
            }
        )
    return pd.DataFrame(sorted(rows, key=lambda row: (row["Check at"] == row["Rebuild at"] == DASH, row["Unit"])))


def _at(hours: float | None) -> str:
    return DASH if hours is None else hours_words(hours)
