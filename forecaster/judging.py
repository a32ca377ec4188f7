"""Which of several models forecast better, and is the difference more than luck?

Takes forecasts beside what then happened (see ``forecaster.backtest``) and says by how much one model leads another,
with the interval that chance alone would explain: units are drawn again with replacement, all forecasts of a unit
together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecaster.aftermath import OPENED_DEFECTIVE
from forecaster.scores import (
    Windows,
    bootstrap_means,
    brier_scores,
    calibration_table,
    concordance,
    difference,
    ipcw_weights,
    log_scores,
    observed_share,
    weighed_mean,
)

# Below these a bootstrap of units says more about the few than about the models: nothing is concluded.
LEAST_FORECASTS = 20
LEAST_FAILURES = 5
COUNTS = ("n", "failures", "ran_through")
SCORES = (
    *COUNTS,
    "log_score",
    "brier_score",
    "concordance",
    "mean_forecast",
    "observed",
    "observed_low",
    "observed_high",
)
LOG_LEAD = ("log_score_lead", "low", "high", "more_than_luck")
BRIER_LEAD = ("brier_score_lead", "brier_low", "brier_high", "brier_more_than_luck")


@dataclass(frozen=True)
class Judgement:
    """Scores, leads and calibration of the models under one question; columns as in ``backtest.Backtest``.

    ``cannot_tell``: why nothing can be concluded; "" where it can. ``preferred``: the model to prefer, or None.
    """

    scores: pd.DataFrame
    leads: pd.DataFrame
    calibration: pd.DataFrame
    cannot_tell: str
    preferred: str | None


def judge(
    forecasts: pd.DataFrame, models: Sequence[str], horizon: float, defective_counts: bool = False, seed: int = 1
) -> Judgement:
    """Score `models`, the first against each other one, on the same forecasts.

    `forecasts`: columns ``unit_id``, ``ran``, ``failed``, ``happened`` and one a model. Scored are those whose outcome
    can be said at all and that every model made which made any. `horizon` in the units of ``ran``. `defective_counts`:
    count units opened rusted or rough in the window as failed then.
    """
    able = [model for model in models if forecasts[model].notna().any()]
    scored = forecasts[forecasts[["ran", *able]].notna().all(axis=1)]
    failed = scored["failed"].to_numpy(dtype=bool)
    if defective_counts:
        failed = failed | (scored["happened"] == OPENED_DEFECTIVE).to_numpy()
    windows = Windows(scored["ran"].to_numpy(dtype=float), failed, horizon)
    chances = {model: scored[model].to_numpy(dtype=float) for model in able}
    cannot_tell = _why_not(windows)
    scores = pd.DataFrame([_scores(model, chances[model], windows) for model in able], columns=["model", *SCORES])
    leads = pd.DataFrame(columns=["rival", *LOG_LEAD, *BRIER_LEAD])
    if not cannot_tell and len(able) > 1:
        leads = _leads(chances, windows, scored["unit_id"].to_numpy(), seed)
    tables = [calibration_table(chances[model], windows).assign(model=model) for model in able if len(scored)]
    calibration = pd.concat(tables, ignore_index=True) if tables else pd.DataFrame(columns=["model", "group"])
    return Judgement(scores, leads, calibration, cannot_tell, _preferred(able, scores, leads))


def _why_not(windows: Windows) -> str:
    """Why nothing can be concluded from these windows; "" where it can."""
    n, failures, through = len(windows.ran), int(windows.failed_within.sum()), int(windows.ran_through.sum())
    if not n:
        return "no past forecast can be looked back on"
    if not failures:
        return f"no failure fell into the windows of {n} forecasts"
    if not through:
        return "no unit is known to have run through its window"
    if n < LEAST_FORECASTS:
        return f"{n} forecasts are too few (at least {LEAST_FORECASTS} are needed)"
    if min(failures, through) < LEAST_FAILURES:
        few = f"{failures} failures" if failures < LEAST_FAILURES else f"{through} windows run through"
        return f"{few} in {n} forecasts are too few (at least {LEAST_FAILURES} are needed)"
    return ""


def _scores(model: str, chance: np.ndarray, windows: Windows) -> dict[str, object]:
    weights = ipcw_weights(windows)
    seen = observed_share(windows)
    return {
        "model": model,
        "n": len(chance),
        "failures": int(windows.failed_within.sum()),
        "ran_through": int(windows.ran_through.sum()),
        "log_score": float(weighed_mean(log_scores(chance, windows.failed_within), weights)),
        "brier_score": float(weighed_mean(brier_scores(chance, windows.failed_within), weights)),
        "concordance": concordance(chance, windows).index,
        "mean_forecast": float(chance.mean()) if len(chance) else float("nan"),
        "observed": seen.share,
        "observed_low": seen.low,
        "observed_high": seen.high,
    }


def _leads(chances: dict[str, np.ndarray], windows: Windows, units: np.ndarray, seed: int) -> pd.DataFrame:
    """By how much the first model is better than each other one: log score, and Brier score turned round."""
    failed = windows.failed_within
    logs = np.stack([log_scores(chance, failed) for chance in chances.values()])
    briers = np.stack([-brier_scores(chance, failed) for chance in chances.values()])
    weights = ipcw_weights(windows)
    rows: dict[str, dict[str, object]] = {rival: {"rival": rival} for rival in list(chances)[1:]}
    for scores, names in ((logs, LOG_LEAD), (briers, BRIER_LEAD)):
        # Differences are drawn, not scores: certain forecasts that came true on both sides stay 0 - 0.
        gaps = np.stack([_gap(scores[0], score) for score in scores[1:]])
        resampled = bootstrap_means(gaps, windows, units, seed)
        for place, rival in enumerate(rows):
            lead = difference(float(weighed_mean(gaps[place], weights)), resampled[:, place])
            rows[rival] |= dict(zip(names, (lead.value, lead.low, lead.high, lead.more_than_luck), strict=True))
    return pd.DataFrame(list(rows.values()), columns=["rival", *LOG_LEAD, *BRIER_LEAD])


def _gap(first: np.ndarray, other: np.ndarray) -> np.ndarray:
    """first - other, and 0 where both are minus infinity: equally and infinitely wrong."""
    answer: np.ndarray = np.subtract(first, other, out=np.zeros_like(first), where=~(np.isinf(first) & np.isinf(other)))
    return answer


def _preferred(able: Sequence[str], scores: pd.DataFrame, leads: pd.DataFrame) -> str | None:
    """The first model where it leads every rival by more than luck; else the best of those that lead it so; or None."""
    sure = leads[leads["more_than_luck"].astype(bool)]
    ahead = sure[sure["log_score_lead"] < 0]
    if len(ahead):
        of_them = scores[scores["model"].isin(ahead["rival"])]
        return str(of_them.sort_values("log_score", kind="stable")["model"].iloc[-1])
    return able[0] if len(leads) and len(sure) == len(leads) else None
