"""The answers for other programs: plain dicts of the documented keys, and their text.

Chances are shares from 0 to 1, hours engine hours, days ISO 8601, and what is not known is null. Keys may be added;
those documented stay.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING, Any

from forecaster.amounts import Amount
from forecaster.errors import ModelError
from forecaster.forecast import Chance, FleetForecast, UnitForecast
from forecaster.life_model import Evidence
from forecaster.lives import CraftWithoutUnit
from forecaster.problems import Reading
from forecaster.report.instruction_wording import CODE_WORDS, instruction_in_words, why_so
from forecaster.told_numbers import no_number

if TYPE_CHECKING:  # the forecast alone needs none of it
    from forecaster.instruction import Instruction
    from forecaster.season_triggers import Triggers

Json = dict[str, Any]


def written(answer: Json) -> str:
    """An answer as JSON text. Only ASCII, so that it passes through any terminal. Raises ModelError for NaN in it."""
    try:
        return json.dumps(answer, indent=2, allow_nan=False)
    except ValueError as error:
        raise ModelError(no_number("A figure of the answer")) from error


def day_or_null(day: date | None) -> str | None:
    """A day as JSON holds it."""
    return None if day is None else day.isoformat()


def with_interval(told: Chance | Amount) -> Json:
    """A mean with its central 90 % interval."""
    return {"mean": told.mean, "low": told.low, "high": told.high}


def triggers_json(triggers: Triggers) -> Json:
    """Until when and at which age a check or a rebuild pays in the season."""
    return {
        "check_at_hours": triggers.check_at_hours,
        "rebuild_at_hours": triggers.rebuild_at_hours,
        "check_until": day_or_null(triggers.check_until),
        "rebuild_until": day_or_null(triggers.rebuild_until),
    }


def instruction_json(told: Instruction) -> Json:
    """The one instruction of a unit: its codes, what they mean in words, and what it costs more to wait."""
    cost = told.waiting_costs
    return {
        "code": told.code,
        "act": told.act,
        "by": day_or_null(told.by),
        "week_of": day_or_null(told.week_of),
        "source": told.source,
        "reasons": list(told.reasons),
        "in_words": instruction_in_words(told),
        "why": why_so(told),
        "waiting_a_month_costs": None if cost is None else with_interval(cost),
        "held_by": list(told.held_by),
    }


def forecast_json(forecast: FleetForecast, doubtful: Mapping[str, str] | None = None, limit: int | None = None) -> Json:
    """A fleet's forecast; `doubtful`: units whose history refused rows touch, each with the reason.

    `limit`: only the so many units most at risk.
    """
    reasons = doubtful or {}
    return {
        "as_of": forecast.as_of.isoformat(),
        "hours": forecast.hours,
        "model": forecast.model,
        "fit": {**evidence_json(forecast.evidence), "remarks": list(forecast.evidence.remarks)},
        "season": {"opens": forecast.season[0].isoformat(), "closes": forecast.season[1].isoformat()},
        "remarks": list(forecast.remarks),
        "craft_without_unit": [_without_unit(one) for one in forecast.craft_without_unit],
        "units": [_unit(unit, reasons.get(unit.unit_id)) for unit in forecast.units[:limit]],
    }


def _without_unit(one: CraftWithoutUnit) -> Json:
    return {
        "craft_id": one.craft_id,
        "last_unit_id": one.last_unit_id,
        "since": day_or_null(one.since),
        "water": [
            {"happened_on": water.happened_on.isoformat(), "kind": water.kind, "treatment": water.treatment}
            for water in one.water
        ],
        "remarks": list(one.remarks),
    }


def evidence_json(evidence: Evidence) -> Json:
    """How much stands behind an answer."""
    return {
        "lives": evidence.lives,
        "failures": evidence.failures,
        "effective_sample": evidence.effective_sample,
        "mostly_prior": evidence.mostly_prior,
        "prior": evidence.prior,
    }


def _unit(unit: UnitForecast, doubtful: str | None) -> Json:
    return {
        "unit_id": unit.unit_id,
        "craft_id": unit.craft_id,
        "hours_since_rebuild": _known(unit.hours_since_rebuild),
        "hours_since_rebuild_low": _known(unit.hours_low),
        "hours_since_rebuild_high": _known(unit.hours_high),
        "hours_in_record": unit.hours_in_record,
        "incidents": unit.incidents,
        "defective_now": None if unit.defective_now is None else with_interval(unit.defective_now),
        "fails_within": with_interval(unit.fails_within),
        "fails_this_season": with_interval(unit.fails_this_season),
        "season_hours": unit.season_hours,
        "season_hours_low": unit.season_hours_low,
        "season_hours_high": unit.season_hours_high,
        "hours_left": {"p10": unit.hours_left.p10, "p50": unit.hours_left.p50, "p90": unit.hours_left.p90},
        "hours_to_risk_limit": unit.hours_to_risk_limit,
        "instruction": unit.instruction,
        "advice": CODE_WORDS[unit.instruction],
        "because": list(unit.because),
        "beyond_seen": unit.beyond_seen,
        "doubtful": doubtful,
        "last_reading_on": day_or_null(unit.last_reading_on),
        "remarks": list(unit.remarks),
    }


def _known(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def validation_json(reading: Reading) -> Json:
    """What was read and refused, and every problem."""
    return {
        "read": reading.read,
        "refused": reading.refused_counts,
        "problems": [
            {
                "file": problem.file,
                "row": problem.row,
                "column": problem.column,
                "value": problem.value,
                "reason": problem.reason,
                "remedy": problem.remedy,
                "refused": problem.refused,
                "held_back": problem.held_back,
            }
            for problem in reading.problems
        ],
        "problems_not_listed": reading.problems_not_listed,
        "doubtful_units": reading.doubtful_units,
        "kept_aside": {name: list(columns.columns) for name, columns in reading.kept_aside.items() if len(columns)},
    }
