"""Which spins count for a chance: at the same hours one look, a rattle if any of them rattled. By hand, and laws."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.causes import Causes
from forecaster.counted_looks import UNREAD_H, heard_already, looks_that_count
from forecaster.learning import TwoStageFit, fit_two_stage
from forecaster.lives import Histories
from forecaster.outlook import outlook
from forecaster.pieces import cut
from forecaster.priors import read_priors
from forecaster.stages import TwoStageLikelihood
from forecaster.unit_ahead import unit_ahead
from tests.bare_lives import BareLife, histories_of, theta

PRIOR = read_priors()
NOW = np.array([0.0, 50.0])
WATER_ON = date(2024, 7, 1)  # the day of the incidents of `histories_of`
Look = tuple[float, str, int]  # observed hours, spin, days after WATER_ON


def unit(*looks: Look, hours: float = 118.0, water: tuple[tuple[float, str], ...] = ((100.0, "none"),)) -> Histories:
    """One running unit with untreated water and looks at these hours and days."""
    bare = histories_of(BareLife(hours, incidents=list(water), checks=[(at, spin) for at, spin, _ in looks]))
    days = pd.Timestamp(WATER_ON) + pd.to_timedelta([day for *_, day in looks], unit="D")
    return replace(bare, checks=bare.checks.assign(checked_on=days)) if looks else bare


def chances(units: Histories) -> np.ndarray:
    """Chance of being defective now and of failing within 50 h, (2,), under the law at the priors' medians."""
    found = outlook(units, PRIOR, PRIOR.unknown_share, theta()[None], NOW)
    return np.array([found.defective[0, 0, 0], found.failed[0, 0, 1]])


def counted(*looks: Look) -> list[tuple[float, str, int]]:
    """Hours, spin and number of spins of the looks that count."""
    rows = looks_that_count(unit(*looks))
    return list(zip(rows["observed_hours"], rows["spin"], rows["spins"], strict=True))


def test_three_quiet_spins_on_three_days_without_hours_are_one() -> None:
    once = chances(unit((118.0, "quiet", 20)))
    assert chances(unit(*((118.0, "quiet", day) for day in (20, 21, 22)))) == pytest.approx(once)
    assert once[0] < chances(unit())[0]


def test_a_rattle_among_quiet_spins_at_the_same_hours_is_a_rattle_whichever_was_first() -> None:
    rattle = chances(unit((118.0, "rattle", 20)))
    for days in ((20, 21, 22), (21, 20, 22), (22, 21, 20)):
        spins = zip(("rattle", "quiet", "slight"), days, strict=True)
        assert chances(unit(*((118.0, spin, day) for spin, day in spins))) == pytest.approx(rattle)


def test_hours_between_two_spins_make_two_looks_of_them() -> None:
    assert counted((110.0, "quiet", 20), (110.04, "quiet", 21), (110.2, "quiet", 22)) == [
        (110.04, "quiet", 2),
        (110.2, "quiet", 1),
    ]


def test_water_between_two_spins_makes_two_looks_of_them() -> None:
    assert [row[2] for row in counted((100.0, "quiet", -1), (100.0, "quiet", 3))] == [1, 1]


def test_a_quiet_spin_just_after_water_is_one_look_with_the_one_just_before_it() -> None:
    once = chances(unit((100.0, "quiet", -1), hours=100.0))
    assert chances(unit((100.0, "quiet", -1), (100.0, "quiet", 1), hours=100.0)) == pytest.approx(once)


def test_a_quiet_spin_just_after_water_does_not_undo_a_rattle_of_the_same_hours() -> None:
    rattle = chances(unit((100.0, "rattle", 1), hours=100.0))
    assert chances(unit((100.0, "rattle", 1), (100.0, "quiet", 2), hours=100.0)) == pytest.approx(rattle)


def test_what_an_opening_found_always_counts() -> None:
    assert counted((110.0, "quiet", 20), (110.0, "sound", 21), (110.0, "quiet", 22)) == [
        (110.0, "not_done", 1),
        (110.0, "quiet", 2),
    ]


def test_spins_of_two_units_are_never_one_look() -> None:
    both = histories_of(*(BareLife(118.0, checks=[(118.0, spin)]) for spin in ("quiet", "rattle")))
    assert list(looks_that_count(both)["spins"]) == [1, 1]


def test_how_well_a_spin_hears_is_learned_from_one_look_not_from_its_repetitions() -> None:
    """The likelihood of a unit opened after its spins, as it is and with each spin made three times."""
    lives = [BareLife(100.0, "defective", checks=[(99.9, "rattle")] * n) for n in (1, 3)]
    lives += [BareLife(100.0, "sound", checks=[(99.9, "quiet")] * n) for n in (1, 3)]
    at = np.stack([theta(), theta(sensitivity=0.6, specificity=0.8)])
    shares = PRIOR.unknown_share
    rattled, again, quiet, still = (
        TwoStageLikelihood(cut(histories_of(one), PRIOR, shares)).total(at) for one in lives
    )
    assert again == pytest.approx(rattled)
    assert still == pytest.approx(quiet)


SPINS = st.sampled_from(["quiet", "slight", "rattle"])
LOOKS = st.lists(st.tuples(st.sampled_from([40.0, 99.0, 100.0, 110.0, 118.0]), SPINS, st.integers(0, 9)), max_size=6)


def placed(looks: list[tuple[float, str, int]]) -> list[Look]:
    """Looks on days that go the way of their hours: before the water, on its day or soon after, long after it."""
    first_day = {40.0: -60, 99.0: -10, 100.0: -1, 110.0: 20, 118.0: 40}
    return [(at, spin, first_day[at] + day) for at, spin, day in looks]


@given(LOOKS, st.integers(0, 5), st.integers(0, 9))
def test_making_a_look_again_at_the_same_hours_changes_nothing(
    looks: list[tuple[float, str, int]], which: int, day: int
) -> None:
    looks = [look for look in looks if look[0] != 100.0]  # there water may come between
    if looks:
        at, spin, _ = looks[which % len(looks)]
        assert chances(unit(*placed([*looks, (at, spin, day)]))) == pytest.approx(chances(unit(*placed(looks))))


@given(LOOKS, st.randoms())
def test_the_order_of_rows_and_of_one_days_looks_changes_nothing(looks: list[Look], luck: object) -> None:
    one_day = [(at, spin, 0) for at, spin, _ in looks]
    shuffled = list(one_day)
    luck.shuffle(shuffled)  # type: ignore[attr-defined]
    assert chances(unit(*placed(shuffled))) == pytest.approx(chances(unit(*placed(one_day))))


@given(LOOKS, st.sampled_from([110.0, 118.0]), st.integers(0, 9))
def test_a_rattle_never_lowers_a_chance(looks: list[Look], at: float, day: int) -> None:
    before = chances(unit(*placed(looks)))
    assert (chances(unit(*placed([*looks, (at, "rattle", day)]))) >= before - 1e-12).all()


def test_what_a_spin_now_would_tell_is_known_where_it_was_spun_at_these_hours() -> None:
    def heard(*looks: Look, hours: float = 118.0) -> str:
        return str(heard_already(unit(*looks, hours=hours))[0])

    assert heard() == ""
    assert heard((117.0, "quiet", 20)) == ""  # it has run since
    assert heard((118.0, "quiet", 20)) == "quiet"
    assert heard((118.0, "rattle", 20), (118.0, "quiet", 21)) == "rattle"
    assert heard((100.0, "quiet", -1), hours=100.0) == ""  # water since
    assert heard((100.0, "quiet", 1), hours=100.0) == ""  # too soon after it to tell
    assert heard((100.0, "quiet", 3), hours=100.0) == "quiet"


def test_where_much_may_have_run_unread_since_a_spin_another_is_another_look() -> None:
    spun = unit((118.0, "quiet", 20))
    unread = spun.with_lives(hours_observed_high=118.0 + UNREAD_H + 0.1)
    assert list(heard_already(unread)) == [""]


@pytest.fixture(scope="module")
def fit() -> TwoStageFit:
    """The priors alone, of few draws."""
    return fit_two_stage(histories_of(BareLife(10.0)).select(np.array([False])), draws=64)


def test_a_spin_before_it_runs_again_tells_what_the_last_one_told(fit: TwoStageFit) -> None:
    steps = np.array([5.0, 5.0])
    quiet, rattling = (unit_ahead(fit, unit((118.0, spin, 40)), steps, None, draws=16) for spin in ("quiet", "rattle"))
    assert not quiet.rattles[:, 0].any()
    np.testing.assert_allclose(rattling.rattles[:, 0], rattling.running[:, 0])
    assert (quiet.rattles[:, 1:] > 0).all()
    assert (rattling.rattles[:, 1:] < rattling.running[:, 1:]).all()


def test_the_reason_names_the_look_that_counts_and_says_that_several_spins_are_one(fit: TwoStageFit) -> None:
    def reasons(*looks: Look) -> str:
        return " ".join(Causes(fit, unit(*looks)).because(50.0, [()])[0])

    assert "spun rattle 0 h ago, 2 spins with no hours between them: one look" in reasons(
        (118.0, "rattle", 40), (118.0, "quiet", 41)
    )
    assert "spun quiet 0 h ago (" in reasons((110.0, "quiet", 30), (118.0, "quiet", 40))
