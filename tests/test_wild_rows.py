"""One row gone wild never moves the risk of units on other craft by more than a stated amount in silence.

What a single right row may move sets the amounts: left out one by one, a life moves another unit by up to 5.5 points in
the small fleet and 4.4 in the sample. ``python -m tests.wild_rows`` measures all kinds of cells and prints the largest.
"""

from __future__ import annotations

import pytest

from tests.wild_rows import (
    NUMBERS,
    WORDS_AND_DAYS,
    WildCell,
    WildFleet,
    sample_in_the_wild,
    sampled,
    small_in_the_wild,
)

# Points (hundredths) of the chance to fail within 50 h. A number gone wild may move no more than a life that is left
# out; a word, a name or a day may make one life another: a failure of one unit that of another.
MOST_BY_NUMBERS, MOST_BY_WORDS_AND_DAYS = 6.0, 20.0
MOST_IN_THE_SAMPLE = {NUMBERS: 5.0, WORDS_AND_DAYS: 10.0}
IN_THE_SMALL = {NUMBERS: MOST_BY_NUMBERS, WORDS_AND_DAYS: MOST_BY_WORDS_AND_DAYS}


@pytest.fixture(scope="module")
def small() -> WildFleet:
    return small_in_the_wild()


@pytest.fixture(scope="module")
def sample_fleet_in_the_wild() -> WildFleet:
    return sample_in_the_wild()


def too_silent(fleet: WildFleet, cells: list[WildCell], most: dict[str, float]) -> list[str]:
    moves = [fleet.moved_by(cell, in_silence=True) for cell in cells]
    return [f"{100 * one.by:.1f} {one.cell}" for one in moves if 100 * one.by > most[one.cell.kind]]


def test_the_fleets_have_no_problem_before(small: WildFleet, sample_fleet_in_the_wild: WildFleet) -> None:
    assert not small.problems
    assert not sample_fleet_in_the_wild.problems


def test_a_wild_cell_of_any_kind_bends_nobody_in_silence(small: WildFleet) -> None:
    cells = sampled(small, 1, seed=1)
    assert len({(cell.table, cell.column) for cell in cells}) > 25
    assert too_silent(small, cells, IN_THE_SMALL) == []


def test_no_stated_age_bends_anybody_in_silence(small: WildFleet) -> None:
    ages = [cell for cell in small.cells() if (cell.table, cell.column) == ("fittings", "hours_at_fitting")]
    assert len(ages) >= 10
    assert too_silent(small, ages, IN_THE_SMALL) == []


# Each of these moved another unit of the sample by 4 to 15 points without a word before it was asked about.
ONCE_SILENT = [
    WildCell("fittings", 2, "hours_at_fitting", "137", "137000", "times 1000"),
    WildCell("fittings", 2, "hours_at_fitting", "137", "1370", "times 10"),
    WildCell("fittings", 14, "hours_at_fitting", "88", "880", "times 10"),
    WildCell("fittings", 5, "fitted_on", "2024-03-17", "2014-03-20", "ten years"),
    WildCell("craft", 11, "retired_on", "2025-10-27", "2024-10-27", "a year"),
    WildCell("rebuilds", 51, "opened_on", "2025-09-06", "2024-09-06", "a year"),
    WildCell("rebuilds", 19, "opened_on", "2024-08-27", "2025-08-27", "a year"),
    WildCell("rebuilds", 22, "opened_on", "2024-09-03", "2024-10-03", "a month"),
]


@pytest.mark.parametrize("cell", ONCE_SILENT, ids=str)
def test_what_once_bent_others_in_silence_is_told(sample_fleet_in_the_wild: WildFleet, cell: WildCell) -> None:
    assert sample_fleet_in_the_wild.texts[cell.table].loc[cell.row, cell.column] == cell.was
    assert sample_fleet_in_the_wild.moved_by(cell).told


@pytest.mark.parametrize("cell", ONCE_SILENT[:5], ids=str)
def test_an_age_that_is_asked_about_moves_no_more_than_a_life_left_out(
    sample_fleet_in_the_wild: WildFleet, cell: WildCell
) -> None:
    assert 100 * sample_fleet_in_the_wild.moved_by(cell).by <= MOST_IN_THE_SAMPLE[NUMBERS]
