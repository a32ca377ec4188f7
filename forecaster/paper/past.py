"""How past forecasts fared, in sentences for a reader who is no statistician."""

from __future__ import annotations

from forecaster.backtest import Backtest
from forecaster.report.backtest_text import verdict
from forecaster.report.figures import counted, listed, percent

QUESTION = "season"  # failing by the season's close: what the plan rests on
# What it is measured against, for a reader who is no statistician.
RIVALS = {
    "weibull": "a model of failures alone",
    "fleet average": "the average rate of all units",
    "every N hours": "a rule of fixed hours",
}


def past_sentences(told: Backtest) -> tuple[str, ...]:
    """What was forecast at past openings beside what then happened, and beside simpler rules."""
    if told.cannot_tell[QUESTION]:
        return (verdict(told, QUESTION),)
    scores = told.scores[told.scores["question"] == QUESTION].iloc[0]
    openings = told.season_forecasts["origin"].nunique()
    sentences = [
        f"How past forecasts fared: at the opening of {counted(openings, 'past season')}, with only what was known "
        f"then, {counted(int(scores['n']), 'forecast')} gave on average {percent(float(scores['mean_forecast']))} to "
        f"fail by the season's close; {percent(float(scores['observed']))} did (90 % interval "
        f"{percent(float(scores['observed_low']))} to {percent(float(scores['observed_high']))}). Of two units, the "
        f"one that failed sooner had been given the higher chance {percent(float(scores['concordance']))} of the time "
        "(50 % is a coin)."
    ]
    leads = told.leads[told.leads["question"] == QUESTION]
    groups: dict[str, list[str]] = {}
    for lead in leads.to_dict("records"):
        better = "better than" if lead["log_score_lead"] > 0 else "worse than"
        luck = "by more than luck explains" if lead["more_than_luck"] else "by no more than luck may explain"
        groups.setdefault(f"{better} {{}} {luck}", []).append(RIVALS[str(lead["rival"])])
    if groups:
        against = [words.format(listed(rivals)) for words, rivals in groups.items()]
        sentences.append(f"On those, this report's way of forecasting did {listed(against)}.")
    return tuple(sentences)
