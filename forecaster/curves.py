"""What the records say with no model behind it: how many lives last how long.

Kaplan-Meier, Nelson-Aalen and Aalen-Johansen curves with delayed entry, Turnbull's estimate for what is only known
to lie between two openings, and the mean number of failures per unit. All are steps: a row's value holds from its
``hours`` up to the next row's. Ages are engine hours since new or since the last rebuild. Lives whose starting age is
unknown are in none of the age curves.

A life is at risk at an age t where it entered before t and had not left before t, as in R's survival package
(Therneau & Grambsch 2000): a life that joins the record at t is not at risk of what happened at t. Its being at risk
just after 0, of a failure at 0 hours, is the one exception. A part-worn life that fails in the very hour in which its
record starts is therefore never at risk, and in no curve.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pandas as pd

from forecaster.episodes import FAILED
from forecaster.errors import ModelError, WrongUsage
from forecaster.lives import Histories

ENDS = {  # the ways in which a life can end, for Aalen-Johansen curves
    "failed": "the bearing failed",
    "noticed": "somebody noticed noise or lost boost before it failed",
    "opened_defective": "opened for another reason: rusted or rough",
    "opened_sound": "opened: sound",
    "opened_unknown": "opened, and the finding was not recorded",
}
EM_TOLERANCE = 1e-8  # how far any mass may be from satisfying Turnbull's condition, in lives per life
EM_ROUNDS = 200_000
LEAST_OF_A_LIFE = 0.05  # a mass below this part of one life is one that the algorithm is still driving to 0


def kaplan_meier(histories: Histories, given_alive_at: float = 0.0, confidence: float = 0.90) -> pd.DataFrame:
    """What share of bearings is still running at each age, of those that were running at `given_alive_at`?

    S(t) = Π over failure ages u <= t of (1 - d(u)/n(u)) (Kaplan & Meier 1958). Preventive openings censor.

    Columns: ``hours``; ``n_at_risk``, ``n_failed`` and ``n_withdrawn`` (left otherwise) at that age; ``survival``;
    ``low``, ``high``: pointwise limits by Greenwood's variance on the log-log scale, NaN where they are not defined
    (nothing has failed yet, or nobody is left). The first row is `given_alive_at` itself, the others every later age
    at which a life ended. No rows where nobody was at risk past `given_alive_at`.

    With part-worn lives few may be at risk early, and where all of those failed the curve is 0 for ever after,
    though others came and ran on. Then ask from ``risk_set_empties_at(histories)`` onwards.
    """
    steps = _steps(histories, given_alive_at)
    n, d = steps["n_at_risk"].to_numpy(dtype=float), steps["n_failed"].to_numpy(dtype=float)
    survival = np.cumprod(1.0 - _ratio(d, n))
    spread = np.sqrt(np.cumsum(_ratio(d, n * (n - d))))
    low, high = _log_log_limits(survival, spread * survival, confidence)
    return steps.assign(survival=survival, low=low, high=high).drop(columns=list(ENDS))


def nelson_aalen(histories: Histories, given_alive_at: float = 0.0, confidence: float = 0.90) -> pd.DataFrame:
    """How much failure hazard has built up by each age, from `given_alive_at` on?

    H(t) = Σ over failure ages u <= t of d(u)/n(u), with variance Σ d(u)/n(u)² (Nelson 1972; Aalen 1978; Klein &
    Moeschberger 2003, 4.2). A line that bends upwards is wear-out, a straight one chance, one that flattens infant
    failures.

    Columns: those of ``kaplan_meier`` with ``cumulative_hazard`` for survival; ``low``, ``high`` on the log scale.
    """
    steps = _steps(histories, given_alive_at)
    n, d = steps["n_at_risk"].to_numpy(dtype=float), steps["n_failed"].to_numpy(dtype=float)
    hazard = np.cumsum(_ratio(d, n))
    factor = np.exp(_z(confidence) * _ratio(np.sqrt(np.cumsum(_ratio(d, n**2))), hazard))
    low, high = _known(hazard / factor, hazard > 0), _known(hazard * factor, hazard > 0)
    low[:1], high[:1] = hazard[:1], hazard[:1]
    return steps.assign(cumulative_hazard=hazard, low=low, high=high).drop(columns=list(ENDS))


def aalen_johansen(histories: Histories, given_alive_at: float = 0.0, confidence: float = 0.90) -> pd.DataFrame:
    """What share of lives has ended in each way by each age?

    F_k(t) = Σ over ages u <= t of S(u-)·d_k(u)/n(u), where S counts all ends (Aalen & Johansen 1978). Unlike "1 minus
    Kaplan-Meier" with other ends censored, the shares add up to 1 - S. Limits by the delta method (Marubini &
    Valsecchi 1995) on the log-log scale; ties need no breaking.

    One row for each age and each way of `ENDS`. Columns: ``hours``, ``end``, ``n_at_risk``, ``n_ended``, ``chance``,
    ``low``, ``high`` (NaN where not defined: none yet).
    """
    steps = _steps(histories, given_alive_at)
    n = steps["n_at_risk"].to_numpy(dtype=float)
    any_end = steps[list(ENDS)].sum(axis=1).to_numpy(dtype=float)
    before = np.concatenate([[1.0], np.cumprod(1.0 - _ratio(any_end, n))])[: len(steps)]
    frames = []
    for end in ENDS:
        ended = steps[end].to_numpy(dtype=float)
        chance = np.cumsum(before * _ratio(ended, n))
        low, high = _log_log_limits(chance, _aalen_johansen_error(chance, before, ended, any_end, n), confidence)
        columns = {"hours": steps["hours"], "end": end, "n_at_risk": steps["n_at_risk"], "n_ended": steps[end]}
        frames.append(pd.DataFrame({**columns, "chance": chance, "low": low, "high": high}))
    return pd.concat(frames, ignore_index=True)


def risk_set_empties_at(histories: Histories) -> float:
    """From which age on, h, is a Kaplan-Meier curve worth asking?

    The last age at which all that were at risk failed though other lives joined later; 0 where that never happened.
    """
    steps = _steps(histories, 0.0)
    entry, _, _ = _ages(histories)
    wiped_out = (steps["n_failed"] > 0) & (steps["n_failed"] == steps["n_at_risk"])
    hours = steps.loc[wiped_out, "hours"]
    joined_later = hours[hours <= (entry.max() if len(entry) else 0.0)]
    return float(joined_later.max()) if len(joined_later) else 0.0


def turnbull(lower: np.ndarray, upper: np.ndarray) -> pd.DataFrame:
    """What share lasts beyond each age, where each life only tells an interval that holds its age at the event?

    `lower`, `upper` (n,), h: the event lies in (lower, upper]; upper infinite where it had not happened at `lower`;
    equal where the age is known. The distribution-free maximum-likelihood estimate, by self-consistency (Turnbull
    1974, JASA 69, 169-173; 1976, JRSS B 38, 290-295).

    Columns: ``from_hours``, ``to_hours`` an innermost interval, to which the records can trace some of the events (how
    they lie within it, they cannot say); ``share`` of all lives whose event lies in it; ``survival`` beyond it.
    Refuses, by ModelError, intervals that end before they begin, or that are not numbers.
    """
    lower, upper = np.asarray(lower, dtype=float), np.asarray(upper, dtype=float)
    if np.isnan(lower).any() or np.isnan(upper).any() or (upper < lower).any() or (lower == np.inf).any():
        raise ModelError("each interval needs two numbers, lower first: 0 and 30 for 'within the first 30 h'")
    after, by, points = _on_half_steps(lower, upper)
    first, last = _innermost(after, by)
    holds = (after[:, None] <= first) & (last <= by[:, None])
    kinds, counts = np.unique(holds, axis=0, return_counts=True)
    share = _self_consistent(kinds.astype(float), counts.astype(float))
    held = share * len(lower) > LEAST_OF_A_LIFE
    first, last, share = first[held], last[held], share[held] / share[held].sum()
    survival = np.clip(1.0 - np.cumsum(share), 0.0, 1.0)
    return pd.DataFrame(
        {"from_hours": points[first // 2], "to_hours": points[last // 2], "share": share, "survival": survival}
    )


def defective_by_age(histories: Histories) -> pd.DataFrame:
    """What share of bearings is still sound beyond each age, from what was found at the openings?

    Every opening tells only whether the bearing was sound at that age: sound, the defect comes later; rusted, rough or
    failed, it came before. A unit opened and closed again tells at that age as well. Units that nobody opened say
    nothing. Columns as ``turnbull``. Read it with care: units opened *because* they were noisy are found defective, so
    the curve leans to the early side; the two-stage model allows for that.
    """
    lives, looks = histories.lives, histories.checks
    entry = lives.set_index("life_id")["hours_at_entry"]
    age = lives.set_index("life_id")["hours_observed"] + entry
    seen = lives.set_index("life_id")["seen"]
    at = looks["observed_hours"] + looks["life_id"].map(entry)
    sound = at[looks["known_state"] == "sound"].groupby(looks["life_id"]).max()
    defective = at[looks["known_state"] == "defective"].groupby(looks["life_id"]).min()
    last_sound = age.where(seen == "sound").fillna(sound.reindex(age.index)).fillna(0.0)
    found = seen.isin([*FAILED, "symptom", "defective"])
    first_defective = defective.reindex(age.index).fillna(age.where(found)).fillna(np.inf)
    tells = ((last_sound > 0) | np.isfinite(first_defective)) & age.notna()
    return turnbull(last_sound[tells].to_numpy(), first_defective[tells].to_numpy())


def mean_cumulative_failures(histories: Histories, confidence: float = 0.90) -> pd.DataFrame:
    """How many failures has a unit had, on average, by each hour of its record, its rebuilds included?

    The mean cumulative function M(t) = Σ over u <= t of d(u)/n(u), n(u) units still on record at u hours, with the
    variance of Lawless & Nadeau 1995 (Technometrics 37, 158-168), which holds whatever the units' histories depend on.
    Here hours run on through all the lives of a unit, from the start of its record.

    Columns: ``hours``, ``n_at_risk``, ``n_failed``, ``failures_per_unit``, ``low``, ``high`` (log scale).
    """
    lives = histories.lives.sort_values(["unit_id", "life_number"], kind="stable")
    hours = lives.groupby("unit_id")["hours_observed"].cumsum()
    unit = pd.factorize(lives["unit_id"])[0]
    end = hours.groupby(unit).max().to_numpy()
    failed = lives["seen"].isin(FAILED).to_numpy()
    at, step = np.unique(hours[failed].to_numpy(), return_inverse=True)
    by_unit = np.zeros((len(end), len(at)))
    np.add.at(by_unit, (unit[failed], step), 1.0)
    on_record = end[:, None] >= at
    n, d = on_record.sum(axis=0), by_unit.sum(axis=0)
    mean = np.cumsum(d / n)
    error = np.sqrt((np.cumsum(on_record * (by_unit - d / n) / n, axis=1) ** 2).sum(axis=0))
    factor = np.exp(_z(confidence) * _ratio(error, mean))
    return pd.DataFrame(
        {
            "hours": at,
            "n_at_risk": n,
            "n_failed": d.astype(int),
            "failures_per_unit": mean,
            "low": mean / factor,
            "high": mean * factor,
        }
    )


def _ages(histories: Histories) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Age at entry and at exit, h, and the way it ended ("" goes on), of the lives that are ever at risk."""
    lives = histories.lives
    seen, by = lives["seen"], lives["ended_by"]
    goes_on = (seen == "alive") & by.isin(["running", "stored"])
    end = seen.map(
        {
            "failed": "failed",
            "found_failed": "failed",
            "symptom": "noticed",
            "defective": "opened_defective",
            "sound": "opened_sound",
            "alive": "opened_unknown",
        }
    )
    end = end.mask((seen == "alive") & (by == "symptom"), "noticed").mask(goes_on, "")
    entry, leaves = lives["hours_at_entry"].to_numpy(), histories.age.to_numpy()
    ever = (leaves > entry) | ((entry == 0) & (leaves == 0))  # False where the starting age is NaN
    return entry[ever], leaves[ever], end.to_numpy()[ever]


def _steps(histories: Histories, given_alive_at: float) -> pd.DataFrame:
    """Ages at which lives ended, how many were at risk, and how many ended in each way."""
    if not 0.0 <= given_alive_at < np.inf:
        raise WrongUsage(f"given_alive_at must be 0 or more hours; it is {given_alive_at}")
    entry, leaves, end = _ages(histories)
    stays = (leaves > given_alive_at) | ((leaves == 0) & (given_alive_at == 0))
    entry, leaves, end = np.where(entry > given_alive_at, entry, -np.inf)[stays], leaves[stays], end[stays]
    hours = np.unique(np.append(leaves, given_alive_at)) if len(leaves) else np.zeros(0)
    n_at_risk = np.searchsorted(np.sort(entry), hours, "left") - np.searchsorted(np.sort(leaves), hours, "left")
    row = np.searchsorted(hours, leaves)
    counts = {way: np.bincount(row[end == way], minlength=len(hours)) for way in ENDS}
    left = np.bincount(row, minlength=len(hours)) - counts["failed"]
    columns = {"hours": hours, "n_at_risk": n_at_risk, "n_failed": counts["failed"], "n_withdrawn": left}
    return pd.DataFrame({**columns, **counts})


def _aalen_johansen_error(
    chance: np.ndarray, before: np.ndarray, ended: np.ndarray, any_end: np.ndarray, n: np.ndarray
) -> np.ndarray:
    """Standard error: with F(t)-F(u) squared out, each sum over u <= t is a running sum."""
    spread = _ratio(any_end, n * (n - any_end))
    jump = before * _ratio(ended, n**2)
    from_all = chance**2 * np.cumsum(spread) - 2 * chance * np.cumsum(spread * chance) + np.cumsum(spread * chance**2)
    from_own = np.cumsum(before**2 * _ratio(ended * (n - ended), n**3))
    shared = chance * np.cumsum(jump) - np.cumsum(jump * chance)
    error: np.ndarray = np.sqrt(np.maximum(from_all + from_own - 2 * shared, 0.0))  # zero may round to below zero
    return error


def _log_log_limits(chance: np.ndarray, error: np.ndarray, confidence: float) -> tuple[np.ndarray, np.ndarray]:
    """Limits of a chance, on the scale log(-log(chance)), where they stay between 0 and 1; NaN where not defined.

    At the first row, where nothing can have happened yet, they are the chance itself.
    """
    inside = (chance > 0.0) & (chance < 1.0 - 1e-12)  # a sum of shares that make up 1 may round to just below it
    log_chance = np.log(np.where(inside, chance, 0.5))
    factor = np.exp(_z(confidence) * error / np.where(inside, chance, 1.0) / -log_chance)
    limits = [_known(np.exp(log_chance * f), inside) for f in (factor, 1.0 / factor)]
    for limit in limits:
        limit[:1] = np.where(inside[:1], limit[:1], chance[:1])
    return limits[0], limits[1]


def _z(confidence: float) -> float:
    if not 0.0 < confidence < 1.0:
        raise WrongUsage(f"confidence must be between 0 and 1, for example 0.9; it is {confidence}")
    return NormalDist().inv_cdf(0.5 + confidence / 2.0)


def _known(value: np.ndarray, where: np.ndarray) -> np.ndarray:
    return np.where(where, value, np.nan)


def _ratio(above: np.ndarray, below: np.ndarray) -> np.ndarray:
    """above / below, and 0 where below is 0: nobody at risk, or nobody left to vary."""
    ratio: np.ndarray = np.divide(above, below, out=np.zeros(len(above)), where=below > 0)
    return ratio


def _on_half_steps(lower: np.ndarray, upper: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Intervals as whole numbers 2k+1 "at" and 2k "just before" the k-th age, so that a known age has a width."""
    points = np.unique(np.concatenate([lower, upper]))
    by = 2 * np.searchsorted(points, upper) + 1
    after = 2 * np.searchsorted(points, lower) + np.where(lower == upper, 0, 1)
    return after, by, points


def _innermost(after: np.ndarray, by: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Intervals that begin at some `after`, end at some `by`, with neither between: only these can hold mass."""
    begins, ends = np.unique(after), np.unique(by)
    next_end = ends[np.minimum(np.searchsorted(ends, begins, "right"), len(ends) - 1)] if len(ends) else begins
    next_begin = np.append(begins[1:], np.iinfo(int).max)[: len(begins)]
    innermost = (next_end > begins) & (next_end <= next_begin)
    return begins[innermost], next_end[innermost]


def _self_consistent(holds: np.ndarray, counts: np.ndarray) -> np.ndarray:
    """Masses p (m,) that maximise Σ counts·log(holds @ p), by p <- p · mean of holds/(holds @ p) (an EM algorithm)."""
    lives = counts.sum()
    share = np.full(holds.shape[1], 1.0 / max(holds.shape[1], 1))
    for _ in range(EM_ROUNDS):
        gain = (counts / (holds @ share)) @ holds / lives if len(counts) else share
        # at the maximum no mass has a gain above 1 (Gentleman & Geyer 1994), and those that stay have exactly 1
        if not len(share) or gain.max() <= 1.0 + EM_TOLERANCE:
            return share
        share = share * gain
    raise ModelError(f"the interval-censored curve did not settle in {EM_ROUNDS} rounds; {lives:.0f} lives")
