"""The answer after water laid out as frames: nothing is worked out here, only put in order."""

from __future__ import annotations

import pandas as pd

import forecaster
from after_water_words import NAME_OF_SCENARIO, money_words, option_name
from words import chance_words, hours_words


def scenario_rows(answer: forecaster.AfterWater) -> pd.DataFrame:
    """The rows of the picture; see ``after_water_charts.risk_after_water``."""
    return pd.DataFrame(
        [
            {"scenario": scenario, "hours": row.hours, "now": scenario == answer.applies}
            | {end: getattr(getattr(row, scenario), end) for end in ("mean", "low", "high")}
            for scenario in NAME_OF_SCENARIO
            for row in answer.risk
        ]
    )


def risk_rows(answer: forecaster.AfterWater) -> pd.DataFrame:
    """The table behind the picture: a row for each horizon, each chance with its interval."""
    names = {**NAME_OF_SCENARIO, **({"as_it_is": "as it is"} if answer.applies == "unknown" else {})}
    return pd.DataFrame(
        [
            {"within": hours_words(row.hours)}
            | {told: chance_words(getattr(row, scenario)) for scenario, told in names.items()}
            for row in answer.risk
        ]
    )


def risk_lines(rows: pd.DataFrame) -> list[str]:
    """The same table a line for each horizon, for a screen too narrow for it; `rows` as ``risk_rows`` gives them."""
    return [
        f"Within {row.pop('within')}: " + "; ".join(f"{name} {chance}" for name, chance in row.items())
        for row in rows.to_dict("records")
    ]


def cost_rows(answer: forecaster.AfterWater, currency: str) -> pd.DataFrame:
    """What each way on costs, the advised one marked."""
    return pd.DataFrame(
        [
            {
                "Way": option_name(option) + (" (advised)" if option is answer.best else ""),
                f"Expected cost, {currency}": money_words(option),
            }
            for option in answer.options
        ]
    )
