"""The true risk of invented fleets against closed forms, against other sums, and against bearings played forward."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.bearing_life import BearingLife
from forecaster.errors import WrongUsage
from forecaster.true_risk import RunningUnit, Wetting, chance_of_failing
from forecaster.worlds import PRIOR_RANGES, WORLDS, World


def exponential(a: float, b: float, rho: float = 0.0) -> World:
    return World("exponential", beta1=1, eta1=1 / a, beta2=1, eta2=1 / b, rho=rho)


# Closed form of two exponential stages (hypoexponential distribution), rates .01 and .05 per hour.
@pytest.mark.parametrize(("hours", "fails"), [(10, 0.0205859), (50, 0.2623579), (100, 0.5418352), (300, 0.9377662)])
def test_a_fresh_unit_with_two_exponential_stages_has_the_closed_form(hours: float, fails: float) -> None:
    assert chance_of_failing(exponential(0.01, 0.05), 0.0, hours) == pytest.approx(fails, abs=5e-6)


# Algebra: P(sound) e^{-at}; P(defective, not noticed) a/(b+r-a) (e^{-at} - e^{-(b+r)t}).
@pytest.mark.parametrize(
    ("a", "b", "rho", "age"), [(0.01, 0.05, 0.02, 120), (0.03, 0.02, 0.004, 60), (0.002, 0.1, 0, 400)]
)
def test_a_running_unit_with_two_exponential_stages_has_the_closed_form(
    a: float, b: float, rho: float, age: float
) -> None:
    sound = math.exp(-a * age)
    defective = a / (b + rho - a) * (math.exp(-a * age) - math.exp(-(b + rho) * age))
    world, unit = exponential(a, b, rho), RunningUnit(age)
    assert unit.chance_defective(world) == pytest.approx(defective / (sound + defective), abs=5e-6)
    hours = np.array([0.0, 5.0, 40.0, 200.0])
    fresh = 1 - np.exp(-a * hours) - a / (b - a) * (np.exp(-a * hours) - np.exp(-b * hours))
    fails = (sound * fresh + defective * (1 - np.exp(-b * hours))) / (sound + defective)
    np.testing.assert_allclose(unit.chances_of_failing(world, hours), fails, atol=5e-6)


def test_without_a_second_stage_it_is_the_weibull_distribution() -> None:
    world = World("one stage", beta1=2.2, eta1=180, beta2=1, eta2=0.001, rho=0)
    fails = -math.expm1((90 / 180) ** 2.2 - (140 / 180) ** 2.2)
    assert chance_of_failing(world, 90, 50) == pytest.approx(fails, abs=1e-5)


def test_an_incident_starts_rust_with_chance_one_minus_e_to_the_minus_kappa() -> None:
    world = World("water only", eta1=1e9, kappa_late=0.5, beta2=1.6, eta2=30)
    defective = 1 - math.exp(-0.5)
    assert RunningUnit(80, (Wetting(80, "late"),)).chance_defective(world) == pytest.approx(defective, abs=1e-9)
    fails = defective * -math.expm1(-((20 / 30) ** 1.6))
    assert chance_of_failing(world, 80, 20, [(80, "late")]) == pytest.approx(fails, abs=1e-9)


def test_a_spin_check_is_weighed_by_bayes() -> None:
    """Eddy 1982: prior .01, sensitivity .8, false alarms .096 give .0776 after an alarm."""
    kappa = -math.log(0.99)
    world = World("test", eta1=1e9, kappa_none=kappa, sensitivity=0.8, specificity=1 - 0.096)
    wet = (Wetting(50, "none"),)
    assert RunningUnit(50, wet, rattles=(50,)).chance_defective(world) == pytest.approx(0.0776, abs=1e-4)
    quiet = 0.01 * 0.2 / (0.01 * 0.2 + 0.99 * 0.904)
    assert RunningUnit(50, wet, quiet_checks=(50,)).chance_defective(world) == pytest.approx(quiet, abs=5e-6)


def by_quantiles_of_onset(world: World, age: float, hours: float, incidents: list[tuple[float, str]], ratio: float,
                          quiet: list[float], n: int = 400_000) -> float:  # fmt: skip
    """The same chance from equally likely onsets, each found by inverting the hazard: another way to sum."""
    left = -np.log1p(-(np.arange(n) + 0.5) / n)  # cumulative hazard at onset
    onset = np.full(n, np.nan)
    so_far, start, slope = 0.0, 0.0, ratio
    for at, treatment in [*sorted(incidents), (math.inf, "")]:
        smooth = slope * ((at / world.eta1) ** world.beta1 - (start / world.eta1) ** world.beta1)
        here = np.isnan(onset) & (left <= so_far + smooth)
        clock = (start / world.eta1) ** world.beta1 + (left[here] - so_far) / slope
        onset[here] = world.eta1 * clock ** (1 / world.beta1)
        so_far, start = so_far + smooth, at
        if treatment:
            so_far += world.kappa(treatment)
            onset[np.isnan(onset) & (left <= so_far)] = at
            slope = ratio * math.exp(world.lasting_log_ratio) if treatment != "prompt" else slope
    gone = np.maximum(age - onset, 0)
    weight = np.where(onset <= age, np.exp(-world.rho * gone - (gone / world.eta2) ** world.beta2), 1.0)
    for at in quiet:
        weight *= np.where(onset <= at, 1 - world.sensitivity, world.specificity)
    until = np.maximum(age + hours - onset, 0)
    survives = np.exp((gone / world.eta2) ** world.beta2 - (until / world.eta2) ** world.beta2)
    return float(np.sum(weight * (1 - survives)) / np.sum(weight))


HISTORIES = [
    (60.0, 50.0, [(20.0, "none")], "oem", [45.0]),
    (150.0, 25.0, [(20.0, "late"), (140.0, "prompt")], "aftermarket", [90.0, 140.0]),
    (12.0, 100.0, [], "aftermarket", []),
    (220.0, 50.0, [(100.0, "prompt"), (215.0, "none")], "oem", []),
]


@pytest.mark.parametrize("world", WORLDS.values(), ids=WORLDS)
@pytest.mark.parametrize(("age", "hours", "incidents", "parts", "quiet"), HISTORIES)
def test_it_agrees_with_a_sum_over_quantiles_of_onset(
    world: World, age: float, hours: float, incidents: list[tuple[float, str]], parts: str, quiet: list[float]
) -> None:
    ratio = world.hazard_ratio(parts, 1.0, 0.0)
    expected = by_quantiles_of_onset(world, age, hours, incidents, ratio, quiet)
    assert chance_of_failing(world, age, hours, incidents, parts, 1.0, 0.0, quiet) == pytest.approx(expected, abs=2e-5)


def play(world: World, rng: np.random.Generator, age: float, hours: float, incidents: list[tuple[float, str]],
         ratio: float, quiet: list[float], entry: float = 0.0) -> bool | None:  # fmt: skip
    """Play one bearing; None where it did not get to `age` unnoticed with quiet checks, else whether it then fails."""
    life = BearingLife(world, rng, entry, ratio)
    events = sorted([(at, 0, what) for at, what in incidents] + [(at, 1, "") for at in quiet] + [(age, 2, "")])
    for at, _, treatment in events:
        if life.run(at - life.age_h, ratio)[1]:
            return None
        if treatment:
            life.gets_wet(treatment)  # type: ignore[arg-type]
        elif at < age and life.spun_by_hand(rng):
            return None
    happening = "noticed"
    while happening == "noticed" and life.age_h < age + hours:  # nobody acts on what is noticed in the hours ahead
        happening = life.run(age + hours - life.age_h, ratio)[1]
    return happening == "failed"


@pytest.mark.parametrize("world", [WORLDS["rust_at_incident"], WORLDS["lasting_rise"]], ids=lambda world: world.name)
@pytest.mark.parametrize("entry", [0.0, 15.0])
def test_bearings_played_forward_fail_as_often_as_the_true_risk_says(world: World, entry: float) -> None:
    age, hours, incidents, quiet = 90.0, 40.0, [(20.0, "prompt"), (70.0, "none")], [45.0]
    rng = np.random.default_rng(5)
    ratio = world.hazard_ratio("aftermarket", 0.5, 1.0)
    played = [play(world, rng, age, hours, incidents, ratio, quiet, entry) for _ in range(25_000)]
    failed = [one for one in played if one is not None]
    expected = chance_of_failing(world, age, hours, incidents, "aftermarket", 0.5, 1.0, quiet)
    error = math.sqrt(expected * (1 - expected) / len(failed))
    assert len(failed) > 8_000
    assert sum(failed) / len(failed) == pytest.approx(expected, abs=4 * error)


def test_a_part_worn_start_is_a_bearing_that_still_runs() -> None:
    world, rng = WORLDS["long_noise"], np.random.default_rng(6)
    starts = [BearingLife(world, rng, 180.0, 2.0) for _ in range(8_000)]
    expected = RunningUnit(180.0, ratio_steps=((0.0, 2.0),)).chance_defective(world)
    share = sum(life.state == "defective" for life in starts) / len(starts)
    assert not any(life.state == "failed" for life in starts)
    assert share == pytest.approx(expected, abs=4 * math.sqrt(expected * (1 - expected) / len(starts)))


def test_water_content_scales_the_jump() -> None:
    world = World("wet", eta1=1e9, kappa_none=0.4, water_exponent=0.6)
    unit = RunningUnit(50, (Wetting(50, "none", 400.0),))
    assert unit.chance_defective(world) == pytest.approx(1 - math.exp(-0.4 * 4**0.6), abs=1e-9)


units = st.builds(
    RunningUnit,
    age_h=st.just(160.0),
    incidents=st.lists(st.builds(Wetting, st.floats(1, 160), st.sampled_from(["prompt", "late", "none"])), max_size=3)
    .map(tuple),
    quiet_checks=st.lists(st.floats(1, 160), max_size=2).map(tuple),
)  # fmt: skip
worlds = st.sampled_from(list(WORLDS.values()))


@settings(max_examples=30, deadline=None)
@given(unit=units, world=worlds)
def test_the_chance_starts_at_nothing_and_never_falls_with_hours(unit: RunningUnit, world: World) -> None:
    chances = unit.chances_of_failing(world, np.array([0.0, 1.0, 10.0, 50.0, 400.0, 3000.0]))
    assert chances[0] == 0
    assert (np.diff(chances) >= 0).all()
    assert 0.99 < chances[-1] <= 1 + 1e-9


@settings(max_examples=30, deadline=None)
@given(unit=units, world=worlds, at=st.floats(1, 159))
def test_a_change_of_water_that_changes_no_ratio_changes_nothing(unit: RunningUnit, world: World, at: float) -> None:
    split = replace(unit, ratio_steps=((0.0, 1.0), (at, 1.0)))
    np.testing.assert_allclose(
        split.chances_of_failing(world, np.array([25.0])), unit.chances_of_failing(world, np.array([25.0])), atol=1e-5
    )


@settings(max_examples=30, deadline=None)
@given(unit=units, world=worlds)
def test_a_check_that_knows_nothing_changes_nothing(unit: RunningUnit, world: World) -> None:
    blind = replace(world, sensitivity=0.3, specificity=0.7)
    bare = replace(unit, quiet_checks=())
    assert unit.chance_defective(blind) == pytest.approx(bare.chance_defective(blind), abs=1e-5)


def test_an_opening_that_found_it_sound_is_a_perfect_quiet_check() -> None:
    world = replace(WORLDS["rust_at_incident"], sensitivity=1.0)
    wet = (Wetting(30, "none"),)
    checked, opened = RunningUnit(80, wet, quiet_checks=(60,)), RunningUnit(80, wet, opened_sound=(60,))
    assert checked.chance_defective(world) == pytest.approx(opened.chance_defective(world), abs=1e-12)
    assert RunningUnit(80, wet, opened_defective=(60,)).chance_defective(world) == pytest.approx(1.0)


def test_after_an_untreated_swamping_the_risk_lies_in_the_next_tens_of_hours() -> None:
    world = WORLDS["rust_at_incident"]
    dry, wet = (chance_of_failing(world, 80, 50, incidents) for incidents in ([], [(80, "none")]))
    long_ago = chance_of_failing(world, 80, 50, [(5, "none")], quiet_checks=[75])
    assert wet > 5 * dry
    assert long_ago < 1.5 * dry


def test_worlds_drawn_at_random_spread_as_the_ranges_say() -> None:
    rng = np.random.default_rng(3)
    drawn = [World.drawn_from(PRIOR_RANGES, rng) for _ in range(4_000)]
    logs = np.log([world.eta2 for world in drawn])
    assert np.median(logs) == pytest.approx(math.log(40), abs=0.06)
    assert logs.std() == pytest.approx(0.8, abs=0.04)
    assert np.mean([world.sensitivity for world in drawn]) == pytest.approx(0.9, abs=0.01)
    assert all(world.kappa_late == (world.kappa_prompt + world.kappa_none) / 2 for world in drawn)
    again = World.drawn_from(dict(reversed(PRIOR_RANGES.items())), np.random.default_rng(3))
    assert again == drawn[0]


def test_an_unknown_world_names_the_nearest() -> None:
    with pytest.raises(WrongUsage, match="nearest is lasting_rise"):
        World.named("lasting")


@pytest.mark.parametrize("wrong", [{"eta1": 0.0}, {"rho": -1.0}, {"sensitivity": 1.2}, {"beta2": math.nan}])
def test_a_law_that_cannot_be_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=next(iter(wrong))):
        World("wrong", **wrong)  # type: ignore[arg-type]
