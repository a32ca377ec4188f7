"""Whole answers after water for tests: of a typical unit, from general experience in few draws, each made once."""

from __future__ import annotations

from datetime import date, timedelta
from functools import cache
from itertools import product
from typing import Any

from forecaster.flooded_craft import typical_unit
from forecaster.flooding import AfterWater, after_water
from forecaster.flooding_facts import flooding_of
from forecaster.learning import TwoStageFit, fit_two_stage
from forecaster.lives import LIVES, Histories, frame
from forecaster.settings import Costs, DowntimeDays

DAY = date(2026, 7, 4)


@cache
def general_experience(as_of: date) -> TwoStageFit:
    """General experience, in few draws: the laws hold for any."""
    return fit_two_stage(Histories(as_of, frame(LIVES)), draws=30)


def answer_to_flooding(hours: float = 80.0, days: int = 0, day_rate: float = 0.0, **facts: Any) -> AfterWater:
    """The answer `days` after the water for a typical unit `hours` after its rebuild."""
    as_of = DAY + timedelta(days)
    flooding = flooding_of(**({"happened_on": DAY} | facts))
    unit = typical_unit(flooding, as_of, hours)
    return after_water(general_experience(as_of), unit, flooding, Costs(), DowntimeDays(), day_rate, as_of)


def _answers() -> list[dict[str, Any]]:
    """A few hundred floodings: every pair of grave answers, fresh and old units, water of today and of last week."""
    grave: list[dict[str, Any]] = [
        {},
        {"oil": "milky"},
        {"spin": "rattle"},
        {"spin": "quiet"},
        {"water_in_cylinder": "yes"},
        {"engine": "running", "under_minutes": 5.0},
        {"engine": "running", "under_minutes": 5.0, "compression": "good"},
    ]
    kinds = product(grave, ("salt", "fresh"), ("no", "yes"), (5.0, 150.0), (0, 7))
    return [{**told, "water": water, "treated": done, "hours": h, "days": d} for told, water, done, h, d in kinds]


ANSWERS = _answers()
