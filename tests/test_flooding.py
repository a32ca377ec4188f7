"""After water: the facts, the steps, the risk with and without treatment, what pays, and the laws that must hold."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm

from forecaster.core_loss import core_loss
from forecaster.errors import WrongUsage
from forecaster.flooded_craft import typical_unit
from forecaster.flooding import RISK_HOURS, AfterWater, RiskAhead, after_water
from forecaster.flooding_costs import CHECK_AFTER_H, HORIZON_H, options_after
from forecaster.flooding_facts import Flooding, day_of_water, flooding_of, refuse_impossible
from forecaster.flooding_scenarios import with_water
from forecaster.flooding_steps import WHENS, StopCode, reasons_to_stop, steps_after
from forecaster.learning import TwoStageFit, fit_two_stage
from forecaster.life_model import Evidence
from forecaster.lives import LIVES, Histories, frame
from forecaster.posterior import Draws
from forecaster.prices import Prices
from forecaster.priors import read_priors
from forecaster.report.after_water_wording import advice_in_short, words_after_water
from forecaster.settings import Costs, DowntimeDays
from tests import bare_lives
from tests.bare_lives import BareLife, theta

DAY = date(2026, 7, 4)
COSTS, DOWNTIME = Costs(), DowntimeDays()


def flood(**facts: Any) -> Flooding:
    return flooding_of(**({"happened_on": DAY} | facts))


def histories_of(*lives: BareLife) -> Histories:
    """Lives written by hand, as of the day."""
    return replace(bare_lives.histories_of(*lives), as_of=DAY)


@cache
def general() -> TwoStageFit:
    """General experience, in few draws: the laws hold for any."""
    return fit_two_stage(Histories(DAY, frame(LIVES)), draws=40)


def asked(flooding: Flooding, hours: float = 80.0, as_of: date = DAY, **more: Any) -> AfterWater:
    """The answer for a typical unit `hours` after its rebuild; `more` replaces costs, downtime and the rest."""
    given = {"costs": COSTS, "downtime": DOWNTIME, "day_rate": 0.0} | more
    unit = typical_unit(flooding, as_of, hours)
    return after_water(
        general(), unit, flooding, given.pop("costs"), given.pop("downtime"), given.pop("day_rate"), as_of, **given
    )


def cost(answer: AfterWater, action: str) -> float:
    """Expected cost of opening, of riding, or of the cheapest check."""
    return min(option.expected_cost for option in answer.options if option.action == action)


# The facts ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("facts", "told"),
    [
        ({"treated_within_h": 3}, "treated_within_h (3 h) is given, but treated is 'unknown'"),
        ({"treated": "no", "treated_within_h": 3}, "say treated = yes, or leave treated_within_h out"),
        ({"under_minutes": -1}, "under_minutes must be a number of minutes from 0 to 10,080, not -1"),
        ({"water": "sweet"}, "water must be 'salt', 'fresh', 'brackish' or 'unknown', not 'sweet'"),
        ({"depth": 3}, "depth is not a fact about water. Known: happened_on, under_minutes"),
        ({"happened_on": "yesterday"}, "happened_on must be a valid date"),
        ({"under_minutes": float("nan")}, "under_minutes must be a number of minutes from 0 to 10,080, not nan"),
    ],
)
def test_facts_that_cannot_be_are_refused_in_plain_words(facts: dict[str, Any], told: str) -> None:
    with pytest.raises(WrongUsage) as refused:
        flood(**facts)
    assert told in str(refused.value)


def test_the_day_must_be_told() -> None:
    with pytest.raises(WrongUsage, match="happened_on is needed: day it happened"):
        flooding_of()


@pytest.mark.parametrize(
    ("facts", "now", "to_be_had_today", "to_be_had_later"),
    [
        ({"treated": "yes", "treated_within_h": 24.0}, "prompt", "prompt", "prompt"),
        ({"treated": "yes", "treated_within_h": 24.5}, "late", "late", "late"),
        ({"treated": "yes"}, "unknown", "unknown", "unknown"),
        ({"treated": "no"}, "none", "prompt", "late"),
        ({}, "unknown", "prompt", "unknown"),
    ],
)
def test_treatment_as_it_is_and_as_it_can_still_be_had(
    facts: dict[str, Any], now: str, to_be_had_today: str, to_be_had_later: str
) -> None:
    told = flood(**facts)
    assert told.treatment == now
    assert told.treatment_to_be_had(DAY) == to_be_had_today
    assert told.treatment_to_be_had(DAY + timedelta(days=1)) == to_be_had_later


@pytest.mark.parametrize(
    ("facts", "told"),
    [
        ({"happened_on": DAY + timedelta(days=1)}, "It happened on 2026-07-05, after 2026-07-04"),
        ({"treated": "yes", "treated_within_h": 25.0}, "treated 25 h after 2026-07-04, which is after 2026-07-04"),
        (
            {"happened_on": DAY - timedelta(days=9), "hours_run_since": 81.0},
            "81 engine hours are said to have been run since the water",
        ),
    ],
)
def test_what_is_yet_to_come_is_refused(facts: dict[str, Any], told: str) -> None:
    with pytest.raises(WrongUsage, match=told):
        asked(flood(**facts))


@pytest.mark.parametrize(
    ("hours_ago", "days", "to_be_had"),
    [(3, 0, "prompt"), (20, 1, "prompt"), (24, 1, "late"), (30, 1, "late"), (None, 0, "prompt"), (None, 1, "late")],
)
def test_a_treatment_is_still_in_time_while_the_24_clock_hours_last(
    hours_ago: float | None, days: int, to_be_had: str
) -> None:
    facts = flood(treated="no", hours_ago=hours_ago)
    assert facts.treatment_to_be_had(DAY + timedelta(days)) == to_be_had


def test_rust_starts_at_once_and_no_hours_are_said_to_be_left() -> None:
    words = words_after_water(asked(flood(treated="no", hours_ago=18), as_of=DAY + timedelta(1)))
    assert words.hurry.startswith("Rust starts at once: every hour counts.")
    assert "are left" not in " ".join((*words.reasons, words.hurry, *(step.do for step in words.steps)))
    assert words_after_water(asked(flood(treated="yes", treated_within_h=3.0), as_of=DAY + timedelta(1))).hurry == ""


@pytest.mark.parametrize(
    ("facts", "days", "told"),
    [
        ({"hours_ago": 30}, 0, "30 clock hours before 2026-07-04"),
        ({"hours_ago": 10}, 2, "both cannot be"),
        ({"hours_ago": 60}, 1, "both cannot be"),
        ({"hours_ago": 6, "treated": "yes", "treated_within_h": 12}, 0, "which was only 6 h ago"),
    ],
)
def test_hours_ago_that_contradict_the_day_or_the_treatment_are_refused(
    facts: dict[str, Any], days: int, told: str
) -> None:
    with pytest.raises(WrongUsage, match=told):
        refuse_impossible(flood(**facts), DAY + timedelta(days))


@pytest.mark.parametrize(
    ("facts", "days", "told"),
    [
        (
            {"hours_run_since": 8, "hours_ago": 2},
            0,
            "ran for 8 engine hours since then, but the water came only 2 clock",
        ),
        ({"hours_run_since": 30}, 0, "but at most 24 clock hours have passed since the water"),
        (
            {"hours_run_since": 6_000},
            900,
            "must be a number of engine hours from 0 to 5,000, not 6000. No such engine has run longer",
        ),
        (
            {"under_minutes": 100_000},
            90,
            "0 to 10,080, not 100000. A craft that truly lay under for over a week is for a mechanic",
        ),
        ({"under_minutes": 300, "hours_ago": 2}, 0, "under for 300 minutes, but the water came only 2 clock hours ago"),
        ({"happened_on": date(2019, 1, 1)}, 0, "over three years before 2026-07-04"),
    ],
)
def test_what_there_was_no_time_for_is_refused(facts: dict[str, Any], days: int, told: str) -> None:
    with pytest.raises(WrongUsage, match=told):
        refuse_impossible(flood(**facts), DAY + timedelta(days))


@pytest.mark.parametrize(("hours_ago", "days"), [(None, 0), (0, 0), (23.9, 0), (24, 1), (30, 1), (50, 2)])
def test_clock_hours_alone_tell_the_day_and_never_contradict_it(hours_ago: float | None, days: int) -> None:
    told = day_of_water(hours_ago, DAY)
    assert told == DAY - timedelta(days)
    refuse_impossible(flood(happened_on=told, hours_ago=hours_ago), DAY)


def test_the_unit_must_be_given_as_of_the_day_asked_about() -> None:
    with pytest.raises(WrongUsage, match="given as of 2026-07-04, but 2026-07-05 is asked about"):
        after_water(general(), histories_of(BareLife(10)), flood(), COSTS, DOWNTIME, 0.0, DAY + timedelta(days=1))


def test_one_unit_is_asked_about() -> None:
    with pytest.raises(WrongUsage, match="one unit is asked about, not 2"):
        after_water(general(), histories_of(BareLife(10), BareLife(20)), flood(), COSTS, DOWNTIME, 0.0, DAY)


# Stop, steps, cautions ------------------------------------------------------------------------------------------------

FACTS = st.fixed_dictionaries(
    {
        "under_minutes": st.sampled_from([None, 0.0, 5.0]),
        "water": st.sampled_from(["salt", "fresh", "brackish", "unknown"]),
        "engine": st.sampled_from(["running", "off", "unknown"]),
        "oil": st.sampled_from(["clear", "milky", "unknown"]),
        "treated": st.sampled_from(["yes", "no", "unknown"]),
        "water_in_cylinder": st.sampled_from(["yes", "no", "unknown"]),
        "spin": st.sampled_from(["quiet", "slight", "rattle", "not_done"]),
        "hours_run_since": st.sampled_from([None, 0.0, 12.0]),
    }
)
DAYS_LATER = st.sampled_from([0, 1, 2, 30])


def stopped(**facts: Any) -> list[StopCode]:
    return [stop.code for stop in reasons_to_stop(flood(**facts))]


def codes(flooding: Flooding, as_of: date = DAY, **more: Any) -> list[str]:
    """The steps of a flooding, as codes."""
    return [step.code for step in steps_after(flooding, as_of, **more)]


@pytest.mark.parametrize(
    ("facts", "stop"),
    [
        ({}, True),
        ({"under_minutes": 3.0}, True),
        ({"under_minutes": 0.0}, False),  # swamped, never under
        ({"water_in_cylinder": "no", "spin": "quiet"}, True),  # a quiet spin says nothing of a bent rod
        ({"compression": "good"}, False),  # a mechanic has tested it
        ({"compression": "low"}, True),
    ],
)
def test_an_engine_that_ran_as_it_went_under_stops_until_its_compression_was_tested(
    facts: dict[str, Any], stop: bool
) -> None:
    assert bool(stopped(engine="running", **facts)) == stop
    assert bool(stopped(engine="off", **facts)) == (facts.get("compression") == "low")


def test_the_gravest_reason_to_stop_comes_first() -> None:
    everything = stopped(engine="running", water_in_cylinder="yes", spin="rattle", oil="milky")
    assert everything == ["water_in_cylinder", "ran_under_water", "rattle", "milky_oil"]


def test_the_steps_of_a_fresh_flood_stand_in_the_trades_order() -> None:
    assert codes(flood(water="salt", treated="no", under_minutes=5, engine="off"), check_after_h=5.0) == [
        "people_first",
        "key_and_cord_out",
        "turn_upright",
        "tow_slowly",
        "air_the_hull",
        "battery_off",
        "plugs_out",
        "drain_the_hull",
        "look_into_cylinders",
        "clear_cylinders",
        "rinse",
        "fuel_and_intake",
        "drain_intercooler",
        "spin_by_hand",
        "look_at_oil",
        "change_oil",
        "oil_not_today",
        "run_warm",
        "flush_cooling",
        "oil_after_run",
        "inhibit_rust",
        "recheck_oil",
        "plan_check",
        "write_down",
    ]


def test_the_whens_follow_each_other() -> None:
    for facts in ({}, {"spin": "rattle"}, {"treated": "yes"}, {"engine": "running"}):
        whens = [step.when for step in steps_after(flood(**facts), DAY, opens=True, catch_can="no")]
        assert whens == sorted(whens, key=WHENS.index)


@pytest.mark.parametrize(("water", "rinsed"), [("salt", 1), ("brackish", 1), ("unknown", 1), ("fresh", 0)])
def test_salt_is_rinsed_off_and_fresh_water_is_not(water: str, rinsed: int) -> None:
    assert codes(flood(water=water)).count("rinse") == rinsed
    assert codes(flood(water=water)).count("flush_cooling") == rinsed


def test_what_was_done_is_not_asked_for_again() -> None:
    done = flood(treated="yes", treated_within_h=4, oil="clear", spin="quiet", water_in_cylinder="no", water="fresh")
    assert codes(done, DAY + timedelta(3)) == ["drain_intercooler", "refit", "recheck_oil", "write_down"]


def test_an_engine_that_was_run_since_is_looked_into_but_not_drained_or_towed() -> None:
    told = codes(flood(treated="no", hours_run_since=3))
    assert {"drain_the_hull", "clear_cylinders", "tow_slowly"}.isdisjoint(told)
    assert {"plugs_out", "look_into_cylinders", "change_oil"} <= set(told)


def test_oil_that_turned_milky_again_is_changed_again_and_its_source_sought() -> None:
    words = words_after_water(asked(flood(treated="yes", oil="milky")))
    [again] = [step.do for step in words.steps if step.code == "change_oil_again"]
    assert "milky although it was changed" in again
    assert "find where the water comes in" in again


def test_water_in_a_cylinder_of_a_treated_engine_starts_the_drying_anew_with_a_mechanic() -> None:
    told = codes(flood(treated="yes", water_in_cylinder="yes", oil="clear", spin="quiet"), DAY + timedelta(3))
    order = ["plugs_out", "call_mechanic", "clear_cylinders", "change_oil_again", "run_warm"]
    assert [code for code in told if code in order] == order


def test_a_quiet_spin_within_two_days_of_the_water_is_made_again() -> None:
    assert "spin_again" in codes(flood(spin="quiet"), DAY + timedelta(2))
    assert "spin_again" not in codes(flood(spin="quiet"), DAY + timedelta(3))
    assert "spin_again" not in codes(flood(spin="rattle"), DAY)


def test_a_rebuilt_supercharger_is_oiled_before_the_engine_runs() -> None:
    rattles = codes(flood(spin="rattle", treated="no"))
    assert rattles.index("open_supercharger") < rattles.index("pre_oil") < rattles.index("run_warm")
    opened = codes(flood(treated="yes"), opens=True)
    assert opened.index("open_before_ride") < opened.index("pre_oil")


def test_a_craft_without_a_catch_can_is_told_to_get_one() -> None:
    assert "fit_catch_can" in codes(flood(), catch_can="no")
    assert "fit_catch_can" not in codes(flood(), catch_can="unknown")


def test_a_wet_craft_that_stood_long_is_told_that_standing_rusts() -> None:
    late = words_after_water(asked(flood(treated="no"), as_of=DAY + timedelta(days=20)))
    assert late.cautions[0].startswith("It is 20 days since the water. Time standing still rusts too")
    assert not words_after_water(asked(flood(treated="no"))).cautions[0].startswith("It is")


def test_every_caution_of_the_trade_is_there() -> None:
    told = " ".join(words_after_water(asked(flood())).cautions)
    for words in (
        "Never crank",
        "Fuel vapour",
        "hot and spin",
        "cooling water",
        "collection point",
        "licensed mechanic",
    ):
        assert words in told


# The risk -------------------------------------------------------------------------------------------------------------


def test_the_risk_is_that_of_the_model_for_the_same_unit() -> None:
    unit = histories_of(BareLife(80.0, incidents=[(30.0, "late")], checks=[(60.0, "quiet")]))
    told = flood(happened_on=DAY - timedelta(days=3), treated="no", spin="slight", hours_run_since=10)
    answer = after_water(general(), unit, told, COSTS, DOWNTIME, 0.0, DAY)
    wet = BareLife(80.0, incidents=[(30.0, "late"), (70.0, "none")], checks=[(60.0, "quiet"), (80.0, "slight")])
    dry = BareLife(80.0, incidents=[(30.0, "late")], checks=[(60.0, "quiet"), (80.0, "slight")])
    expected = general().chance_of_failing(histories_of(wet, dry), RISK_HOURS).mean(axis=0)
    assert [row.untreated.mean for row in answer.risk] == pytest.approx(list(expected[0]))
    assert [row.no_incident.mean for row in answer.risk] == pytest.approx(list(expected[1]))
    assert answer.defective_now.mean == pytest.approx(
        general().chance_of_defect(histories_of(wet), np.array([0.0])).mean()
    )


@pytest.mark.parametrize(
    ("facts", "applies"),
    [
        ({"treated": "yes", "treated_within_h": 2}, "treated"),
        ({"treated": "yes", "treated_within_h": 40}, "late"),
        ({"treated": "no"}, "untreated"),
    ],
)
def test_what_was_done_says_which_scenario_applies(facts: dict[str, Any], applies: str) -> None:
    answer = asked(flood(**facts), as_of=DAY + timedelta(days=2))
    assert answer.applies == applies
    for row in answer.risk:
        assert row.as_it_is.mean == pytest.approx(getattr(row, applies).mean)


def test_an_unknown_treatment_is_a_mixture() -> None:
    answer = asked(flood())
    assert answer.applies == "unknown"
    assert all(row.treated.mean < row.as_it_is.mean < row.untreated.mean for row in answer.risk)


def test_an_incident_of_that_day_is_not_counted_twice() -> None:
    logged = histories_of(BareLife(80.0, incidents=[(80.0, "late")]))
    logged = replace(logged, incidents=logged.incidents.assign(happened_on=np.datetime64(DAY)))
    told = flood(treated="no")
    bare = after_water(general(), histories_of(BareLife(80.0)), told, COSTS, DOWNTIME, 0.0, DAY)
    assert after_water(general(), logged, told, COSTS, DOWNTIME, 0.0, DAY).risk == bare.risk


def test_a_look_that_is_recorded_is_not_counted_twice() -> None:
    looked = histories_of(BareLife(80.0, checks=[(80.0, "quiet")]))
    looked = replace(looked, checks=looked.checks.assign(checked_on=np.datetime64(DAY)))
    told = flood(treated="no", spin="quiet")
    bare = after_water(general(), histories_of(BareLife(80.0)), told, COSTS, DOWNTIME, 0.0, DAY)
    assert [row.untreated for row in after_water(general(), looked, told, COSTS, DOWNTIME, 0.0, DAY).risk] == [
        row.untreated for row in bare.risk
    ]


def test_a_quiet_spin_lowers_the_risk_and_a_rattle_raises_it() -> None:
    quiet, unheard, rattle = (asked(flood(treated="no", spin=spin)).risk[2].untreated.mean for spin in SPINS)
    assert quiet < unheard < rattle


SPINS = ("quiet", "not_done", "rattle")


@pytest.mark.parametrize(("days", "least", "most"), [(0, 0.75, 1.0), (2, 0.75, 1.0), (3, 0.0, 0.75)])
def test_a_quiet_spin_within_two_days_of_the_water_says_little_of_the_rust_to_come(
    days: int, least: float, most: float
) -> None:
    quiet, unheard = (
        asked(flood(treated="no", spin=spin), as_of=DAY + timedelta(days)).risk[-1].as_it_is.mean
        for spin in ("quiet", "not_done")
    )
    assert least < quiet / unheard < most


def test_an_unknown_age_is_averaged_over_the_stated_ages() -> None:
    ages = read_priors().starting_ages_h
    averaged = asked(flood(treated="no"), hours=None)  # type: ignore[arg-type]
    each = [asked(flood(treated="no"), hours=float(age)) for age in ages]
    for at, row in enumerate(averaged.risk):
        assert row.untreated.mean == pytest.approx(np.mean([one.risk[at].untreated.mean for one in each]), rel=0.15)
    assert averaged.hours_since_rebuild is None


def test_water_and_parts_of_a_craft_without_records_count() -> None:
    salt, fresh = (asked(flood(water=water)).risk[-1].no_incident.mean for water in ("salt", "fresh"))
    assert salt > fresh
    oem, cheap = (
        after_water(general(), typical_unit(flood(), DAY, 80.0, parts), flood(), COSTS, DOWNTIME, 0.0, DAY)
        for parts in ("oem", "aftermarket")
    )
    assert cheap.risk[-1].no_incident.mean > oem.risk[-1].no_incident.mean


@pytest.mark.parametrize(("hours", "parts"), [(-1.0, "oem"), (float("nan"), "oem"), (80.0, "cheap")])
def test_a_unit_that_cannot_be_is_refused(hours: float, parts: str) -> None:
    with pytest.raises(WrongUsage, match="must be"):
        typical_unit(flood(), DAY, hours, parts)


def test_records_that_say_treating_harms_are_not_to_be_acted_on() -> None:
    harms = theta(jump_untreated=0.05, jump_treated=1.0)
    answer = after_water(exactly(harms), histories_of(BareLife(80.0)), flood(), COSTS, DOWNTIME, 0.0, DAY)
    assert any("treat it all the same" in remark for remark in words_after_water(answer).remarks)
    assert not any("treat it all the same" in remark for remark in words_after_water(asked(flood())).remarks)


def test_with_a_rattle_the_scenarios_are_said_to_differ_little() -> None:
    remarks = words_after_water(asked(flood(spin="rattle"), hours=280.0)).remarks
    assert any("most likely defective already, whatever was done" in remark for remark in remarks)
    assert not any("treat it all the same" in remark for remark in remarks)


# What pays: against the closed form of two exponential stages ---------------------------------------------------------


def exactly(parameters: np.ndarray) -> TwoStageFit:
    """The two-stage model with known parameters: one draw."""
    draws = Draws(parameters[None, :], 1, "given", parameters, np.eye(len(parameters)))
    shares = {"aftermarket": 0.0, "salt": 0.0, "tuned": 0.0}
    return TwoStageFit(read_priors(), draws, shares, Evidence(100, 50, 1, False))


PRICES = Prices(
    rebuild=650.0, rebuild_in_season_extra=120.0, new_unit=1700.0, engine_damage=5200.0, check=60.0, rebuild_days=3.0,
    failure_days=9.0, check_days=0.5, day_rate=300.0, core_lost=0.0, engine_hit=0.0,
)  # fmt: skip
TO_DEFECT, TO_FAILURE, NOTICED = 1 / 150, 1 / 40, 0.01  # rates per hour
SENSITIVITY, SPECIFICITY = 0.9, 0.96


def by_rates(hours: np.ndarray, start: np.ndarray) -> np.ndarray:
    """Sound, defective, failed, noticed after `hours`, (h, 4): a Markov chain of constant rates."""
    rates = np.zeros((4, 4))
    rates[0, :2] = -TO_DEFECT, TO_DEFECT
    rates[1, 1:] = -(TO_FAILURE + NOTICED), TO_FAILURE, NOTICED
    return np.array([start @ expm(rates * h) for h in hours])


FRESH = np.array([1.0, 0.0, 0.0, 0.0])


def ending(hours: np.ndarray, failure: float) -> np.ndarray:
    """Expected cost of a fresh unit's end within `hours`, (h,)."""
    answer: np.ndarray = by_rates(hours, FRESH)[:, 2:] @ [failure, PRICES.noticed()]
    return answer


def riding(start: np.ndarray, hours: float, left: float, failure: float) -> float:
    """Expected cost of riding `hours` from `start`; where it ends, a fresh unit runs on, up to `left` hours in all."""
    grid = np.linspace(0.0, hours, 201)
    fails, noticed = np.diff(by_rates(grid, start)[:, 2:], axis=0).T
    after = ending(left - (grid[1:] + grid[:-1]) / 2, failure)
    return float((fails * (failure + after) + noticed * (PRICES.noticed() + after)).sum())


def test_costs_agree_with_two_exponential_stages_worked_out_by_their_rates() -> None:
    # Two exponential stages and competing noticing in closed form (algebra: the matrix exponential of the rates).
    known = theta(
        shape_1=1.0, scale_1=1 / TO_DEFECT, shape_2=1.0, scale_2=1 / TO_FAILURE, rate_noticed=NOTICED,
        sensitivity=SENSITIVITY, specificity=SPECIFICITY,
    )  # fmt: skip
    loss = core_loss()
    core, engine = (float(draw[0]) for draw in loss.draws(1))
    failure = PRICES.with_values(core_lost=core, engine_hit=engine).failure()
    opening, *checks, ride = options_after(exactly(known), histories_of(BareLife(60.0)), PRICES, loss, in_season=True)
    now = by_rates(np.array([60.0]), FRESH)[0] * [1, 1, 0, 0]
    now = now / now.sum()
    near = {"rel": 0.01}  # noticing and failing compete within steps of 5 to 25 hours
    assert opening.expected_cost == pytest.approx(
        PRICES.planned(True) + ending(np.array([HORIZON_H]), failure)[0], **near
    )
    assert ride.expected_cost == pytest.approx(riding(now, HORIZON_H, HORIZON_H, failure), **near)
    for option, hours in zip(checks, CHECK_AFTER_H, strict=True):
        at = by_rates(np.array([hours]), now)[0] * [1, 1, 0, 0]
        rattles = at[:2] @ [1 - SPECIFICITY, SENSITIVITY]
        left = HORIZON_H - hours
        expected = riding(now, hours, HORIZON_H, failure) + at.sum() * PRICES.looked_at(True)
        expected += rattles * (PRICES.noticed() + ending(np.array([left]), failure)[0])
        expected += riding(at * [SPECIFICITY, 1 - SENSITIVITY, 0, 0], left, left, failure)
        assert option.check_after_h == hours
        assert option.expected_cost == pytest.approx(expected, **near)


def test_opening_costs_rental_days_in_season_alone() -> None:
    unit = histories_of(BareLife(60.0))
    in_season, off = (options_after(general(), unit, PRICES, core_loss(), inside)[0] for inside in (True, False))
    assert in_season.expected_cost - off.expected_cost == pytest.approx(120.0 + 3 * 300.0)


def test_opening_a_fresh_unit_buys_nothing() -> None:
    opening, *_, ride = options_after(general(), histories_of(BareLife(0.0)), PRICES, core_loss(), False)
    assert opening.expected_cost - ride.expected_cost == pytest.approx(650.0, rel=0.1)


def test_every_option_carries_its_interval_and_how_often_it_is_the_cheapest() -> None:
    options = asked(flood(water="fresh")).options
    assert [option.action for option in options] == ["open", "check", "check", "check", "ride"]
    assert all(option.low < option.expected_cost < option.high for option in options)
    assert sum(option.chance_best for option in options) == pytest.approx(1.0)


def test_the_advice_is_the_cheapest_option_and_the_steps_end_with_it() -> None:
    answer = asked(flood(treated="no", happened_on=DAY), hours=200.0, as_of=DAY + timedelta(days=3))
    assert answer.best == min(answer.options, key=lambda option: option.expected_cost)
    assert advice_in_short(answer) == f"check it after {answer.best.check_after_h:g} hours"
    assert [step.after_h for step in answer.steps if step.code == "plan_check"] == [answer.best.check_after_h]


def test_a_rattle_is_opened_whatever_it_costs() -> None:
    answer = asked(flood(spin="rattle"), costs=Costs(rebuild=9_000.0))
    assert advice_in_short(answer) == "open it now"
    assert [option.action for option in answer.options] == ["open"]


def test_a_unit_not_spun_yet_is_to_be_asked_about_again() -> None:
    assert any("ask again" in reason for reason in words_after_water(asked(flood())).reasons)
    assert not any("ask again" in reason for reason in words_after_water(asked(flood(spin="quiet"))).reasons)


def test_general_experience_is_called_so() -> None:
    assert "mostly general experience" in words_after_water(asked(flood())).reasons


# Laws -----------------------------------------------------------------------------------------------------------------

AGES = st.sampled_from([0.0, 15.0, 60.0, 150.0, 280.0])
# From the least water's harm to the most: what was done, and how many days later it is asked.
MORE_HARM = (
    ({"treated": "yes", "treated_within_h": 5.0}, 3),
    ({"treated": "yes", "treated_within_h": 50.0}, 3),
    ({"treated": "no"}, 3),
)


def means(rows: tuple[RiskAhead, ...], name: str) -> np.ndarray:
    return np.array([getattr(row, name).mean for row in rows])


@settings(max_examples=15)
@given(AGES, st.sampled_from(["quiet", "slight", "not_done"]), st.sampled_from([0.0, 10.0]))
def test_more_water_never_lowers_the_risk(age: float, spin: str, run_since: float) -> None:
    rows = asked(flood(spin=spin, hours_run_since=run_since), hours=age + run_since).risk
    names = ("no_incident", "treated", "late", "untreated")
    for less, more in pairwise(names):
        assert (means(rows, less) <= means(rows, more) + 1e-12).all()
    for name in names:
        assert (np.diff(means(rows, name)) > 0).all()


@settings(max_examples=6)
@given(AGES, st.sampled_from(["quiet", "not_done"]), st.sampled_from([0.0, 300.0]))
def test_more_water_never_makes_riding_look_better(age: float, spin: str, day_rate: float) -> None:
    answers = [
        asked(flood(water="fresh", spin=spin, **facts), age, DAY + timedelta(days=days), day_rate=day_rate)
        for facts, days in MORE_HARM
    ]
    extra = [cost(answer, "ride") - cost(answer, "open") for answer in answers]
    assert extra == sorted(extra)
    rides = [advice_in_short(answer) == "ride" for answer in answers]
    assert rides == sorted(rides, reverse=True)
    unit = typical_unit(flood(), DAY, age)
    dry, wet = (
        options_after(general(), one, PRICES, core_loss(), True) for one in (unit, with_water(unit, flood(), "prompt"))
    )
    assert dry[-1].expected_cost - dry[0].expected_cost <= wet[-1].expected_cost - wet[0].expected_cost


@settings(max_examples=6)
@given(AGES, st.sampled_from(["new_unit", "engine_damage", "day_rate"]), st.sampled_from([1.5, 4.0]))
def test_a_dearer_failure_never_makes_riding_look_better(age: float, what: str, factor: float) -> None:
    told = flood(treated="yes", treated_within_h=5.0, spin="slight")
    dearer: dict[str, Any] = {"day_rate": 100.0}
    base = asked(told, age, **dearer)
    if what == "day_rate":  # of the lost days, those of a failure alone
        dearer["downtime"] = DowntimeDays(failure=min(9.0 * factor, 366.0))
    else:
        dearer["costs"] = Costs(**{what: getattr(COSTS, what) * factor})
    dear = asked(told, age, **dearer)
    for other in ("open", "check"):
        assert cost(dear, "ride") - cost(dear, other) >= cost(base, "ride") - cost(base, other) - 1e-9
    assert advice_in_short(base) == "ride" or advice_in_short(dear) != "ride"


@settings(max_examples=6)
@given(FACTS, AGES)
def test_what_must_stop_is_never_advised_to_ride(facts: dict[str, Any], age: float) -> None:
    told = flood(**(facts | {"oil": "milky", "hours_run_since": None}))
    answer = asked(told, age)
    assert answer.stop
    assert advice_in_short(answer) != "ride"
