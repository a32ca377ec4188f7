"""From a finding to what is done: facts of the trade (common practice, no source) and laws that must hold."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.errors import WrongUsage
from forecaster.opened_unit import Finding, finding_of
from forecaster.rebuild_parts import REUSED, PartLine, parts_for
from forecaster.settings import Costs
from forecaster.teardown import CAUTIONS, TeardownAdvice, advise_teardown

COSTS = Costs()  # rebuild 650, new unit 1,700, in season 120 more, engine damage 5,200, check 60
GOOD = {"bearing": "sound", "impeller": "good", "front_housing": "good", "rear_housing": "good"}

BEARINGS = ("sound", "rough", "rusted", "failed")
METALS = ("good", "corroded", "rubbed", "scored", "destroyed")
DECISIONS = ("put back", "reset and put back", "rebuild", "measure first", "new unit")
CORES = ("sound", "not inspected", "doubtful", "lost")


def advice(in_season: bool = False, costs: Costs = COSTS, **found: object) -> TeardownAdvice:
    return advise_teardown(Finding(**(GOOD | found)), costs, in_season)  # type: ignore[arg-type]


# -- facts of the trade: common practice, no source --------------------------------------------------------------------


def test_a_rebuild_renews_everything_that_turns_or_seals_and_reuses_only_housings_and_impeller() -> None:
    told = advice(reason="scheduled")
    assert told.decision == "rebuild"
    assert [line.part for line in told.renewed] == [
        "shaft assembly with bearings",
        "drive gear",
        "set of clutch washers",
        "set of spring washers",
        "set of seals",
    ]
    assert told.reused == ("front housing", "rear housing", "impeller")


def test_noise_with_hardly_any_play_still_means_that_it_will_fail() -> None:
    told = advice(reason="check", bearing="rough", shaft_play_mm=0.02, play_limit_mm=0.1, shaft_true="yes")
    assert told.decision == "rebuild"
    assert "only 0.02 mm of play: it will fail" in told.because[0]


def test_low_slip_alone_is_reset_and_no_reason_for_a_new_unit() -> None:
    told = advice(reason="symptom", slip_found_lb_ft=8.5)
    assert told.decision == "reset and put back"
    assert told.renewed == ()
    assert "reset it to about 14 lb·ft" in told.slip
    assert "no reason for a new unit" in told.slip
    assert told.quote.high < COSTS.rebuild


def test_a_tuned_craft_s_slip_is_set_higher() -> None:
    assert advice(reason="symptom", slip_found_lb_ft=9.8).decision == "put back"
    tuned = advice(reason="symptom", slip_found_lb_ft=9.8, tuned="yes")
    assert tuned.decision == "reset and put back"
    assert "about 16 lb·ft" in tuned.slip


def test_a_little_noise_is_normal_and_a_sound_unit_goes_back() -> None:
    told = advice(reason="symptom", slip_found_lb_ft=13.0)
    assert told.decision == "put back"
    assert "a little bearing noise is normal" in told.because[0]
    assert told.quote.low == told.quote.high == COSTS.check


@pytest.mark.parametrize(
    "found",
    [
        {"impeller": "destroyed"},
        {"front_housing": "destroyed"},
        {"front_housing": "scored", "scored_deeply": "yes"},
        {"rear_housing": "scored", "scored_deeply": "yes"},
    ],
)
def test_a_destroyed_impeller_or_deeply_scored_housing_loses_the_core(found: dict) -> None:
    told = advice(bearing="failed", **found)
    assert (told.decision, told.core) == ("new unit", "lost")
    assert told.reused == told.renewed == ()
    assert told.not_reused == REUSED
    assert (told.quote.low, told.quote.high) == (1700.0, 1700.0)


def test_light_scoring_may_be_cleaned_up_and_is_the_mechanic_s_judgement() -> None:
    told = advice(bearing="failed", front_housing="scored", scored_deeply="no")
    assert (told.decision, told.core) == ("rebuild", "sound")
    assert any("the front housing is scored" in step and "licensed mechanic" in step for step in told.follow_up)


def test_scoring_of_unknown_depth_is_measured_first_and_both_prices_are_quoted() -> None:
    told = advice(bearing="failed", front_housing="scored")
    assert (told.decision, told.core) == ("measure first", "doubtful")
    assert told.measured_first == ("front housing",)
    assert (told.quote.low, told.quote.high) == (650.0, 1700.0)


def test_a_failed_bearing_with_nothing_said_of_the_core_leaves_it_in_doubt() -> None:
    told = advise_teardown(Finding(bearing="failed"), COSTS, in_season=False)
    assert told.measured_first == ("front housing", "impeller")


@pytest.mark.parametrize("bearing", ["rough", "rusted"])
def test_a_noisy_bearing_says_nothing_of_a_core_that_nobody_inspected(bearing: str) -> None:
    told = advise_teardown(Finding(bearing=bearing), COSTS, in_season=False)
    assert (told.decision, told.core) == ("rebuild", "not inspected")
    assert (told.quote.low, told.quote.high) == (650.0, 1700.0)
    unseen = "Nothing was told of the front housing, the rear housing and the impeller"
    assert f"{unseen}: the core is not known to be sound until they are inspected." in told.because


def test_one_part_of_the_core_not_inspected_is_named_alone() -> None:
    told = advice(bearing="rough", rear_housing="unknown")
    assert (told.core, told.quote.high) == ("not inspected", 1700.0)
    unseen = "Nothing was told of the rear housing: the core is not known to be sound until it is inspected."
    assert unseen in told.because


def test_a_core_that_was_inspected_and_good_is_sound_at_one_price() -> None:
    told = advice(bearing="rough")
    assert (told.core, told.quote.low, told.quote.high) == ("sound", 650.0, 650.0)


def test_a_unit_that_goes_back_costs_a_check_also_where_its_core_was_not_inspected() -> None:
    told = advise_teardown(Finding(bearing="sound"), COSTS, in_season=False)
    assert (told.decision, told.core) == ("put back", "not inspected")
    assert told.quote.low == told.quote.high == COSTS.check


def test_contact_marks_mean_a_rebuild_even_if_the_bearing_seems_sound() -> None:
    assert advice(reason="symptom", impeller="rubbed").decision == "rebuild"


def test_debris_means_inspecting_the_way_to_the_engine_before_it_runs() -> None:
    told = advice(reason="failure", bearing="failed", debris="yes")
    assert told.follow_up[0].startswith("Do not run the engine before duct, intercooler, throttle and engine")
    assert any("Drain and clean the intercooler" in step for step in told.follow_up)
    assert told.quote.engine_if_hit == COSTS.engine_damage
    assert advice(reason="check", bearing="rough").quote.engine_if_hit == 0.0


def test_oil_vapour_in_the_intercooler_calls_for_a_catch_can() -> None:
    without = advice(oil_in_intercooler="yes", catch_can="no")
    assert any("Fit a catch can" in step for step in without.follow_up)
    assert any("Drain and clean the intercooler" in step for step in without.follow_up)
    fitted = advice(oil_in_intercooler="yes", catch_can="yes")
    assert any("check the breather" in step for step in fitted.follow_up)
    assert not any("catch can" in step.lower() for step in advice().follow_up)


def test_milky_oil_means_water_and_is_dealt_with_at_once() -> None:
    told = advice(reason="water", oil="milky")
    assert any("until it stays clear, and run it warm to dry it" in step for step in told.follow_up)
    assert any("Rust starts at once" in step for step in told.follow_up)


def test_original_parts_are_advised() -> None:
    told = advice(bearing="rusted", parts_fitted="aftermarket")
    assert any("aftermarket" in reason and "only a few hours" in reason for reason in told.because)
    assert any(step.startswith("Fit original parts") for step in told.follow_up)


def test_the_rush_surcharge_counts_in_season_only() -> None:
    summer, winter = (advice(in_season, bearing="rough").quote for in_season in (True, False))
    assert (summer.low, winter.low) == (770.0, 650.0)
    assert (summer.new_unit, summer.surcharge, winter.surcharge) == (1820.0, 120.0, 0.0)


def test_a_rebuild_dearer_than_a_new_unit_is_not_advised() -> None:
    told = advice(costs=Costs(rebuild=1900.0), bearing="rough")
    assert told.decision == "new unit"
    assert told.core == "sound"
    assert "A rebuild would cost more than a new unit." in told.because


def test_a_bearing_that_nobody_spun_is_spun_before_anything_is_decided() -> None:
    told = advice(bearing="unknown", reason="other")
    assert told.decision == "measure first"
    assert any("Spin the unit by hand" in step for step in told.follow_up)
    assert (told.quote.low, told.quote.high) == (COSTS.check, COSTS.rebuild)


def test_worn_washers_are_renewed_with_the_reset_and_broken_ones_mean_a_rebuild() -> None:
    worn = advice(clutch_washers="worn", slip_found_lb_ft=10.0)
    assert worn.decision == "reset and put back"
    assert "Renew the clutch and spring washers" in worn.slip
    assert advice(clutch_washers="broken").decision == "rebuild"


def test_too_much_play_or_a_bent_shaft_means_a_rebuild() -> None:
    assert advice(shaft_play_mm=0.3, play_limit_mm=0.1).decision == "rebuild"
    assert advice(shaft_true="no").decision == "rebuild"
    assert advice(shaft_play_mm=0.3).decision == "put back"  # no limit given: the manual's is needed


def test_cautions_and_the_maker_s_manual_always_stand() -> None:
    assert advice().cautions == CAUTIONS
    assert "maker's manual comes first" in CAUTIONS[0]
    assert any("licensed mechanic" in caution for caution in CAUTIONS)


def test_parts_for_several_rebuilds() -> None:
    assert parts_for(3)[0] == PartLine("shaft assembly with bearings", 3)
    assert all(line.count == 0 for line in parts_for(0))
    with pytest.raises(WrongUsage, match="at least 0, not -1"):
        parts_for(-1)


def test_a_finding_that_cannot_be_is_refused_in_plain_words() -> None:
    with pytest.raises(WrongUsage) as refused:
        finding_of({"bearing": "loose", "shaft_play_mm": -1, "impeler": "good"})
    lines = str(refused.value).splitlines()
    assert lines[0].startswith("bearing (the bearing, spun by hand) = 'loose': must be 'sound'")
    assert "shaft_play_mm (play of the shaft, mm) = -1: must be greater than or equal to 0" in lines[1]
    assert "A finding has no impeler. The nearest is impeller" in lines[2]
    assert finding_of({"bearing": "rough"}) == Finding(bearing="rough")


# -- laws --------------------------------------------------------------------------------------------------------------

findings = st.builds(
    Finding,
    reason=st.sampled_from(["scheduled", "check", "symptom", "water", "failure", "other"]),
    bearing=st.sampled_from(BEARINGS),
    impeller=st.sampled_from((*METALS, "unknown")),
    front_housing=st.sampled_from((*METALS, "unknown")),
    rear_housing=st.sampled_from((*METALS, "unknown")),
    scored_deeply=st.sampled_from(["yes", "no", "unknown"]),
    shaft_play_mm=st.none() | st.floats(0, 2),
    play_limit_mm=st.none() | st.floats(0.01, 2),
    shaft_true=st.sampled_from(["yes", "no", "unknown"]),
    slip_found_lb_ft=st.none() | st.floats(0, 20),
    clutch_washers=st.sampled_from(["good", "worn", "broken"]),
    debris=st.sampled_from(["yes", "no", "unknown"]),
)
prices = st.tuples(st.floats(0, 200), st.floats(200, 3000), st.floats(200, 3000), st.floats(0, 500)).map(
    lambda p: Costs(check=p[0], rebuild=p[1], new_unit=p[2], rebuild_in_season_extra=p[3])
)


def assert_no_better(worse: TeardownAdvice, better: TeardownAdvice) -> None:
    assert DECISIONS.index(worse.decision) >= DECISIONS.index(better.decision)
    assert CORES.index(worse.core) >= CORES.index(better.core)
    assert set(worse.reused) <= set(better.reused)
    assert worse.quote.low >= better.quote.low
    assert worse.quote.high >= better.quote.high
    assert worse.quote.engine_if_hit >= better.quote.engine_if_hit


@given(findings, prices, st.booleans())
def test_a_worse_finding_is_never_cheaper_nor_leaves_more_to_reuse(found: Finding, costs: Costs, summer: bool) -> None:
    for field, order in (
        ("bearing", BEARINGS),
        ("impeller", METALS),
        ("front_housing", METALS),
        ("rear_housing", METALS),
        ("scored_deeply", ("no", "unknown", "yes")),
        ("shaft_true", ("yes", "no")),
        ("clutch_washers", ("good", "worn", "broken")),
        ("debris", ("no", "yes")),
    ):
        told = [advise_teardown(found.model_copy(update={field: state}), costs, summer) for state in order]
        for better, worse in pairwise(told):
            assert_no_better(worse, better)


@given(findings, st.floats(0, 20), st.floats(0, 20))
def test_lower_slip_never_changes_more_than_a_reset(found: Finding, one: float, other: float) -> None:
    low, high = (
        advise_teardown(found.model_copy(update={"slip_found_lb_ft": slip}), COSTS, False)
        for slip in (min(one, other), max(one, other))
    )
    assert_no_better(low, high)
    if low.decision != high.decision:
        assert (high.decision, low.decision) == ("put back", "reset and put back")


@given(findings, prices)
def test_the_season_only_makes_it_dearer(found: Finding, costs: Costs) -> None:
    winter, summer = (advise_teardown(found, costs, in_season) for in_season in (False, True))
    assert (winter.decision, winter.core, winter.reused) == (summer.decision, summer.core, summer.reused)
    assert summer.quote.low >= winter.quote.low
    assert summer.quote.high >= winter.quote.high


@given(findings, prices, st.booleans())
def test_every_part_of_the_core_has_one_fate(found: Finding, costs: Costs, summer: bool) -> None:
    told = advise_teardown(found, costs, summer)
    assert sorted((*told.reused, *told.measured_first, *told.not_reused)) == sorted(REUSED)
    assert told.quote.low <= told.quote.high
    assert told.because
    assert told.follow_up
