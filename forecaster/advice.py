"""What to do with each unit, in a word: rebuild it, check it or leave it, whichever is expected to cost least.

Each unit is weighed alone, to the close of the season:

    rebuild   today's price of a planned rebuild, lost rental days included in season
    leave     p · failure + (1 - p) · planned rebuild after the close  -  g · hours that it runs until then;
              or the same to an earlier day of the season, at the price of a rebuild in season
    check     price of the check + r · rebuild + (1 - r) · leave, as after a quiet one

p is the chance that it fails by then, r the chance that it rattles when spun; a failure costs the new unit or the
rebuild, the engine's damage and the lost days, each by its chance. g is what a fresh unit on the same craft costs per
engine hour, its failures and its next rebuild included, rebuilt after so many whole seasons or at an age in season,
whichever costs least (age replacement: Barlow & Proschan 1965, Mathematical Theory of Reliability, ch. 4): hours that
the old unit still runs wear no fresh one. So an off-season rebuild pays where the season's chance of failing costs more
than a fresh unit does over the same hours, since that one fails too, and its life is paid for.

Left out, and weighed by ``forecaster.waiting``: seasons after this one, water to come (much the same for both), being
noticed in use, work later in the season. Budget, bench and weeks are the plan's (``forecaster.off_season``).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from forecaster.counted_looks import QUIET, RATTLE, heard_already
from forecaster.life_model import MEAN_DRAWS, AskedAnew, FittedLifeModel, Standing, failing_within_each
from forecaster.lives import CHECKS, Histories, frame
from forecaster.prices import Prices
from forecaster.priors import INDEX, read_priors

ON_THE_WAY = np.linspace(0.0, 1.0, 9)  # parts of the way to the close: where leaving may end
# Ages of a fresh unit, h, at which it may be rebuilt in season, and how many whole seasons it may be left to run.
AGES = np.concatenate([np.arange(0.0, 300.0, 10.0), np.geomspace(300.0, 3_000.0, 20)])
SEASONS = np.arange(1, 11)
LEAST_HOURS_A_SEASON = 1.0  # less is a craft moved at the dock: nobody plans its seasons
ALIKE = 1  # decimals of a craft's salt and tuned shares to which fresh units count as alike
WORDS = {
    "rebuild": ("rebuild this off-season", "rebuild now"),
    "check": ("check before the season", "check now"),
    "leave": ("leave it running", "leave it running"),
}
LEAST_FIRST = ("leave", "check", "rebuild")  # of equal costs the least work


@dataclass(frozen=True)
class Weighed:
    """Expected cost of each option, (n,) money; only differences between options of one unit mean anything."""

    leave: np.ndarray
    check: np.ndarray
    rebuild: np.ndarray

    @property
    def best(self) -> list[str]:
        """The option of least cost of each unit: one of `LEAST_FIRST`."""
        costs = np.stack([getattr(self, act) for act in LEAST_FIRST])
        return [LEAST_FIRST[i] for i in costs.argmin(axis=0)]


def weigh(
    model: FittedLifeModel,
    units: Histories,
    hours_ahead: np.ndarray,
    hours_a_season: np.ndarray,
    prices: Sequence[Prices],
    in_season: bool,
    knows_defects: bool,
    standing: Standing | None = None,
) -> Weighed:
    """What each option of each running unit is expected to cost.

    `hours_ahead`, `hours_a_season` (n,): engine hours expected until the close of the season, and of a whole one; the
    latter 0 where nobody can tell. `prices`: n, those of each unit's craft.
    `in_season`: whether work is done in season now. `knows_defects`: whether the model's ``chance_of_defect`` is one.
    `standing`: how the units stand by `MEAN_DRAWS` draws, where known.
    """
    bills = _Bills.of(prices)
    rate = _fresh_cost_rate(model, units, hours_a_season, bills)
    hours = hours_ahead[:, None] * ON_THE_WAY
    fails = (standing or AskedAnew(model, units, MEAN_DRAWS)).failing(hours)
    rattles, fails_quiet = (
        _looked_at(model, units, hours, fails) if knows_defects else _looked_at_by_rule(model, units, hours)
    )
    rattles, fails_quiet = _as_heard_already(units, rattles, fails_quiet, fails.mean(axis=0))
    now = bills.in_season if in_season else bills.off_season
    look = np.array([one.looked_at(in_season) for one in prices])
    check = look + rattles * now + _left(1.0 - rattles, fails_quiet, hours, rate, bills)
    return Weighed(_left(np.ones(len(hours)), fails.mean(axis=0), hours, rate, bills), check, now)


@dataclass(frozen=True)
class _Bills:
    """What a failure costs, and a planned rebuild in season and off it, (n,) each."""

    failure: np.ndarray
    in_season: np.ndarray
    off_season: np.ndarray

    @classmethod
    def of(cls, prices: Sequence[Prices]) -> _Bills:
        bills = [(one.failure(), one.planned(in_season=True), one.planned(in_season=False)) for one in prices]
        return cls(*np.array(bills).reshape(-1, 3).T)


def _left(share: np.ndarray, fails: np.ndarray, hours: np.ndarray, rate: np.ndarray, bills: _Bills) -> np.ndarray:
    """Least expected cost of leaving the `share` (n,) of units that is left, (n,).

    `fails` (n, h): the share of all that fails within `hours`. `rate` (n,): what a fresh unit costs per engine hour.
    """
    running = share[:, None] - fails
    used = _hours_run(running, hours)
    rebuilt = np.repeat(bills.in_season[:, None], used.shape[1], axis=1)
    rebuilt[:, -1] = bills.off_season  # after the close
    costs = fails[:, 1:] * bills.failure[:, None] + running[:, 1:] * rebuilt - rate[:, None] * used
    least: np.ndarray = costs.min(axis=1)
    return least


def _fresh_cost_rate(model: FittedLifeModel, units: Histories, hours_a_season: np.ndarray, bills: _Bills) -> np.ndarray:
    """What a fresh unit on each unit's craft costs per engine hour under the best of its plain rules, (n,)."""
    lives = units.lives
    shares = lives[["salt_share", "tuned_share"]].round(ALIKE)
    kind = shares.groupby(["salt_share", "tuned_share"], dropna=False, sort=False).ngroup().to_numpy()
    one_of_each = np.isin(np.arange(len(lives)), np.unique(kind, return_index=True)[1])
    fresh = units.select(one_of_each).without_incidents().without_checks()
    # What parts the next unit gets nobody knows: the fleet's mix.
    renewed: dict[str, object] = {"parts": "unknown", "hours_at_entry": 0.0, "last_known_running": 0.0}
    renewed |= dict.fromkeys(("hours_observed", "hours_observed_low", "hours_observed_high"), 0.0)
    surviving = 1.0 - model.chance_of_failing(fresh.with_lives(**renewed), AGES, draws=MEAN_DRAWS).mean(axis=0)
    used = np.concatenate([np.zeros((len(surviving), 1)), _hours_run(surviving, AGES)], axis=1)
    rates = np.empty(len(lives))
    for number in range(len(surviving)):
        own = kind == number
        ages = SEASONS * hours_a_season[own, None]
        left, run = (np.interp(ages, AGES, curve[number]) for curve in (surviving, used))
        told = (hours_a_season[own, None] >= LEAST_HOURS_A_SEASON) & (ages <= AGES[-1])
        by_season = _cost_rates(left, np.where(told, run, np.nan), bills.failure[own], bills.off_season[own])
        by_age = _cost_rates(surviving[number, 1:], used[number, 1:], bills.failure[own], bills.in_season[own])
        rates[own] = np.nanmin(np.concatenate([by_season, by_age], axis=1), axis=1)
    return rates


def _hours_run(running: np.ndarray, hours: np.ndarray) -> np.ndarray:
    """Mean hours run by each but the first of `hours` (h,) or (n, h), of which the share `running` (n, h) gets there.

    The integral of the share by the trapezoidal rule, (n, h - 1).
    """
    steps = (running[:, 1:] + running[:, :-1]) / 2 * np.diff(hours, axis=-1)
    run: np.ndarray = np.cumsum(steps, axis=1)
    return run


def _cost_rates(left: np.ndarray, run: np.ndarray, failure: np.ndarray, planned: np.ndarray) -> np.ndarray:
    """Cost per engine hour of rebuilding at some ages, (n, a): the share `left` gets there, `run` hours on average."""
    rates: np.ndarray = (planned[:, None] * left + failure[:, None] * (1.0 - left)) / run
    return rates


def _looked_at(
    model: FittedLifeModel, units: Histories, hours: np.ndarray, fails: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """A check now: the chance of a rattle (n,), and of a quiet spin and then failing within `hours`, (n, h).

    `fails` (d, n, h): the chance of failing within `hours` as nobody looks.
    """
    quiet, rattling = _spun(units)
    after_quiet = model.chance_of_failing(quiet, hours, draws=MEAN_DRAWS)
    after_rattle = model.chance_of_failing(rattling, hours[:, -1:], draws=MEAN_DRAWS)
    # What fails by the close fails after a rattle or after a quiet spin, each by its chance: hence that chance.
    apart = (after_rattle - after_quiet[:, :, -1:]).clip(min=0.0)
    more = (fails - after_quiet)[:, :, -1:].clip(min=0.0)
    rattles = np.where(apart > more, more / np.where(apart > more, apart, 1.0), 0.0)
    return rattles[:, :, 0].mean(axis=0), ((1.0 - rattles) * after_quiet).mean(axis=0)


def _looked_at_by_rule(model: FittedLifeModel, units: Histories, hours: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The same for a life model without defects: those that fail within a defect's mean life are there already.

    That many are defective at a time where defects arise evenly (delay time: Christer & Waller 1984, Journal of the
    Operational Research Society 35(5), 401-406). The mean life and how well a spin check hears are general experience.
    """
    prior = read_priors()
    shape, scale = (math.exp(prior.mean[INDEX[name]]) for name in ("log_shape_2", "log_scale_2_h"))
    sensitivity, specificity = (
        1.0 / (1.0 + math.exp(-prior.mean[INDEX[name]])) for name in ("logit_sensitivity", "logit_specificity")
    )
    delay = scale * math.gamma(1.0 + 1.0 / shape)
    rises = np.column_stack([np.minimum(hours, delay), np.full(len(hours), delay), hours])
    chance = failing_within_each(model, units, rises, MEAN_DRAWS).mean(axis=0)
    n = hours.shape[1]
    there, defective, fails = chance[:, :n], chance[:, n], chance[:, n + 1 :]
    rattles = sensitivity * defective + (1.0 - specificity) * (1.0 - defective)
    sound = fails - there  # not there yet, and passing the check
    return rattles, (1.0 - sensitivity) * there + specificity * sound


def _as_heard_already(
    units: Histories, rattles: np.ndarray, fails_quiet: np.ndarray, fails: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """What a check now tells, as from ``_looked_at``, but of units spun at these very hours what they told then.

    `fails` (n, h): the chance of failing as nobody looks again.
    """
    heard = heard_already(units)
    rattles = np.select([heard == RATTLE, heard == QUIET], [1.0, 0.0], rattles)
    known = [(heard == RATTLE)[:, None], (heard == QUIET)[:, None]]
    return rattles, np.select(known, [np.zeros_like(fails), fails], fails_quiet)


def _spun(units: Histories) -> tuple[Histories, Histories]:
    """The same units, each spun by hand just now: quiet, and with a rattle."""
    lives = units.lives
    looks = (
        frame(CHECKS)
        .reindex(range(len(lives)))
        .assign(
            life_id=lives["life_id"],
            checked_on=pd.Timestamp(units.as_of),
            observed_hours=lives["hours_observed"],
            spin="quiet",
            known_state="",
            oil="unknown",
        )
    )
    checks = pd.concat([units.checks, looks], ignore_index=True) if len(units.checks) else looks
    life = pd.Index(lives["life_id"]).get_indexer(pd.Index(checks["life_id"]))
    order = np.argsort(life, kind="stable")
    checks = checks.iloc[order].reset_index(drop=True)
    rattles = checks["spin"].mask(order >= len(units.checks), "rattle")
    return replace(units, checks=checks), replace(units, checks=checks.assign(spin=rattles))


def in_words(act: str, in_season: bool) -> str:
    """An option as advice: "rebuild now" in season, "rebuild this off-season" off it."""
    return WORDS[act][in_season]


def at_least(act: str, least: str) -> str:
    """The option that does more: what is unsafe is not outweighed by money."""
    return max(act, least, key=LEAST_FIRST.index)
