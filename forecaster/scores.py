"""How good were forecasts of a chance, beside what then happened? Scores that stay fair where records end early.

A forecast says with which chance a bearing fails within a window of `horizon` hours (or days: any unit, the same
throughout). What happened is told by `ran`, the hours run in the window, and `failed`, whether a failure ended them.
Three outcomes: *failed* within the window; *ran through* it; *withdrawn*, opened or out of the record before it was
over, so that nobody knows. Leaving the withdrawn out would favour failures, which end early; so every known outcome is
weighed by how seldom one like it stays known (inverse probability of censoring weights, IPCW):

    weight = 1 / G(ran-)       failed in the window
             1 / G(horizon-)   ran through
             0                 withdrawn

with G the Kaplan-Meier curve of withdrawal, failures coming first among equal hours (Graf, Schmoor, Sauerbrei &
Schumacher 1999, Stat. Med. 18, 2529-2545; Uno, Cai, Tian & Wei 2007, JASA 102, 527-537). So long as anything ran
through, these weights add up to the number of forecasts, and the weighed share of failures is 1 - Kaplan-Meier at the
horizon. They suppose that withdrawal has nothing to do with what would have come: a unit opened *because* it was noisy
breaks that, and ``forecaster.backtest`` tells how often.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecaster.errors import WrongUsage

CONFIDENCE = 0.90  # of all intervals here, as everywhere in the forecaster
RESAMPLES = 1000  # bootstrap samples: the ends of a 90 % interval then move by a fiftieth of its width
AT_ONCE = 2_000_000  # array elements of a bootstrap worked on at once
MOST_GROUPS = 5  # of a calibration table
LEAST_IN_GROUP = 10


@dataclass(frozen=True)
class Windows:
    """What happened in n forecast windows.

    ``ran`` (n,): hours (or days) from the forecast to the failure, or to where the record of the life ends; more than
    `horizon` is allowed. ``failed`` (n,): whether a failure ended it. ``horizon`` > 0. Refuses, by WrongUsage, lengths
    that differ and hours that are negative or not known.
    """

    ran: np.ndarray
    failed: np.ndarray
    horizon: float

    def __post_init__(self) -> None:
        """Refuse what makes no sense."""
        if self.ran.shape != self.failed.shape or self.ran.ndim != 1:
            raise WrongUsage(f"ran and failed must be of one length, not {self.ran.shape} and {self.failed.shape}")
        if not (np.isfinite(self.ran).all() and (self.ran >= 0).all()):
            raise WrongUsage("ran must hold hours of 0 or more, each of them known")
        if not (np.isfinite(self.horizon) and self.horizon > 0):
            raise WrongUsage(f"the horizon must be a number above 0, not {self.horizon!r}")

    @property
    def failed_within(self) -> np.ndarray:
        """Failed at or before the horizon, (n,) bool."""
        answer: np.ndarray = self.failed.astype(bool) & (self.ran <= self.horizon)
        return answer

    @property
    def ran_through(self) -> np.ndarray:
        """Known to have run to the horizon without failing, (n,) bool."""
        answer: np.ndarray = ~self.failed_within & (self.ran >= self.horizon)
        return answer

    @property
    def withdrawn(self) -> np.ndarray:
        """Neither: out of sight before the horizon, (n,) bool."""
        answer: np.ndarray = ~self.failed_within & ~self.ran_through
        return answer

    def select(self, chosen: np.ndarray) -> Windows:
        """Only the windows where the mask or index `chosen` says so."""
        return Windows(self.ran[chosen], self.failed[chosen], self.horizon)


def ipcw_weights(windows: Windows, copies: np.ndarray | None = None) -> np.ndarray:
    """How much does each known outcome count, for itself and for the withdrawn? See the module's docstring.

    `copies` (..., n): how often each window counts, as in a bootstrap sample; once each when None. Returns (..., n),
    the weight of one copy.
    """
    counts = np.ones(len(windows.ran)) if copies is None else np.asarray(copies, dtype=float)
    order = np.lexsort((~windows.failed_within, windows.ran))
    counts = counts[..., order]
    withdrawn, failed, through = (
        mask[order] for mask in (windows.withdrawn, windows.failed_within, windows.ran_through)
    )
    # Equal hours need no grouping: taken one after the other, (1 - a/n)(1 - b/(n - a)) is (n - a - b)/n.
    at_risk = np.cumsum(counts[..., ::-1], axis=-1)[..., ::-1]
    leaving = np.where(withdrawn, counts, 0.0)
    staying = np.cumprod(1.0 - np.divide(leaving, at_risk, out=np.zeros_like(at_risk), where=at_risk > 0), axis=-1)
    # Withdrawals sort after failures of the same hours, so that what stands before a failure is G(ran-).
    before = np.concatenate([np.ones_like(staying[..., :1]), staying[..., :-1]], axis=-1)
    known = (failed | through) & (counts > 0)
    sorted_weights = np.divide(1.0, before, out=np.zeros_like(before), where=known & (before > 0))
    weights: np.ndarray = np.empty_like(sorted_weights)
    weights[..., order] = sorted_weights
    return weights


def log_scores(chance: np.ndarray, failed_within: np.ndarray) -> np.ndarray:
    """Log of the chance that was given to what then happened, each forecast, (n,): 0 is perfect, lower is worse.

    Minus infinity where what happened had been called impossible.
    """
    given = np.where(failed_within, chance, 1.0 - chance)
    answer: np.ndarray = np.log(given, out=np.full(given.shape, -np.inf), where=given > 0)
    return answer


def brier_scores(chance: np.ndarray, failed_within: np.ndarray) -> np.ndarray:
    """Squared distance between the chance and what then happened (1 failed, 0 ran through), (n,): 0 is perfect."""
    answer: np.ndarray = (np.asarray(failed_within, dtype=float) - chance) ** 2
    return answer


def weighed_mean(score: np.ndarray, weights: np.ndarray, copies: np.ndarray | float = 1.0) -> np.ndarray:
    """Mean of `score` (n,) under `weights` (..., n), each counted `copies` times; NaN where nothing counts."""
    share = weights * copies
    total = share.sum(axis=-1)
    counted = np.where(share > 0, score, 0.0)  # what counts nothing adds nothing, even where it is infinite
    with np.errstate(invalid="ignore"):  # minus infinity and infinity have no mean: NaN says so
        summed = (counted * share).sum(axis=-1)
    answer: np.ndarray = np.divide(summed, total, out=np.full(np.shape(total), np.nan), where=np.asarray(total > 0))
    return answer


def log_score(chance: np.ndarray, windows: Windows) -> float:
    """Mean log score of the forecasts, censoring allowed for: 0 is perfect, higher is better."""
    return float(weighed_mean(log_scores(chance, windows.failed_within), ipcw_weights(windows)))


def brier_score(chance: np.ndarray, windows: Windows) -> float:
    """Mean Brier score of the forecasts, censoring allowed for: 0 is perfect, lower is better."""
    return float(weighed_mean(brier_scores(chance, windows.failed_within), ipcw_weights(windows)))


@dataclass(frozen=True)
class Concordance:
    """Of the pairs whose order is known: how many the forecasts had in order, in the wrong order, or equal."""

    concordant: int
    discordant: int
    tied: int

    @property
    def index(self) -> float:
        """Share in order, equal ones counting half: 1 perfect, 0.5 no better than a coin; NaN without a pair."""
        pairs = self.concordant + self.discordant + self.tied
        return (self.concordant + 0.5 * self.tied) / pairs if pairs else float("nan")


def concordance(chance: np.ndarray, windows: Windows) -> Concordance:
    """Did those that failed sooner have the higher chance (Harrell, Lee & Mark 1996, Stat. Med. 15, 361-387)?

    A pair counts where one failed within the window and the other is known to have run longer, or as long without
    failing.
    """
    ran = np.minimum(windows.ran, windows.horizon)
    concordant = discordant = tied = 0
    failed = windows.failed_within
    for first in np.flatnonzero(failed):
        later = (ran > ran[first]) | ((ran == ran[first]) & ~failed)
        others = chance[later]
        concordant += int((others < chance[first]).sum())
        discordant += int((others > chance[first]).sum())
        tied += int((others == chance[first]).sum())
    return Concordance(concordant, discordant, tied)


@dataclass(frozen=True)
class Observed:
    """Share that failed within the horizon (1 - Kaplan-Meier), with its interval; NaN where nothing got that far."""

    share: float
    low: float
    high: float


def observed_share(windows: Windows, confidence: float = CONFIDENCE) -> Observed:
    """What share of these units failed within the horizon, allowing for those withdrawn?

    Interval: Clopper-Pearson's for the number of units without censoring that would tell as much, share (1 - share) /
    Greenwood's variance (after Korn & Graubard 1998, Survey Methodology 24, 193-201). Where none failed, that number is
    those that ran through; where all did, all.
    """
    from scipy.special import betaincinv

    failed, through = windows.failed_within, windows.ran_through
    if not failed.any() and not through.any():
        return Observed(float("nan"), float("nan"), float("nan"))
    hours, deaths = np.unique(windows.ran[failed], return_counts=True)
    ran = np.minimum(windows.ran, windows.horizon)
    at_risk = len(ran) - np.searchsorted(np.sort(ran), hours, side="left")
    share = float(1.0 - np.prod(1.0 - deaths / at_risk))
    if not through.any() and share < 1.0:
        return Observed(float("nan"), float("nan"), float("nan"))
    if not failed.any():
        share, worth = 0.0, float(through.sum())
    elif share >= 1.0:
        share, worth = 1.0, float(len(ran))
    else:
        variance = (1.0 - share) ** 2 * float((deaths / (at_risk * (at_risk - deaths))).sum())
        worth = share * (1.0 - share) / variance
    tail = (1.0 - confidence) / 2.0
    seen = share * worth
    low = float(betaincinv(seen, worth - seen + 1.0, tail)) if share > 0.0 else 0.0
    high = float(betaincinv(seen + 1.0, worth - seen, 1.0 - tail)) if share < 1.0 else 1.0
    return Observed(share, low, high)


def calibration_table(
    chance: np.ndarray, windows: Windows, groups: int = MOST_GROUPS, confidence: float = CONFIDENCE
) -> pd.DataFrame:
    """Of units given about the same chance, did about that share fail?

    Groups of about equal size by forecast chance, equal chances together, at least `LEAST_IN_GROUP` in each as far as
    there are so many. One row a group, lowest first: ``group`` (from 1), ``n``, ``failures`` seen in the window,
    ``lowest``, ``highest`` and ``mean_forecast`` of the chances, ``observed`` with ``observed_low``,
    ``observed_high`` as of ``observed_share``.
    """
    rows = []
    for number, chosen in enumerate(_groups(chance, groups), start=1):
        own = windows.select(chosen)
        seen = observed_share(own, confidence)
        rows.append(
            {
                "group": number,
                "n": len(chosen),
                "failures": int(own.failed_within.sum()),
                "lowest": float(chance[chosen].min()),
                "highest": float(chance[chosen].max()),
                "mean_forecast": float(chance[chosen].mean()),
                "observed": seen.share,
                "observed_low": seen.low,
                "observed_high": seen.high,
            }
        )
    columns = ["group", "n", "failures", "lowest", "highest", "mean_forecast"]
    return pd.DataFrame(rows, columns=[*columns, "observed", "observed_low", "observed_high"])


def _groups(chance: np.ndarray, groups: int) -> Iterator[np.ndarray]:
    """Indices of each group, by rising chance; a group ends only where the chance rises."""
    order = np.argsort(chance, kind="stable")
    groups = max(1, min(groups, len(order) // LEAST_IN_GROUP))
    start = 0
    for number in range(1, groups + 1):
        end = max(start, round(len(order) * number / groups))
        while 0 < end < len(order) and chance[order[end]] == chance[order[end - 1]]:
            end += 1
        if end > start:
            yield order[start:end]
        start = end


def bootstrap_means(
    scores: np.ndarray, windows: Windows, units: np.ndarray, seed: int = 1, resamples: int = RESAMPLES
) -> np.ndarray:
    """Mean scores in samples of units drawn with replacement: how far luck moves them. (resamples, models)

    `scores` (models, n), one row a model. `units` (n,): whose forecast it is; all forecasts of a unit are drawn
    together, since they share its luck (cluster bootstrap; Davison & Hinkley 1997, 3.8). The censoring weights are
    worked out anew in every sample. Reproducible by `seed`.
    """
    place, names = pd.factorize(units)
    rng = np.random.default_rng(seed)
    means = np.empty((resamples, len(scores)))
    at_once = max(1, AT_ONCE // max(len(place), 1))
    for start in range(0, resamples, at_once):
        span = min(at_once, resamples - start)
        copies = rng.multinomial(len(names), np.full(len(names), 1.0 / len(names)), size=span)[:, place]
        weights = ipcw_weights(windows, copies)
        for model, score in enumerate(scores):
            means[start : start + span, model] = weighed_mean(score, weights, copies)
    return means


@dataclass(frozen=True)
class Difference:
    """How much higher one mean score is than another, with the interval that luck would explain."""

    value: float
    low: float
    high: float

    @property
    def more_than_luck(self) -> bool:
        """Whether the interval leaves 0 out."""
        return bool(self.low > 0.0 or self.high < 0.0)


def difference(value: float, resampled: np.ndarray, confidence: float = CONFIDENCE) -> Difference:
    """A difference between two mean scores with its bootstrap interval (percentiles of `resampled`)."""
    tail = (1.0 - confidence) / 2.0
    told = resampled[~np.isnan(resampled)]
    if not len(told):
        return Difference(float(value), float("nan"), float("nan"))
    # One of the samples, not a point between two: between infinities there is none.
    low, high = np.quantile(told, [tail, 1.0 - tail], method="inverted_cdf")
    return Difference(float(value), float(low), float(high))
