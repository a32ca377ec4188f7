"""What a failure takes with it: Beta posteriors by hand, and what a rebuild row does and does not tell."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import beta

from forecaster.core_loss import CORE_LOST_PRIOR, ENGINE_HIT_PRIOR, CoreLoss, chances_at_failure, core_loss
from forecaster.reading import read_fleet
from forecaster.records import FleetRecords
from forecaster.settings import Costs, FleetSettings
from tests.conftest import ROOT, SAMPLE_DAY
from tests.paper_fleet import day, opened, paper_fleet


def failed(outcome: str, number: int = 1, **more: object) -> dict[str, object]:
    return opened(f"S{number}", "2025-06-01", "failure", "failed", outcome, **more)


def of(*rows: dict[str, object]) -> CoreLoss:
    return core_loss(paper_fleet(["C1"], rebuilds=rows), day("2025-12-31"))


def test_without_records_it_is_general_experience() -> None:
    alone = core_loss()
    assert (alone.n, alone.n_engine) == (0, 0)
    assert alone.core_lost.mean == pytest.approx(0.6)
    assert alone.engine_hit.mean == pytest.approx(0.1)
    assert alone == core_loss(paper_fleet(["C1"]), day("2025-12-31"))


def test_the_interval_is_that_of_the_beta_distribution() -> None:
    lost = of(failed("scrapped"), failed("rebuilt", 2), failed("replaced", 3)).core_lost
    posterior = beta(CORE_LOST_PRIOR[0] + 2, CORE_LOST_PRIOR[1] + 1)
    assert lost.mean == pytest.approx((2.4 + 2) / (4 + 3))
    assert (lost.low, lost.high) == pytest.approx(tuple(posterior.ppf([0.05, 0.95])))


@pytest.mark.parametrize(
    ("row", "told", "lost"),
    [
        (failed("replaced"), 1, 1),
        (failed("scrapped"), 1, 1),
        (failed("rebuilt"), 1, 0),
        (failed("rebuilt", impeller="corroded", front_housing="rubbed"), 1, 0),
        (failed("rebuilt", impeller="scored"), 1, 0),  # it was measured, and used again
        (failed("rebuilt", front_housing="destroyed"), 1, 1),
        (failed("closed", front_housing="scored"), 1, 1),
        (failed("closed"), 0, 0),
        (opened("S1", "2025-06-01", "scheduled", "failed", "scrapped"), 1, 1),  # found failed
        (opened("S1", "2025-06-01", "failure", "sound", "scrapped"), 0, 0),  # not its bearing
        (opened("S1", "2025-06-01", "water", "rusted", "replaced"), 0, 0),  # not failed
    ],
)
def test_what_a_row_tells_of_the_core(row: dict[str, object], told: int, lost: int) -> None:
    answer = of(row)
    assert (answer.n, answer.lost) == (told, lost)


def test_the_bill_tells_whether_the_engine_was_hit() -> None:
    answer = of(failed("scrapped", 1, cost=7000.0), failed("rebuilt", 2, cost=960.0), failed("scrapped", 3))
    assert (answer.n_engine, answer.hit) == (2, 1)
    assert answer.engine_hit.mean == pytest.approx((ENGINE_HIT_PRIOR[0] + 1) / (sum(ENGINE_HIT_PRIOR) + 2))


def test_a_unit_found_failed_says_nothing_of_engines() -> None:
    assert of(opened("S1", "2025-06-01", "scheduled", "failed", "scrapped", cost=1700.0)).n_engine == 0


def test_where_an_engine_costs_no_more_than_a_unit_the_bill_says_nothing() -> None:
    records = paper_fleet(["C1"], rebuilds=[failed("scrapped", 1, cost=1700.0)])
    cheap = replace(records, settings=FleetSettings(costs=Costs(engine_damage=900.0)))
    assert core_loss(cheap, day("2025-12-31")).n_engine == 0


def test_rows_of_later_days_are_not_used() -> None:
    records = paper_fleet(["C1"], rebuilds=[failed("scrapped")])
    assert core_loss(records, day("2025-05-31")) == core_loss()
    assert core_loss(records, day("2025-06-01")).n == 1


def test_the_sample_fleet_counted_by_hand() -> None:
    # 23 rows failed in use: 10 replaced or scrapped, 13 rebuilt; three bills are above 6,000
    records: FleetRecords = read_fleet(ROOT / "sample_fleet", SAMPLE_DAY).records
    in_use = records.rebuilds[records.rebuilds["reason"] == "failure"]
    answer = core_loss(replace(records, rebuilds=in_use), SAMPLE_DAY)
    assert (answer.n, answer.n_engine, answer.hit) == (23, 23, 3)
    assert answer.lost == 10


@given(lost=st.integers(0, 20), kept=st.integers(0, 20))
def test_one_more_lost_core_never_lowers_the_chance(lost: int, kept: int) -> None:
    rows = [failed("scrapped", i) for i in range(lost)] + [failed("rebuilt", 50 + i) for i in range(kept)]
    fewer, more = of(*rows).core_lost, of(*rows, failed("scrapped", 99)).core_lost
    assert more.mean > fewer.mean
    assert more.low > fewer.low
    assert fewer.low < fewer.mean < fewer.high


def test_draws_have_the_posteriors_mean_and_are_the_same_each_time() -> None:
    loss = of(failed("scrapped"), failed("rebuilt", 2))
    core, engine = loss.draws(20_000)
    assert core.mean() == pytest.approx(loss.core_lost.mean, abs=0.01)
    assert engine.mean() == pytest.approx(loss.engine_hit.mean, abs=0.01)
    assert (loss.draws(5)[0] == loss.draws(5)[0]).all()


def test_the_means_alone_are_those_of_the_whole_answer() -> None:
    rows = [failed("scrapped", 1, cost=7000.0), failed("rebuilt", 2, cost=960.0)]
    records, on = paper_fleet(["C1"], rebuilds=rows), day("2025-12-31")
    whole = core_loss(records, on)
    assert chances_at_failure(records, on) == pytest.approx((whole.core_lost.mean, whole.engine_hit.mean))
