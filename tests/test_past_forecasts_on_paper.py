"""How past forecasts fared, in the paper's words."""

from __future__ import annotations

from datetime import date

import pandas as pd

from forecaster.backtest import Backtest
from forecaster.paper.past import past_sentences


def told(cannot_tell: str = "", leads: tuple[tuple[str, float, bool], ...] = ()) -> Backtest:
    """A backtest of 40 forecasts at two openings, 8 of which failed."""
    scores = {"question": "season", "model": "two-stage", "n": 40, "failures": 8, "ran_through": 32, "log_score": -0.4}
    scores |= {"brier_score": 0.1, "concordance": 0.75, "mean_forecast": 0.25, "observed": 0.2}
    scores |= {"observed_low": 0.11, "observed_high": 0.33}
    origins = pd.to_datetime(["2025-05-01", "2026-05-01"])
    columns = ["question", "rival", "log_score_lead", "more_than_luck"]
    return Backtest(
        as_of=date(2026, 11, 1),
        hours=50.0,
        every="season",
        models=("two-stage", "weibull", "fleet average"),
        origins=pd.DataFrame({"origin": origins}),
        forecasts=pd.DataFrame(),
        season_forecasts=pd.DataFrame({"origin": origins.repeat(20)}),
        scores=pd.DataFrame([scores]),
        leads=pd.DataFrame([("season", *lead) for lead in leads], columns=columns),
        calibration=pd.DataFrame(),
        cannot_tell={"hours": "", "season": cannot_tell},
        preferred={"hours": None, "season": None},
    )


def test_what_was_forecast_stands_beside_what_happened() -> None:
    (sentence,) = past_sentences(told())
    assert "at the opening of 2 past seasons" in sentence
    assert "40 forecasts gave on average 25 % to fail by the season's close; 20 % did (90 % interval 11 % to 33 %)" in (
        sentence
    )
    assert "75 % of the time (50 % is a coin)" in sentence


def test_rivals_are_named_whether_better_or_worse_and_by_luck_or_not() -> None:
    _, against = past_sentences(told(leads=(("weibull", -0.02, False), ("fleet average", 0.05, True))))
    assert against == (
        "On those, this report's way of forecasting did worse than a model of failures alone by no more than luck may "
        "explain and better than the average rate of all units by more than luck explains."
    )


def test_where_nothing_can_be_told_it_says_so() -> None:
    (sentence,) = past_sentences(told(cannot_tell="too few"))
    assert sentence == "Nothing can be said yet about past forecasts of failing by the season's close: too few."
