"""Answers that are kept: found again, so many and no more, the same for all threads."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from threading import Barrier

import pytest

from forecaster import Fleet, WrongUsage
from forecaster.fleet import KEPT_DAYS, KEPT_DECISIONS
from forecaster.kept import Kept
from tests.conftest import SAMPLE_DAY, sample_fleet


def never() -> str:
    pytest.fail("worked out though it was kept")


def test_what_was_asked_before_is_not_worked_out_again() -> None:
    kept: Kept[str, str] = Kept(2)
    assert kept.get("a", lambda: "answer") == "answer"
    assert kept.get("a", never) == "answer"


def test_the_one_asked_for_least_lately_goes() -> None:
    kept: Kept[str, str] = Kept(2)
    for question in ("a", "b", "a", "c"):
        kept.get(question, lambda question=question: question)  # type: ignore[misc]
    assert len(kept) == 2
    assert kept.get("a", never) == "a"
    assert kept.get("b", lambda: "anew") == "anew"


def test_of_several_questions_only_those_not_kept_are_worked_out_together_and_each_once() -> None:
    kept: Kept[str, str] = Kept(2)
    kept.get("a", lambda: "first")
    asked: list[list[str]] = []

    def work_out(missing: list[str]) -> list[str]:
        asked.append(missing)
        return [question.upper() for question in missing]

    assert kept.get_all(["c", "a", "b", "c"], work_out) == ["C", "first", "B", "C"]
    assert asked == [["c", "b"]]
    assert len(kept) == 2


def test_what_was_broken_off_is_asked_again() -> None:
    kept: Kept[str, str] = Kept(2)

    def broken_off() -> str:
        raise WrongUsage("broken off")

    with pytest.raises(WrongUsage):
        kept.get("a", broken_off)
    assert kept.get("a", lambda: "answer") == "answer"


def test_working_out_an_answer_may_ask_for_another() -> None:
    kept: Kept[str, str] = Kept(1)
    assert kept.get("a", lambda: kept.get("b", lambda: "b") + "a") == "ba"


def test_threads_that_ask_the_same_at_once_share_one_answer() -> None:
    kept: Kept[str, object] = Kept(2)
    both = Barrier(2, timeout=30)

    def work_out() -> object:
        both.wait()  # neither is done before the other has begun
        return object()

    with ThreadPoolExecutor(2) as pool:
        first, second = (pool.submit(kept.get, "a", work_out) for _ in range(2))
        assert first.result() is second.result() is kept.get("a", object)


def test_threads_that_ask_for_more_than_is_kept_all_have_their_answer() -> None:
    kept: Kept[int, int] = Kept(3)
    asked = [number % 7 for number in range(7000)]
    with ThreadPoolExecutor(8) as pool:
        assert list(pool.map(lambda number: kept.get(number, lambda: number), asked)) == asked
    assert len(kept) == 3


@pytest.fixture
def fleet() -> Fleet:
    """The sample fleet with nothing asked of it yet."""
    return Fleet(sample_fleet().reading)


def test_a_fleet_asked_for_day_after_day_does_not_fill_the_memory(fleet: Fleet) -> None:
    for days in range(KEPT_DAYS + 2):
        fleet.histories(SAMPLE_DAY - timedelta(days=days))
    assert len(fleet._kept.histories) == KEPT_DAYS


def test_a_fleet_asked_for_price_after_price_does_not_fill_the_memory(fleet: Fleet) -> None:
    for more in range(KEPT_DECISIONS + 2):
        fleet.decisions(SAMPLE_DAY, rebuild=600.0 + more)
    assert len(fleet._kept.decisions) == KEPT_DECISIONS
    assert len(fleet._kept.fits) == 1


def test_a_day_that_is_kept_is_answered_by_the_same_fit(fleet: Fleet) -> None:
    day = date(2025, 6, 1)
    assert fleet.fit(day) is fleet.fit(day)
