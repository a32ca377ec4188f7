"""What the records say with no model behind it, beside what the two-stage model says of the same lives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecaster.curves import kaplan_meier, risk_set_empties_at
from forecaster.learning import TwoStageFit
from forecaster.lives import Histories
from forecaster.pieces import covariates
from forecaster.service_life import DRAWS, fresh_curves, incident_rate

POINTS = 61


@dataclass(frozen=True)
class SurvivalEvidence:
    """Bearings not failed by age: counted, and by the model.

    ``counted``: Kaplan-Meier of the fleet's lives, columns as ``curves.kaplan_meier`` (hours, n_at_risk, n_failed,
    n_withdrawn, survival, low, high). ``modelled``: ``hours``, ``survival`` with ``low`` and ``high``, for fresh units
    with the fleet's own parts and waters and water incidents at its rate. ``from_hours``: where the counted curve
    begins; ``lives``, ``failures`` behind it. Openings because of noise censor the counted curve, though such units
    were closer to failing than others: it stands too high, and the model's may well run below it.
    """

    counted: pd.DataFrame
    modelled: pd.DataFrame
    from_hours: float
    lives: int
    failures: int


def survival_evidence(fit: TwoStageFit, histories: Histories) -> SurvivalEvidence:
    """Kaplan-Meier beside the model, over the ages that the fleet has seen."""
    histories = histories.taught()
    begins = risk_set_empties_at(histories)
    counted = kaplan_meier(histories, given_alive_at=begins)
    oldest = float(np.nanmax(histories.age)) if histories.age.notna().any() else 0.0
    hours = np.linspace(0.0, max(oldest, 50.0), POINTS)
    lives = histories.lives
    x = covariates(lives, fit.shares).mean(axis=0) if len(lives) else np.array(list(fit.shares.values()))
    _, failed = fresh_curves(fit.theta[:DRAWS], fit.prior, x, incident_rate(histories), hours)
    surviving = 1.0 - failed
    known = np.interp(begins, hours, surviving.mean(axis=0))
    surviving = surviving / max(float(known), 1e-12)
    low, high = np.quantile(surviving, [0.05, 0.95], axis=0)
    modelled = pd.DataFrame({"hours": hours, "survival": surviving.mean(axis=0), "low": low, "high": high})
    return SurvivalEvidence(
        counted, modelled[modelled["hours"] >= begins], begins, histories.n_lives, histories.n_failures
    )
