"""A backtest in words, tables and JSON: which model forecast better on this fleet's past, and by more than luck?"""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from forecaster.backtest import Backtest
from forecaster.report import figures
from forecaster.report.as_json import Json
from forecaster.report.table import TextColumn, plain_table
from forecaster.report.text import Page

NAMES = {
    "two-stage": "the two-stage model",
    "weibull": "the Weibull regression",
    "fleet average": "the fleet's average rate",
    "every N hours": 'the rule "every N hours"',
}
SELECTABLE = ("two-stage", "weibull")  # by --model of the forecast
LEGEND = (
    "Log score: the mean log of the chance that was given to what then happened; 0 is perfect, and higher is better. "
    "Brier score: the mean squared distance between the chance and what happened; 0 is perfect, and lower is better. "
    "Order: of two units of which one is known to have failed sooner, how often it had the higher chance (50 % is a "
    "coin). Units opened before their window was over are allowed for by counting others like them for more. In "
    "brackets 90 % intervals; those of the lead come from drawing the units anew, 1,000 times."
)


def verdict(told: Backtest, question: str = "hours") -> str:
    """Which model forecast better under a question of ``forecaster.backtest``, against which, and whether by luck.

    One sentence on what was looked at, one a rival, and one on which model to prefer.
    """
    about = _about(told, question)
    if told.cannot_tell[question]:
        return f"Nothing can be said yet about past forecasts of {about}: {told.cannot_tell[question]}."
    scores = told.scores[told.scores["question"] == question].set_index("model")
    leads = told.leads[told.leads["question"] == question]
    first = str(scores.index[0])
    seasons = _asked(told, question)["origin"].dt.year.nunique()
    counts = scores.iloc[0]
    forecasts, failures = (
        figures.counted(int(counts["n"]), "forecast"),
        figures.counted(int(counts["failures"]), "failure"),
    )
    opening = f"Over {figures.counted(seasons, 'season')} and {forecasts} of {about}, with {failures}"
    if leads.empty:
        return f"{opening}, {NAMES[first]} has a log score of {_score(counts['log_score'])}; there is no rival."
    log_scores = {str(model): _score(value) for model, value in scores["log_score"].items()}
    against = []
    for lead in leads.to_dict("records"):
        rival = str(lead["rival"])
        gap, low, high = (_score(lead[name]) for name in ("log_score_lead", "low", "high"))
        luck = "more than luck" if lead["more_than_luck"] else "no more than luck may do"
        word = "better" if lead["log_score_lead"] > 0 else "worse" if lead["log_score_lead"] < 0 else "no other"
        against.append(
            f"{word} than {NAMES[rival]} (log score {log_scores[first]} against {log_scores[rival]}; difference {gap}, "
            f"90 % interval {low} to {high}: {luck})"
        )
    return f"{opening}, {NAMES[first]} forecast {figures.listed(against)}. {_advice(first, told.preferred[question])}"


def _asked(told: Backtest, question: str) -> pd.DataFrame:
    return told.season_forecasts if question == "season" else told.forecasts


def _about(told: Backtest, question: str) -> str:
    if question == "season":
        return "failing by the season's close"
    return f"failing within {told.hours:g} engine hours"


def _advice(first: str, preferred: str | None) -> str:
    """Which model to prefer, in words."""
    if preferred == first:
        return f"On this fleet's past, prefer {NAMES[first]}."
    if preferred is None:
        return f"On this fleet's past, {NAMES[first]} is beaten by none of them by more than luck."
    if preferred in SELECTABLE:
        return f"On this fleet's past, prefer {NAMES[preferred]}: forecast with --model {preferred}."
    return (
        f"On this fleet's past, {NAMES[preferred]} forecast better than {NAMES[first]}: take the ranking of units with "
        "care, and look for what the records lack."
    )


def stress_sentence(told: Backtest, question: str = "hours") -> str:
    """Whether the verdict holds where units opened rusted or rough in their window count as failed; "" if unasked."""
    opened = int((_asked(told, question)["happened"] == "opened defective").sum())
    own, other = (told.leads[told.leads["question"] == asked] for asked in (question, f"{question}_or_defective"))
    if not opened or own.empty:
        return ""
    changed = []
    for rival in own["rival"]:
        plainly, stressed = (_standing(leads[leads["rival"] == rival].iloc[0]) for leads in (own, other))
        if plainly != stressed:
            changed.append(f"{stressed} than {NAMES[str(rival)]}")
    would = "the verdict would stand"
    if changed:
        first = told.scores.loc[told.scores["question"] == question, "model"].iloc[0]
        would = f"{NAMES[first]} would have forecast {figures.listed(changed)}"
    return (
        f"In {figures.counted(opened, 'window')} the unit was opened rusted or rough, and would sooner or later have "
        f"failed. Had each counted as failed, {would}."
    )


def _standing(lead: pd.Series) -> str:
    if not lead["more_than_luck"]:
        return "neither better nor worse, by more than luck,"
    return "better" if lead["log_score_lead"] > 0 else "worse"


def backtest_text(told: Backtest, page: Page) -> str:
    """The whole backtest for a terminal: verdicts, scores, calibration of the model judged, what stands behind it."""
    blocks = []
    for question in ("hours", "season"):
        words = page.wrapped(verdict(told, question))
        blocks.append(page.strong(words) if question == "hours" else words)
        if len(_asked(told, question)):
            blocks.append(_score_table(told, question, page))
        stress = stress_sentence(told, question)
        blocks += [page.wrapped(stress)] if stress else []
    if len(told.forecasts):
        blocks.append(page.wrapped(LEGEND))
        blocks += [_calibration(told, model, page) for model in _to_show(told)]
        blocks.append(page.wrapped(_origins_sentence(told)))
    if told.remarks:
        blocks.append(page.first_bullets("Remarks", told.remarks))
    return "\n\n".join(blocks)


def _to_show(told: Backtest) -> list[str]:
    """The models whose calibration is shown: the one judged, and the one to prefer if that is another."""
    return list(dict.fromkeys([told.models[0], *([told.better] if told.better else [])]))


def _score_table(told: Backtest, question: str, page: Page) -> str:
    columns = [
        TextColumn("model"),
        TextColumn("log\nscore", right=True),
        TextColumn("lead of the first\n(90 %)", right=True, widest=28),
        TextColumn("Brier\nscore", right=True),
        TextColumn("order", right=True),
        TextColumn("mean\nforecast", right=True),
    ]
    scores = told.scores[told.scores["question"] == question]
    leads = told.leads[told.leads["question"] == question].set_index("rival")
    rows = []
    for score in scores.to_dict("records"):
        model = str(score["model"])
        lead = "-"
        if model in leads.index:
            gap, low, high = (_score(float(leads[name][model])) for name in ("log_score_lead", "low", "high"))
            lead = f"{gap} ({low} to {high})"
        rows.append(
            (
                NAMES[model].removeprefix("the "),
                _score(score["log_score"]),
                lead,
                _score(score["brier_score"]),
                "-" if math.isnan(score["concordance"]) else figures.percent(score["concordance"]),
                figures.percent(score["mean_forecast"]),
            )
        )
    table = plain_table(columns, rows, [""] * len(rows), page.width)
    seen = scores.iloc[0]
    share = _share(seen["observed"], seen["observed_low"], seen["observed_high"])
    behind = (
        f"{figures.counted(int(seen['n']), 'forecast')}: {seen['failures']} failed, {seen['ran_through']} ran through. "
        f"Share that failed: {share}."
    )
    return f"{table}\n{page.wrapped(behind)}"


def _calibration(told: Backtest, model: str, page: Page) -> str:
    asked = "season" if told.cannot_tell["hours"] and not told.cannot_tell["season"] else "hours"
    own = told.calibration[(told.calibration["question"] == asked) & (told.calibration["model"] == model)]
    columns = [
        TextColumn("chance given", right=True),
        TextColumn("units", right=True),
        TextColumn("mean\nforecast", right=True),
        TextColumn("failed", right=True),
        TextColumn("share that failed\n(90 %)", right=True),
    ]
    rows = [
        (
            f"{figures.percent(group['lowest'])} to {figures.percent(group['highest'])}",
            f"{group['n']:,}",
            figures.percent(group["mean_forecast"]),
            f"{group['failures']:,}",
            _share(group["observed"], group["observed_low"], group["observed_high"]),
        )
        for group in own.to_dict("records")
    ]
    title = f"Of units given about the same chance of {_about(told, asked)} by {NAMES[model]}, how many failed?"
    return f"{page.wrapped(title)}\n{plain_table(columns, rows, [''] * len(rows), page.width)}"


def _origins_sentence(told: Backtest) -> str:
    days = told.origins["origin"]
    often = "the opening" if told.every == "season" else "the opening and each month"
    return (
        f"Looked back on as of {figures.counted(len(days), 'day')} from {days.min().date()} to {days.max().date()}, "
        f"{often} of {figures.counted(told.origins['season_opens'].nunique(), 'season')}. Each forecast used only what "
        f"was known on its day, and no engine hour of a unit is scored twice; what then happened is as known on "
        f"{told.as_of}."
    )


def _score(value: float) -> str:
    """A score to three places; a true minus sign keeps figures in line, and infinity is told as such."""
    if math.isnan(value):
        return "-"
    if math.isinf(value):
        return "∞" if value > 0 else "−∞"
    return f"{value:z.3f}".replace("-", "−")


def _share(share: float, low: float, high: float) -> str:
    if math.isnan(share):
        return "cannot be known"
    return f"{figures.percent(share)} ({figures.percent(low).removesuffix(' %')}-{figures.percent(high)})"


def backtest_json(told: Backtest) -> Json:
    """The backtest as a plain dict: scores, leads and calibration by question, and every forecast with its outcome.

    Chances are shares from 0 to 1; scores as in ``backtest.Backtest``; what is not known or not finite is null.
    """
    return {
        "as_of": told.as_of.isoformat(),
        "hours": told.hours,
        "every": told.every,
        "models": list(told.models),
        "verdict": {question: verdict(told, question) for question in ("hours", "season")},
        "had_defective_counted": {question: stress_sentence(told, question) for question in ("hours", "season")},
        "better": told.better,
        "preferred": told.preferred,
        "cannot_tell": {question: why or None for question, why in told.cannot_tell.items()},
        "origins": _rows(told.origins),
        "scores": _rows(told.scores),
        "leads": _rows(told.leads),
        "calibration": _rows(told.calibration),
        "forecasts": [_forecast(row, told.models) for row in _rows(told.forecasts)],
        "season_forecasts": [_forecast(row, told.models) for row in _rows(told.season_forecasts)],
        "remarks": list(told.remarks),
    }


def _forecast(row: Json, models: tuple[str, ...]) -> Json:
    """One forecast with the models' chances together under their names."""
    return {
        **{name: value for name, value in row.items() if name not in models},
        "chance": {model: row[model] for model in models},
    }


def _rows(table: pd.DataFrame) -> list[Json]:
    return [{str(name): _plain(value) for name, value in row.items()} for row in table.to_dict("records")]


def _plain(value: Any) -> Any:
    if isinstance(value, pd.Timestamp):
        return value.date().isoformat()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
