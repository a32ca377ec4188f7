"""What a life carries besides its age: which covariates there are, and which of them a number of failures can tell."""

from __future__ import annotations

import numpy as np
import pandas as pd

from forecaster.episodes import aftermarket, incidents_so_far
from forecaster.lives import Histories

COVARIATES = {  # in the order in which few failures are spent on them
    "incidents_not_prompt": "water incidents not treated within 24 h (each)",
    "aftermarket": "aftermarket parts",
    "salt_share": "salt water (all hours against none)",
    "incidents_prompt": "water incidents treated within 24 h (each)",
    "tuned_share": "tuned engine (all hours against none)",
}
FAILURES_PER_COVARIATE = 10  # Peduzzi et al. 1995, J. Clin. Epidemiol. 48, 1503-1510


def fleet_mix(learned: Histories) -> dict[str, float]:
    """Mean of each covariate over the lives where it is recorded; 0 where it is recorded for none."""
    recorded = learned.lives[["salt_share", "tuned_share"]].assign(aftermarket=aftermarket(learned))
    return {str(name): float(mean) for name, mean in recorded.mean().fillna(0.0).items()}


def covariates_now(units: Histories, names: tuple[str, ...], filled_in: dict[str, float]) -> np.ndarray:
    """The named covariates of each life as it stands at its end, (n_units, k); not recorded: `filled_in`."""
    now = incidents_so_far(units).assign(
        aftermarket=aftermarket(units),
        salt_share=units.lives["salt_share"],
        tuned_share=units.lives["tuned_share"],
    )
    return now[list(names)].fillna(filled_in).to_numpy(dtype=float)


def choose_covariates(episodes: pd.DataFrame) -> tuple[list[str], list[str]]:
    """The covariates that these failures can tell, most wanted first, and what to say of the others.

    `episodes` as of ``split_episodes``, with nothing unknown. Left out are covariates that never vary, that every or no
    failure shares, that follow from those already chosen, and more than one for every 10 failures.
    """
    if not len(episodes):
        return [], []
    failed = episodes["failed"].to_numpy()
    room = int(failed.sum()) // FAILURES_PER_COVARIATE
    chosen: list[str] = []
    why: dict[str, list[str]] = {"all lives are alike in it": [], "no failure without it, or none with it": []}
    why["it goes with another one"], why[f"every one takes {FAILURES_PER_COVARIATE} failures"] = [], []
    alike, one_sided, bound, crowded = why.values()
    for name, meaning in COVARIATES.items():
        values = episodes[name].to_numpy()
        if np.ptp(values) < 1e-9:
            alike.append(meaning)
        elif len(chosen) >= room:
            crowded.append(meaning)
        # the likelihood then rises for ever towards an infinite effect
        elif len(set(values[failed])) == 1 and values[failed][0] in (values.min(), values.max()):
            one_sided.append(meaning)
        elif _goes_with(values, episodes[chosen].to_numpy()):
            bound.append(meaning)
        else:
            chosen.append(name)
    remarks = [f"Effect not estimated, since {reason}: {'; '.join(names)}." for reason, names in why.items() if names]
    return chosen, remarks


def _goes_with(values: np.ndarray, others: np.ndarray) -> bool:
    """Whether the values (n,) are, but for a thousandth, a weighted sum of the others (n, k)."""
    design = np.column_stack([np.ones(len(values)), others])
    weights = np.linalg.lstsq(design, values, rcond=None)[0]
    return bool(np.std(values - design @ weights) < 1e-3 * np.std(values))
