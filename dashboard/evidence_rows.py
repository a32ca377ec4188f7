"""The evidence laid out as frames: nothing is worked out here, only put in order."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pandas as pd

import forecaster
from evidence_words import (
    MOSTLY_GENERAL,
    figure_told,
    model_named,
    parameter_label,
    parameter_sentence,
    shares_between,
)
from words import DASH, JOINER, SPACE, count_words, number, percent

NUMBERS_BENEATH = 6  # numbers at risk under the counted curve: what a phone has room for
FEW = 5  # at risk: from there on the counted line says little


def at_risk_rows(counted: pd.DataFrame) -> pd.DataFrame:
    """Numbers at risk to write beneath the counted curve: about evenly along it, each at an age of the record."""
    shown = counted[["hours", "n_at_risk"]]
    if counted.empty:
        return shown
    end = float(counted["hours"].max())
    wanted = [end * place / (NUMBERS_BENEATH - 1) for place in range(NUMBERS_BENEATH)]
    nearest = {int((counted["hours"] - hours).abs().argmin()) for hours in wanted}
    return shown.iloc[sorted(nearest)]


def few_from(counted: pd.DataFrame) -> float | None:
    """The age from which on fewer than `FEW` lives are at risk, h; None where that never happens."""
    enough = counted.loc[counted["n_at_risk"] >= FEW, "hours"]
    later = counted.loc[counted["hours"] > enough.max(), "hours"] if len(enough) else counted["hours"]
    return float(later.min()) if len(later) else None


def calibration_rows(past: forecaster.Backtest, question: str) -> pd.DataFrame:
    """Groups of forecasts for the calibration picture: of the model judged and of the one to prefer, if another."""
    shown = list(dict.fromkeys([past.models[0], *([past.better] if past.better else [])]))
    table = past.calibration
    groups = table[(table["question"] == question) & table["model"].isin(shown)]
    if groups.empty:
        return groups
    return groups.assign(
        hover=[_group_told(row) for _, row in groups.iterrows()],
        model=groups["model"].map(model_named),
    ).reset_index(drop=True)


def _group_told(row: pd.Series) -> str:
    ends = f"{number(row['lowest'])}{DASH}{number(row['highest'])}{SPACE}%"
    return (
        f"{count_words(row['n'], 'forecast')} of {ends}, {percent(row['mean_forecast'])} on average<br>"
        f"{count_words(row['failures'], 'failure')} seen: {shares_between(row, 'observed')} failed"
    )


def score_rows(past: forecaster.Backtest, question: str) -> pd.DataFrame:
    """The scores of each model as texts, the model judged first."""
    scores = past.scores[past.scores["question"] == question]
    leads = past.leads[past.leads["question"] == question].set_index("rival")
    rows = []
    for row in scores.to_dict("records"):
        model = row["model"]
        lead = leads.loc[model] if model in leads.index else None
        rows.append(
            {
                "model": model_named(model).removeprefix("the "),
                "log_score": score(row["log_score"]),
                "lead": "" if lead is None else _between(lead),
                "luck": "" if lead is None else "more than luck" if lead["more_than_luck"] else "may be luck",
                "brier_score": score(row["brier_score"]),
                "order": "" if math.isnan(row["concordance"]) else percent(row["concordance"]),
                "mean_forecast": percent(row["mean_forecast"]),
                "observed": shares_between(pd.Series(row), "observed"),
            }
        )
    columns = ["model", "log_score", "lead", "luck", "brier_score", "order", "mean_forecast", "observed"]
    return pd.DataFrame(rows, columns=columns)


def score(value: float) -> str:
    """A score to three places with a true minus sign; infinity is told as such."""
    if math.isnan(value):
        return ""
    if math.isinf(value):
        return "∞" if value > 0 else "−∞"
    return f"{value:z.3f}".replace("-", "−")


def _between(lead: pd.Series) -> str:
    return f"{score(lead['log_score_lead'])} ({score(lead['low'])} to {score(lead['high'])})"


def parameter_rows(rows: Sequence[forecaster.Learned]) -> pd.DataFrame:
    """Parameters of one unit for the picture; see ``evidence_charts.before_and_after``."""
    return pd.DataFrame(
        [
            {
                "label": f"{parameter_label(row)} <i>({MOSTLY_GENERAL})</i>"
                if row.mostly_prior
                else parameter_label(row),
                "prior": row.prior[0],
                "prior_low": row.prior[1],
                "prior_high": row.prior[2],
                "posterior": row.posterior[0],
                "low": row.posterior[1],
                "high": row.posterior[2],
                "hover": f"{parameter_sentence(row)}<br>Believed before: {figure_told(row.prior, row.unit)}",
            }
            for row in rows
        ]
    )


def learned_rows(rows: Sequence[forecaster.Learned]) -> pd.DataFrame:
    """The table of all parameters: in words, before and after."""
    return pd.DataFrame(
        [
            {
                "what": row.words,
                "before": figure_told(row.prior, row.unit),
                "after": figure_told(row.posterior, row.unit),
                "share": 100.0 * row.share,
                "mark": MOSTLY_GENERAL if row.mostly_prior else "",
            }
            for row in rows
        ]
    )


def service_life_rows(rows: Sequence[forecaster.ServiceLife]) -> pd.DataFrame:
    """B10 and B50 of fresh units, each with its interval, as texts."""
    return pd.DataFrame(
        [
            {
                "kind": row.kind,
                "lives": row.lives,
                **{
                    f"{state}_{level}": figure_told(quantiles, "h").replace(JOINER, "")
                    for state, levels in (("failed", row.failed), ("defective", row.defective))
                    for level, quantiles in levels.items()
                },
            }
            for row in rows
        ]
    )
