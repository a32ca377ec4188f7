"""Laws of the bench over all combinations of findings: worse is never cheaper or more lenient, nothing denies itself.

Some billions of combinations are too many to walk. Four walks take all combinations of what bears on one another: the
core with the bearing; shaft and clutch; water, oil and metal; prices and season. What lies across is drawn at random.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, product
from typing import Any, get_args

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.bench_steps import FollowUp, debris_feared, was_wet
from forecaster.core_condition import MARKED, core_states
from forecaster.job_reasons import FELT_PLAY_MM, GOES_BACK, Job, ReasonCode
from forecaster.opened_unit import Finding
from forecaster.ranges import NEAREST_TO_0
from forecaster.rebuild_parts import PRE_OIL, REUSED, WASHERS
from forecaster.report.bench_sentences import teardown_headline, teardown_parts
from forecaster.report.teardown_sentences import (
    REASONS,
    SLIP,
    STEPS,
    slip_sentence,
    teardown_reasons,
    teardown_steps,
)
from forecaster.settings import Costs, PartPrices
from forecaster.slip import SlipLimits
from forecaster.teardown import SlipStep, TeardownAdvice, advise_teardown

JOBS = get_args(Job)
NOTHING = Finding().model_dump()
CORES = ("sound", "not inspected", "doubtful", "lost")
LIMITS = SlipLimits()
ALONE = PartPrices(impeller=300.0, front_housing=250.0, rear_housing=900.0, washers=40.0)
# Each field's answers, from the best to the worst; those that lie beyond no other ("unknown") come after.
METAL = ("good", "corroded", "rubbed", "scored", "destroyed", "unknown")
WORSE: dict[str, Sequence[Any]] = {
    "bearing": ("sound", "rough", "rusted", "failed"),
    "impeller": METAL[:-1],
    "front_housing": METAL[:-1],
    "rear_housing": METAL[:-1],
    "scored_deeply": ("no", "unknown", "yes"),
    "wobble": ("no", "yes"),
    "shaft_true": ("yes", "no"),
    "shaft_play_mm": (0.0, 0.05, 0.3, 0.5, 2.0),
    "clutch_washers": ("good", "worn", "broken"),
    "debris": ("no", "yes"),
    "parts_fitted": ("oem", "aftermarket"),
}
ALL: dict[str, Sequence[Any]] = {
    name: (*WORSE.get(name, ()), *(word for word in get_args(info.annotation) if word not in WORSE.get(name, ())))
    for name, info in Finding.model_fields.items()
    if not name.endswith(("_mm", "_lb_ft"))
}


# -- the walks ---------------------------------------------------------------------------------------------------------


@dataclass
class Walk:
    """All combinations of some fields: the figures of each advice, and one example of each that says something else."""

    fields: dict[str, Sequence[Any]]
    costs: Costs = field(default_factory=Costs)
    parts: PartPrices = field(default_factory=PartPrices)
    in_season: bool = False
    figures: dict[str, np.ndarray] = field(default_factory=dict)
    examples: dict[tuple, TeardownAdvice] = field(default_factory=dict)
    visited: int = 0

    def __post_init__(self) -> None:
        shape = tuple(len(words) for words in self.fields.values())
        self.figures = {name: np.empty(shape) for name in ("least", "most", "core", "low", "high", "engine", "reused")}
        for at, finding in self._findings():
            advice = advise_teardown(finding, self.costs, self.in_season, LIMITS, self.parts)
            self.examples.setdefault(self._says(advice), advice)
            self._note(at, advice)
            self.visited += 1

    def _findings(self) -> Iterator[tuple[tuple, Finding]]:
        """Each finding and its place. How deep a scoring is, is walked only where a housing is scored."""
        at_depth = list(self.fields).index("scored_deeply") if "scored_deeply" in self.fields else None
        for places in product(*(range(len(words)) for words in self.fields.values())):
            told = {name: words[place] for (name, words), place in zip(self.fields.items(), places, strict=True)}
            finding = Finding.model_construct(**(NOTHING | told))
            if at_depth is None or "scored" in (told.get("front_housing"), told.get("rear_housing")):
                yield places, finding
            elif places[at_depth] == 0:
                yield (*places[:at_depth], slice(None), *places[at_depth + 1 :]), finding

    @staticmethod
    def _says(advice: TeardownAdvice) -> tuple:
        """All that the laws about one advice look at: what differs in nothing of it is looked at once."""
        found = advice.finding
        return (
            *(advice.decision, advice.at_least, advice.at_most, advice.core, advice.because, advice.follow_up),
            *(advice.slip, advice.reused, advice.inspected_first, advice.measured_first, advice.not_reused),
            *(found.impeller, found.front_housing, found.rear_housing, found.clutch_washers, found.catch_can),
            *(found.shaft_play_mm, found.play_limit_mm, found.wobble, debris_feared(found), was_wet(found)),
            *(found.reason == "failure", found.parts_fitted == "aftermarket"),
        )

    def _note(self, at: tuple, advice: TeardownAdvice) -> None:
        quote = advice.quote
        figures = self.figures
        figures["least"][at] = JOBS.index(advice.at_least)
        figures["most"][at] = JOBS.index(advice.at_most)
        figures["core"][at] = CORES.index(advice.core)
        figures["low"][at], figures["high"][at] = quote.low, quote.high
        figures["engine"][at] = quote.engine_if_hit
        figures["reused"][at] = sum(1 << place for place, part in enumerate(REUSED) if part in advice.reused)


def walk_of(**fields: Sequence[Any]) -> dict[str, Sequence[Any]]:
    """All words of the fields named True, the given ones of the others."""
    return {name: ALL[name] if words is True else words for name, words in fields.items()}


@pytest.fixture(scope="module")
def core_walk() -> Walk:
    """Every reason, bearing, state of the core and debris, with each state of the washers that was looked at."""
    names = ("reason", "bearing", "impeller", "front_housing", "rear_housing", "scored_deeply", "debris")
    return Walk({name: ALL[name] for name in names} | {"clutch_washers": WORSE["clutch_washers"]})


@pytest.fixture(scope="module")
def shaft_walk() -> Walk:
    """Every play, limit, wobble, run-out, slip, washers and parts, on bearings that may and may not go back."""
    good = dict.fromkeys(("impeller", "front_housing", "rear_housing"), ("good",))
    return Walk(
        {
            "reason": ("other", "symptom", "failure"),
            "bearing": ("sound", "rough", "unknown"),
            "shaft_play_mm": (0.0, 0.05, 0.3, 0.5, 2.0, None),
            "play_limit_mm": (0.1, 3.0, None),
            "wobble": ALL["wobble"],
            "shaft_true": ALL["shaft_true"],
            "slip_found_lb_ft": (14.0, 5.0, 20.0, None),
            "clutch_washers": ALL["clutch_washers"],
            "parts_fitted": WORSE["parts_fitted"],
            **good,
        },
        parts=ALONE,
    )


@pytest.fixture(scope="module")
def wet_walk() -> Walk:
    """Every reason, oil, intercooler, catch can and debris, with a bearing and a housing that water may have marked."""
    names = ("reason", "bearing", "oil", "oil_in_intercooler", "catch_can", "debris", "clutch_washers")
    return Walk({name: ALL[name] for name in names} | {"rear_housing": ("good", "corroded"), "impeller": ("good",)})


PRICES = (
    (Costs(), PartPrices(impeller=300.0)),
    (Costs(), ALONE),
    (Costs(rebuild=1650.0), PartPrices(impeller=20.0, front_housing=20.0, rear_housing=20.0)),
    (Costs(rebuild=100.0, open_and_reset=400.0), ALONE),
    (Costs(rebuild=1900.0), ALONE),
)


@pytest.fixture(scope="module")
def price_walks() -> list[tuple[Walk, Walk]]:
    """The core at several prices, off season and in season."""
    fields: dict[str, Sequence[Any]] = {
        "bearing": ("sound", "rough", "failed", "unknown"),
        **dict.fromkeys(("impeller", "front_housing", "rear_housing"), METAL),
        "scored_deeply": ALL["scored_deeply"],
        "clutch_washers": ("good", "worn"),
    }
    return [
        (Walk(fields, costs, parts, in_season=False), Walk(fields, costs, parts, in_season=True))
        for costs, parts in PRICES
    ]


@pytest.fixture(scope="module")
def walks(core_walk: Walk, shaft_walk: Walk, wet_walk: Walk, price_walks: list[tuple[Walk, Walk]]) -> list[Walk]:
    return [core_walk, shaft_walk, wet_walk, *(walk for pair in price_walks for walk in pair)]


@pytest.fixture(scope="module")
def advices(walks: list[Walk]) -> list[TeardownAdvice]:
    """One example of each advice that says something else than the others."""
    return [advice for walk in walks for advice in walk.examples.values()]


# -- worse is never cheaper, more lenient, or more of the core ---------------------------------------------------------


def test_the_walks_are_whole(walks: list[Walk]) -> None:
    assert sum(walk.visited for walk in walks) > 180_000
    assert all(np.isfinite(figures).all() for walk in walks for figures in walk.figures.values())


@pytest.mark.parametrize("name", WORSE)
def test_a_worse_finding_never_lowers_the_job_its_price_or_the_fears(walks: list[Walk], name: str) -> None:
    compared = 0
    for walk in walks:
        if name not in walk.fields:
            continue
        axis = list(walk.fields).index(name)
        known = [place for place, word in enumerate(walk.fields[name]) if word in WORSE[name]]
        for what in ("least", "most", "core", "low", "high", "engine"):
            steps = np.diff(np.take(walk.figures[what], known, axis=axis), axis=axis)
            assert (steps >= 0).all(), what
            compared += steps.size
        reused = np.take(walk.figures["reused"].astype(int), known, axis=axis)
        better, worse = (np.take(reused, range(*ends), axis=axis) for ends in ((len(known) - 1,), (1, len(known))))
        assert (worse & ~better == 0).all()  # nothing is used again that a better finding would not
    assert compared


def test_slip_out_of_its_range_never_asks_for_more_than_a_reset(shaft_walk: Walk) -> None:
    axis = list(shaft_walk.fields).index("slip_found_lb_ft")
    for what in ("least", "most"):
        right, low, high, _ = np.moveaxis(shaft_walk.figures[what], axis, 0)
        for out in (low, high):
            assert (out == np.maximum(right, JOBS.index("reset and put back"))).all()
    right, low, high, _ = np.moveaxis(shaft_walk.figures["high"], axis, 0)
    assert (low == right).all()
    assert (high == right).all()


def test_the_season_only_makes_it_dearer(price_walks: list[tuple[Walk, Walk]]) -> None:
    for winter, summer in price_walks:
        for what in ("least", "most", "low", "high"):
            assert (summer.figures[what] >= winter.figures[what]).all()
        assert (summer.figures["low"] <= max(summer.costs.new_unit, summer.costs.open_and_reset)).all()


def test_the_least_is_never_above_the_most(walks: list[Walk]) -> None:
    for walk in walks:
        assert (walk.figures["least"] <= walk.figures["most"]).all()
        assert (walk.figures["low"] <= walk.figures["high"]).all()


# -- what each advice must hold ----------------------------------------------------------------------------------------


def test_the_decision_is_the_job_or_to_measure_between_two(advices: list[TeardownAdvice]) -> None:
    for told in advices:
        assert told.decision in (told.at_least, "measure first")
        assert told.decision != "measure first" or told.at_least != told.at_most


def test_every_part_of_the_core_has_one_fate(advices: list[TeardownAdvice]) -> None:
    for told in advices:
        assert sorted((*told.reused, *told.measured_first, *told.not_reused)) == sorted(REUSED)
        assert set(told.inspected_first) <= set(told.reused)
        assert {line.part for line in told.bought} <= set(told.not_reused)


def test_no_marked_or_unseen_part_goes_back_as_it_is(advices: list[TeardownAdvice]) -> None:
    marked = 0
    for told in advices:
        as_it_is = set(told.reused) - set(told.inspected_first)
        for part, state in core_states(told.finding).items():
            assert state == "good" or part not in as_it_is
            marked += state in MARKED and part in told.inspected_first
        assert ("inspect_core" in told.follow_up) == bool(told.inspected_first)
    assert marked


def test_what_something_turned_against_is_never_put_back(advices: list[TeardownAdvice]) -> None:
    for told in advices:
        if {"rubbed", "scored", "destroyed"} & set(core_states(told.finding).values()):
            assert JOBS.index(told.at_least) >= JOBS.index("rebuild")


def test_metal_that_is_feared_is_never_put_back_and_is_looked_for_first(advices: list[TeardownAdvice]) -> None:
    feared = [told for told in advices if debris_feared(told.finding)]
    assert feared
    for told in feared:
        assert told.at_least not in GOES_BACK
        assert told.follow_up[0] == "no_run_before_metal_looked_for"


def test_every_unit_that_gets_or_may_get_new_parts_is_oiled_by_hand(advices: list[TeardownAdvice]) -> None:
    for told in advices:
        new_parts = told.at_most not in GOES_BACK or bool(told.renewed)
        assert ("pre_oil" in told.follow_up) == new_parts


def test_nothing_runs_the_engine_before_metal_oil_and_oiling_by_hand(advices: list[TeardownAdvice]) -> None:
    before = ("no_run_before_metal_looked_for", "change_milky_oil", "drain_intercooler", "trace_water", "pre_oil")
    for told in advices:
        runs = [
            told.follow_up.index(step)
            for step in ("run_warm", "spin_again", "spin_again_soon")
            if step in told.follow_up
        ]
        for step in before:
            assert step not in told.follow_up or all(told.follow_up.index(step) < run for run in runs)


def test_play_is_never_passed_unjudged(advices: list[TeardownAdvice]) -> None:
    for told in advices:
        play, limit = told.finding.shaft_play_mm, told.finding.play_limit_mm
        least, most = JOBS.index(told.at_least), JOBS.index(told.at_most)
        beyond = play is not None and (play >= FELT_PLAY_MM or (limit is not None and limit < play))
        if beyond or told.finding.wobble == "yes":
            assert least >= JOBS.index("rebuild")
        elif play and (limit is None or limit >= FELT_PLAY_MM):
            assert most >= JOBS.index("rebuild")
            assert told.at_least not in GOES_BACK or "find_play_limit" in told.follow_up
        elif play is None and told.at_least in GOES_BACK:
            assert "measure_play" in told.follow_up


def test_worn_washers_are_renewed_and_the_slip_reset(advices: list[TeardownAdvice]) -> None:
    for told in advices:
        if told.finding.clutch_washers == "worn" and told.at_least != "new unit":
            assert set(WASHERS) <= {line.part for line in told.renewed}
            assert told.slip == ("reset_with_washers" if told.at_least in GOES_BACK else "set")


def test_a_catch_can_is_advised_wherever_none_is_known_to_be(advices: list[TeardownAdvice]) -> None:
    step = {"no": "fit_catch_can", "unknown": "look_for_catch_can"}
    for told in advices:
        wanted = step.get(told.finding.catch_can)
        assert {"fit_catch_can", "look_for_catch_can"} & set(told.follow_up) == ({wanted} if wanted else set())


def test_a_failure_without_a_cause_is_looked_into_further(advices: list[TeardownAdvice]) -> None:
    for told in advices:
        if told.finding.reason == "failure" and told.at_least in GOES_BACK:
            assert told.decision == "measure first"
            assert {"cause_not_found"} <= set(told.because)
            assert "look_further" in told.follow_up


def test_aftermarket_parts_are_weighed_where_the_unit_would_go_back(shaft_walk: Walk) -> None:
    for told in shaft_walk.examples.values():
        if told.finding.parts_fitted == "aftermarket":
            assert told.at_most not in GOES_BACK
            assert "aftermarket_found" in told.because
            assert told.at_least not in GOES_BACK or told.quote.low < told.quote.high


# -- no sentence denies another ----------------------------------------------------------------------------------------

MUST_REBUILD = (
    *("bearing_noisy", "bearing_failed", "play_beyond_limit", "play_felt", "wobble", "shaft_bent", "contact"),
    *("washers_broken", "metal_found", "scheduled"),
)
OPEN = ("bearing_not_spun", "play_unjudged", "cause_not_found", "core_doubtful")
OF_THE_CORE = ("core_lost", "part_bought", "part_price_unknown", "dearer_than_new", "core_doubtful")
ONLY_BACK = ("spin_by_hand", "measure_play", "find_play_limit", "renew_seals", "look_further", "look_at_washers")
# Of each pair, what stands left of the sign never stands beside any of what stands right of it.
NEVER_TOGETHER: dict[str, tuple[str, ...]] = {
    "do: put back": (*MUST_REBUILD, *OPEN, *OF_THE_CORE, "no_run_before_metal_looked_for", "slip_too_low"),
    "do: reset and put back": (*MUST_REBUILD, *OPEN, *OF_THE_CORE, "no_run_before_metal_looked_for", "slip: leave"),
    "do: measure first": ("sound_goes_back", "noise_unexplained", "rust_may_follow", "spin_again", "spin_again_soon"),
    "at least: rebuild": (*ONLY_BACK, "sound_goes_back", "cause_not_found", "noise_unexplained", "slip: leave"),
    "at least: new unit": (
        *(*ONLY_BACK, "sound_goes_back", "part_bought", "core_doubtful", "core_not_inspected", "measure_core"),
        *("inspect_core", "fit_original_parts", "slip: set"),
    ),
    "sound_goes_back": (*MUST_REBUILD, *OPEN, *OF_THE_CORE, "spin_by_hand", "measure_core", "find_play_limit"),
    "part_bought": ("part_price_unknown", "dearer_than_new"),
    "dearer_than_new": ("part_price_unknown",),
    "bearing_noisy": ("bearing_failed", "bearing_not_spun", "cause_not_found", "spin_by_hand"),
    "bearing_failed": ("bearing_not_spun", "cause_not_found", "spin_by_hand"),
    "play_felt": ("play_beyond_limit", "play_unjudged", "find_play_limit", "measure_play"),
    "play_beyond_limit": ("play_unjudged", "find_play_limit", "measure_play", "limit_not_believed"),
    "play_unjudged": ("measure_play",),
    "slip_too_low": ("slip_too_high", "slip_not_measured", "slip: leave", "slip: measure", "slip: reset_high"),
    "slip_too_high": ("slip_not_measured", "slip: leave", "slip: measure", "slip: reset_low"),
    "slip_not_measured": ("slip: leave", "slip: reset_low", "slip: reset_high"),
    "washers_worn": ("washers_broken", "look_at_washers", "slip: leave", "slip: measure"),
    "change_milky_oil": ("change_oil",),
    "run_warm": ("change_oil",),
    "fit_catch_can": ("look_for_catch_can", "check_breather"),
    "look_for_catch_can": ("check_breather",),
    "spin_again": ("spin_again_soon", "aftermarket_found", "rust_may_follow"),
}


def said(told: TeardownAdvice) -> set[str]:
    """All that an advice says, as codes."""
    answers = (f"do: {told.decision}", f"at least: {told.at_least}", f"slip: {told.slip}")
    return {*answers, *told.because, *told.follow_up}


def test_no_sentence_denies_another(advices: list[TeardownAdvice]) -> None:
    for told in advices:
        codes = said(told)
        for one in codes & set(NEVER_TOGETHER):
            denied = codes & set(NEVER_TOGETHER[one])
            assert not denied, f"{one} and {denied}: {told.finding!r}"
        assert len(told.because) == len(set(told.because)) > 0
        assert len(told.follow_up) == len(set(told.follow_up)) > 0


def test_the_contradictions_name_codes_that_there_are(advices: list[TeardownAdvice]) -> None:
    ever = set().union(*(said(told) for told in advices))
    assert set(NEVER_TOGETHER) | {code for codes in NEVER_TOGETHER.values() for code in codes} <= ever


def test_every_code_is_met_and_worded(advices: list[TeardownAdvice]) -> None:
    assert set(REASONS) == set(get_args(ReasonCode)) == set().union(*(told.because for told in advices))
    assert set(STEPS) == set(get_args(FollowUp)) == set().union(*(told.follow_up for told in advices))
    assert set(SLIP) == set(get_args(SlipStep)) == {told.slip for told in advices}


def test_every_sentence_is_whole(advices: list[TeardownAdvice]) -> None:
    sentences = set()
    for told in advices:
        sentences |= {teardown_headline(told, "USD {:,.0f}".format), slip_sentence(told)}
        sentences |= {*teardown_reasons(told), *teardown_parts(told), *teardown_steps(told)}
    for sentence in sentences:
        assert sentence[0].isupper(), sentence
        assert sentence.endswith("."), sentence
        assert not any(fault in sentence for fault in ("None", "nan", "  ", "..", "{", "unknown")), sentence
    assert PRE_OIL in sentences


# -- what lies across the walks, drawn at random -----------------------------------------------------------------------


def from_0(most: float) -> st.SearchStrategy[float]:
    """0, or a number that can be measured."""
    return st.just(0.0) | st.floats(NEAREST_TO_0, most)


findings = st.builds(
    Finding,
    **{name: st.sampled_from(words) for name, words in ALL.items()},
    shaft_play_mm=st.none() | from_0(3),
    play_limit_mm=st.none() | st.floats(0.01, 3),
    slip_found_lb_ft=st.none() | from_0(40),
)
money = from_0(3000)
prices = st.builds(Costs, rebuild=money, new_unit=money, rebuild_in_season_extra=from_0(500), open_and_reset=money)
alone = st.builds(PartPrices, **{name: st.none() | from_0(1500) for name in PartPrices.model_fields})


def assert_no_better(worse: TeardownAdvice, better: TeardownAdvice) -> None:
    assert JOBS.index(worse.at_least) >= JOBS.index(better.at_least)
    assert JOBS.index(worse.at_most) >= JOBS.index(better.at_most)
    assert CORES.index(worse.core) >= CORES.index(better.core)
    assert set(worse.reused) <= set(better.reused)
    for amount in ("low", "high", "put_back", "engine_if_hit"):
        assert getattr(worse.quote, amount) >= getattr(better.quote, amount)


@settings(max_examples=300)
@given(findings, prices, alone, st.booleans(), st.sampled_from(sorted(set(WORSE) - {"shaft_play_mm"})))
def test_worse_is_never_better_whatever_else_was_found(
    found: Finding, costs: Costs, parts: PartPrices, summer: bool, name: str
) -> None:
    told = [
        advise_teardown(found.model_copy(update={name: word}), costs, summer, LIMITS, parts) for word in WORSE[name]
    ]
    for better, worse in pairwise(told):
        assert_no_better(worse, better)


@given(findings, prices, alone, from_0(3), from_0(3))
def test_more_play_is_never_better(found: Finding, costs: Costs, parts: PartPrices, one: float, other: float) -> None:
    little, much = (
        advise_teardown(found.model_copy(update={"shaft_play_mm": play}), costs, False, LIMITS, parts)
        for play in sorted((one, other))
    )
    assert_no_better(much, little)


@given(findings, prices, alone, from_0(40), from_0(40))
def test_slip_farther_from_its_range_asks_for_a_reset_and_no_more(
    found: Finding, costs: Costs, parts: PartPrices, one: float, other: float
) -> None:
    right = LIMITS.setting(1.0 if found.tuned == "yes" else 0.0)
    near, far = sorted((one, other), key=lambda slip: abs(slip - right))
    if (near < right) != (far < right):
        far = 2 * right - far if 0 <= 2 * right - far <= 40 else near
    better, worse = (
        advise_teardown(found.model_copy(update={"slip_found_lb_ft": slip}), costs, False, LIMITS, parts)
        for slip in (near, far)
    )
    assert_no_better(worse, better)
    assert (worse.quote.low, worse.quote.high) == (better.quote.low, better.quote.high)
    if worse.at_least != better.at_least:
        assert (better.at_least, worse.at_least) == ("put back", "reset and put back")


@settings(max_examples=300)
@given(findings, prices, alone, st.booleans())
def test_nothing_drawn_at_random_breaks_what_each_advice_must_hold(
    found: Finding, costs: Costs, parts: PartPrices, summer: bool
) -> None:
    told = [advise_teardown(found, costs, summer, LIMITS, parts)]
    test_the_decision_is_the_job_or_to_measure_between_two(told)
    test_every_part_of_the_core_has_one_fate(told)
    test_what_something_turned_against_is_never_put_back(told)
    test_every_unit_that_gets_or_may_get_new_parts_is_oiled_by_hand(told)
    test_nothing_runs_the_engine_before_metal_oil_and_oiling_by_hand(told)
    test_play_is_never_passed_unjudged(told)
    test_worn_washers_are_renewed_and_the_slip_reset(told)
    test_a_catch_can_is_advised_wherever_none_is_known_to_be(told)
    test_a_failure_without_a_cause_is_looked_into_further(told)
    test_no_sentence_denies_another(told)


@given(findings.filter(lambda found: "scored" not in (found.front_housing, found.rear_housing)), st.sampled_from("nuy"))
def test_how_deep_a_scoring_is_changes_nothing_where_there_is_none(found: Finding, depth: str) -> None:
    word = {"n": "no", "u": "unknown", "y": "yes"}[depth]
    told = [advise_teardown(f, Costs(), False) for f in (found, found.model_copy(update={"scored_deeply": word}))]
    assert said(told[0]) == said(told[1])
    assert told[0].quote == told[1].quote
