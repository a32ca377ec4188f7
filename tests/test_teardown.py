"""From a finding to what is done: facts of the trade (common practice, no source). Laws stand in test_bench_laws."""

from __future__ import annotations

import pytest

from forecaster.errors import WrongUsage
from forecaster.opened_unit import Finding, finding_of
from forecaster.rebuild_parts import PRE_OIL, REUSED, PartLine, parts_for
from forecaster.report.bench_sentences import quote_lines, quote_notes, teardown_headline, teardown_parts
from forecaster.report.teardown_sentences import slip_sentence, teardown_reasons, teardown_steps
from forecaster.settings import Costs, PartPrices
from forecaster.teardown import CAUTIONS, TeardownAdvice, advise_teardown

COSTS = Costs()  # rebuild 650, new unit 1,700, in season 120 more, engine damage 5,200, open and reset 150
GOOD = {"bearing": "sound", "impeller": "good", "front_housing": "good", "rear_housing": "good"}


def advice(
    in_season: bool = False, costs: Costs = COSTS, parts: PartPrices | None = None, **found: object
) -> TeardownAdvice:
    return advise_teardown(Finding(**(GOOD | found)), costs, in_season, parts=parts)  # type: ignore[arg-type]


def headline(told: TeardownAdvice) -> str:
    return teardown_headline(told, "USD {:,.0f}".format)


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
    assert "only 0.02 mm of play: it will fail" in teardown_reasons(told)[0]


def test_low_slip_alone_is_reset_and_no_reason_for_a_new_unit() -> None:
    told = advice(reason="symptom", slip_found_lb_ft=8.5)
    assert told.decision == "reset and put back"
    assert told.renewed == ()
    assert "Reset the slip to about 14 lb·ft" in slip_sentence(told)
    assert "no reason for a new unit" in slip_sentence(told)
    assert told.quote.high < COSTS.rebuild


def test_a_clutch_that_slips_too_late_is_told_and_reset_and_nothing_more() -> None:
    told = advice(slip_found_lb_ft=20.0)
    assert (told.decision, told.at_most) == ("reset and put back", "reset and put back")
    assert "above 18 lb·ft it no longer spares shaft, gear and bearing" in teardown_reasons(told)[0]
    assert "Reset the slip to about 14 lb·ft" in slip_sentence(told)
    assert advice(slip_found_lb_ft=18.0).decision == "put back"
    assert advice(slip_found_lb_ft=20.0, tuned="yes").decision == "put back"  # 18 * 16 / 14


def test_a_tuned_craft_s_slip_is_set_higher() -> None:
    assert advice(reason="symptom", slip_found_lb_ft=9.8).decision == "put back"
    tuned = advice(reason="symptom", slip_found_lb_ft=9.8, tuned="yes")
    assert tuned.decision == "reset and put back"
    assert "about 16 lb·ft" in slip_sentence(tuned)


def test_a_little_noise_is_normal_and_a_sound_unit_goes_back() -> None:
    told = advice(reason="symptom", slip_found_lb_ft=13.0)
    assert told.decision == "put back"
    assert "a little bearing noise is normal" in teardown_reasons(told)[0]
    assert told.quote.low == told.quote.high == COSTS.open_and_reset


@pytest.mark.parametrize("reason", ["symptom", "check"])
def test_noise_that_nothing_explains_is_looked_into_further(reason: str) -> None:
    told = advice(reason=reason, slip_found_lb_ft=13.0)
    assert "the cause is not found" in teardown_reasons(told)[-1]
    assert any("look further for the cause" in step and "boost leaks" in step for step in teardown_steps(told))
    explained = advice(reason=reason, slip_found_lb_ft=8.0)
    assert "look_further" not in explained.follow_up


@pytest.mark.parametrize("bearing", ["sound", "unknown"])
def test_failed_in_use_with_nothing_found_is_looked_into_before_it_goes_back(bearing: str) -> None:
    told = advice(reason="failure", bearing=bearing)
    assert (told.decision, told.at_least, told.at_most) == ("measure first", "put back", "rebuild")
    steps = teardown_steps(told)
    for place in ("clutch washers and slip", "drive gear", "run-out", "impeller", "seals", "hoses", "oil supply"):
        assert any("look further for the cause" in step and place in step for step in steps)
    assert "cause_not_found" not in advice(reason="failure", bearing="rough").because


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


def test_a_single_lost_part_whose_price_is_known_is_bought() -> None:
    told = advice(bearing="failed", impeller="destroyed", parts=PartPrices(impeller=300.0))
    assert (told.decision, told.core) == ("rebuild", "lost")
    assert [(line.part, line.price) for line in told.bought] == [("impeller", 300.0)]
    assert told.reused == ("front housing", "rear housing")
    assert told.quote.low == told.quote.high == 950.0
    assert "rebuild the unit with a new impeller for about USD 950" in headline(told)
    assert ("rebuild, new impeller", "950") in quote_lines(told, "{:,.0f}".format)
    assert "Bought new: impeller." in teardown_parts(told)


def test_a_lost_part_that_makes_the_rebuild_dearer_than_a_new_unit_is_not_bought() -> None:
    told = advice(bearing="failed", impeller="destroyed", parts=PartPrices(impeller=1100.0))
    assert (told.decision, told.bought, told.quote.low) == ("new unit", (), 1700.0)
    assert "A rebuild would cost more than a new unit." in teardown_reasons(told)
    assert "a rebuild would cost USD 1,750" in headline(told)


def test_a_lost_part_without_a_price_means_a_new_unit_and_says_that_a_price_would_help() -> None:
    told = advice(bearing="failed", impeller="destroyed", parts=PartPrices(front_housing=100.0))
    assert told.decision == "new unit"
    assert "What a new one costs alone is not known" in teardown_reasons(told)[1]
    assert any("under [parts] in fleet.toml" in note for note in quote_notes(told, str, in_season=False))


def test_a_doubtful_part_whose_price_is_known_leaves_only_the_price_open() -> None:
    told = advice(bearing="rough", impeller="scored", parts=PartPrices(impeller=300.0))
    assert (told.decision, told.measured_first) == ("rebuild", ("impeller",))
    assert (told.quote.low, told.quote.high) == (650.0, 950.0)
    assert "for about USD 650 if the impeller passes inspection, else for up to USD 950" in headline(told)


def test_light_scoring_may_be_cleaned_up_and_is_the_mechanic_s_judgement() -> None:
    told = advice(bearing="failed", front_housing="scored", scored_deeply="no")
    assert (told.decision, told.core) == ("rebuild", "sound")
    steps = teardown_steps(told)
    assert any("the front housing is scored" in step and "licensed mechanic" in step for step in steps)


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
    unseen = "Nothing is known of the front housing, the rear housing and the impeller"
    assert f"{unseen}: the core is not known to be sound until they are inspected." in teardown_reasons(told)


def test_one_part_of_the_core_not_inspected_is_named_alone() -> None:
    told = advice(bearing="rough", rear_housing="unknown")
    assert (told.core, told.quote.high) == ("not inspected", 1700.0)
    unseen = "Nothing is known of the rear housing: the core is not known to be sound until it is inspected."
    assert unseen in teardown_reasons(told)


def test_a_core_that_was_inspected_and_good_is_sound_at_one_price() -> None:
    told = advice(bearing="rough")
    assert (told.core, told.quote.low, told.quote.high) == ("sound", 650.0, 650.0)


def test_a_unit_that_goes_back_costs_its_opening_and_its_core_is_inspected_first() -> None:
    told = advise_teardown(Finding(bearing="sound"), COSTS, in_season=False)
    assert (told.decision, told.core) == ("put back", "not inspected")
    assert told.quote.low == told.quote.high == COSTS.open_and_reset
    assert told.inspected_first == told.reused == REUSED
    assert "if both housings and the impeller pass inspection" in headline(told)


@pytest.mark.parametrize("part", ["impeller", "front_housing", "rear_housing"])
@pytest.mark.parametrize("state", ["rubbed", "scored", "destroyed"])
def test_contact_marks_mean_a_rebuild_even_if_the_bearing_seems_sound(part: str, state: str) -> None:
    told = advice(reason="symptom", **{part: state})
    assert told.at_least in ("rebuild", "new unit")
    assert "contact" in told.because


@pytest.mark.parametrize("part", ["impeller", "front_housing", "rear_housing"])
def test_a_corroded_part_goes_back_only_after_an_inspection_that_names_it(part: str) -> None:
    told = advice(**{part: "corroded"})
    name = part.replace("_", " ")
    assert told.decision == "put back"
    assert told.inspected_first == (name,)
    assert f"Used again only after an inspection: {name} (corroded)." in teardown_parts(told)
    assert not any(line.startswith("Goes back as it is") and name in line for line in teardown_parts(told))
    assert any(
        step.startswith(f"Clean and inspect the {name} before it is used again") for step in teardown_steps(told)
    )
    assert f"if the {name} passes inspection" in headline(told)
    assert "may still rust" in teardown_reasons(told)[-1]


def test_debris_means_inspecting_the_way_to_the_engine_before_it_runs() -> None:
    told = advice(reason="failure", bearing="failed", debris="yes")
    steps = teardown_steps(told)
    assert steps[0].startswith("Do not run the engine before duct, intercooler, throttle and engine")
    assert any("Drain and clean the intercooler" in step for step in steps)
    assert told.quote.engine_if_hit == COSTS.engine_damage
    assert advice(reason="check", bearing="rough").quote.engine_if_hit == 0.0


@pytest.mark.parametrize("oil", ["yes", "no", "unknown"])
def test_a_catch_can_is_advised_wherever_none_is_fitted(oil: str) -> None:
    without = teardown_steps(advice(oil_in_intercooler=oil, catch_can="no"))
    assert any("Fit an oil catch can" in step and "supercharger and the intercooler" in step for step in without)
    unknown = teardown_steps(advice(oil_in_intercooler=oil))
    assert any("See whether an oil catch can is fitted, and fit one if not" in step for step in unknown)
    fitted = teardown_steps(advice(oil_in_intercooler=oil, catch_can="yes"))
    assert any("check the breather" in step for step in fitted) == (oil == "yes")
    assert not any("fit one" in step or "Fit an oil catch can" in step for step in fitted)


def test_milky_oil_is_dealt_with_before_the_engine_turns_and_dried_after_the_unit_is_oiled() -> None:
    told = advice(reason="water", bearing="rough", oil="milky")
    steps = teardown_steps(told)
    assert any("cylinders are dry before the engine turns" in step for step in steps)
    assert any("Rust starts at once" in step for step in steps)
    assert told.follow_up.index("change_milky_oil") < told.follow_up.index("pre_oil") < told.follow_up.index("run_warm")
    assert "until the oil stays clear" in steps[told.follow_up.index("run_warm")]


def test_original_parts_are_advised() -> None:
    told = advice(bearing="rusted", parts_fitted="aftermarket")
    assert any("aftermarket" in reason and "only a few hours" in reason for reason in teardown_reasons(told))
    assert any(step.startswith("Fit original parts") for step in teardown_steps(told))


def test_aftermarket_parts_that_would_go_back_are_offered_both_ways() -> None:
    told = advice(parts_fitted="aftermarket")
    assert (told.decision, told.at_most) == ("put back", "rebuild")
    assert (told.quote.low, told.quote.high) == (150.0, 650.0)
    assert "for about USD 150 and check it again after a few hours, or rebuild it now with original parts" in headline(
        told
    )
    assert "spin_again_soon" in told.follow_up


def test_a_rebuilt_unit_is_oiled_by_hand_before_its_first_start() -> None:
    assert PRE_OIL in teardown_steps(advice(bearing="rough"))
    assert PRE_OIL in teardown_steps(advice(bearing="failed", impeller="destroyed"))
    assert PRE_OIL in teardown_steps(advice(clutch_washers="worn"))
    assert any(
        step.startswith("If it is rebuilt: before the first start with new parts")
        for step in teardown_steps(advice(bearing="unknown"))
    )
    assert "pre_oil" not in advice().follow_up


def test_the_rush_surcharge_counts_in_season_only() -> None:
    summer, winter = (advice(in_season, bearing="rough").quote for in_season in (True, False))
    assert (summer.low, winter.low) == (770.0, 650.0)
    assert (summer.new_unit, summer.surcharge, winter.surcharge) == (1700.0, 120.0, 0.0)


def test_buying_a_new_unit_holds_no_rush_surcharge() -> None:
    lost = advice(True, bearing="failed", impeller="destroyed")
    assert lost.quote.low == lost.quote.high == COSTS.new_unit
    notes = quote_notes(lost, "USD {:,.0f}".format, in_season=True)
    assert "The price of a rebuild holds USD 120 for the rush in season; that of a new unit does not." in notes


def test_a_rebuild_that_the_rush_makes_dearer_than_a_new_unit_is_not_advised() -> None:
    close = Costs(rebuild=1600.0)
    assert advice(False, close, bearing="rough").decision == "rebuild"
    assert advice(True, close, bearing="rough").decision == "new unit"


def test_a_rebuild_dearer_than_a_new_unit_is_not_advised() -> None:
    told = advice(costs=Costs(rebuild=1900.0), bearing="rough")
    assert told.decision == "new unit"
    assert told.core == "sound"
    assert "A rebuild would cost more than a new unit." in teardown_reasons(told)


def test_a_bearing_that_nobody_spun_is_spun_before_anything_is_decided() -> None:
    told = advice(bearing="unknown", reason="other")
    assert told.decision == "measure first"
    assert any("Spin the unit by hand" in step for step in teardown_steps(told))
    assert (told.quote.low, told.quote.high) == (COSTS.open_and_reset, COSTS.rebuild)


@pytest.mark.parametrize("slip", [5.0, 10.0, 20.0, None])
def test_worn_washers_are_renewed_and_the_slip_reset_whatever_it_is(slip: float | None) -> None:
    worn = advice(clutch_washers="worn", slip_found_lb_ft=slip)
    assert worn.decision == "reset and put back"
    assert [line.part for line in worn.renewed] == ["set of clutch washers", "set of spring washers"]
    assert slip_sentence(worn).startswith("Renew the clutch and spring washers, and reset the slip")


def test_broken_washers_mean_a_rebuild() -> None:
    assert advice(clutch_washers="broken").decision == "rebuild"


def test_worn_washers_are_in_the_quote_where_their_price_is_known_and_told_where_not() -> None:
    known = advice(clutch_washers="worn", parts=PartPrices(washers=40.0))
    assert known.quote.low == known.quote.high == 190.0
    unknown = advice(clutch_washers="worn")
    assert (unknown.quote.low, unknown.quote.not_priced) == (150.0, ("washers",))
    assert any("Not in it: the worn washers" in note for note in quote_notes(unknown, str, in_season=False))


def test_a_bent_shaft_or_play_beyond_the_limit_means_a_rebuild() -> None:
    assert advice(shaft_true="no").decision == "rebuild"
    beyond = advice(shaft_play_mm=0.3, play_limit_mm=0.1)
    assert beyond.decision == "rebuild"
    assert "The shaft has 0.3 mm of play; the manual allows 0.1 mm." in teardown_reasons(beyond)
    assert advice(shaft_play_mm=0.1, play_limit_mm=0.1).decision == "put back"


def test_play_without_the_manual_s_limit_is_measured_against_it_first() -> None:
    told = advice(shaft_play_mm=0.3)
    assert (told.decision, told.at_least, told.at_most) == ("measure first", "put back", "rebuild")
    assert "measure it against the manual's" in teardown_reasons(told)[0]
    assert any("how much shaft play the manual allows" in step for step in teardown_steps(told))
    assert advice(shaft_play_mm=0.0).decision == "put back"


@pytest.mark.parametrize("limit", [None, 0.1, 1.0, 3.0])
def test_play_that_can_be_felt_means_a_rebuild_whatever_limit_was_typed(limit: float | None) -> None:
    assert advice(shaft_play_mm=2.0, play_limit_mm=limit).decision == "rebuild"
    assert advice(shaft_play_mm=0.5, play_limit_mm=limit).decision == "rebuild"
    assert advice(wobble="yes", shaft_play_mm=0.02, play_limit_mm=limit).decision == "rebuild"


def test_a_limit_at_which_a_shaft_wobbles_is_not_believed() -> None:
    told = advice(shaft_play_mm=0.3, play_limit_mm=3.0)
    assert told.decision == "measure first"
    assert any(reason.startswith("A limit of 3 mm cannot be right") for reason in teardown_reasons(told))


def test_play_that_nobody_measured_is_measured_before_the_unit_goes_back() -> None:
    assert any("measure the shaft's play against the manual's limit" in step for step in teardown_steps(advice()))
    assert "measure_play" not in advice(shaft_play_mm=0.05, play_limit_mm=0.1).follow_up
    assert "measure_play" not in advice(bearing="rough").follow_up


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
    assert "shaft_play_mm (play of the shaft, mm) = -1: must be a play in mm from 0 to 20" in lines[1]
    assert "A finding has no impeler. The nearest is impeller" in lines[2]
    assert finding_of({"bearing": "rough"}) == Finding(bearing="rough")


@pytest.mark.parametrize(
    ("slip", "remedy"), [(135, "was it 13.5?"), (40.5, "was it 4.05?"), (999, "read the moment again.")]
)
def test_a_slip_that_no_clutch_has_is_refused_as_mistyped(slip: float, remedy: str) -> None:
    with pytest.raises(WrongUsage) as refused:
        finding_of({"slip_found_lb_ft": slip})
    assert str(refused.value) == (
        f"slip_found_lb_ft (clutch slip moment, lb·ft) = {slip}: above 40 lb·ft, which looks mistyped: {remedy}"
    )
    assert finding_of({"slip_found_lb_ft": 40}).slip_found_lb_ft == 40.0
