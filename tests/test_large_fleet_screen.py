"""How much of a large fleet goes to the browser: its table grows with the fleet, and nothing else of the page does."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from forecaster import sample_fleet_folder, simulate_fleet, write_fleet
from tests.opened_screen import LANDING, open_screen

CRAFT, DAY = 150, date(2026, 11, 1)
TABLE, PICTURE = "dataframe", "plotly_chart"
MOST_A_ROW = 800  # bytes of one unit's row of the table: some 500, as long as its reasons are


def sent(app: AppTest) -> Counter[str]:
    """Bytes of a page by kind of element."""
    found: Counter[str] = Counter()
    for element in elements(app._tree):
        found[element.type] += element.proto.ByteSize()
    return found


def elements(block: Any) -> Iterator[Any]:
    if not hasattr(block, "children"):
        yield block
        return
    for child in block.children.values():
        yield from elements(child)


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> tuple[Counter[str], Counter[str]]:
    """What goes to the browser of the sample's first page, and of a large fleet's."""
    folder = tmp_path_factory.mktemp("large")
    write_fleet(simulate_fleet(craft=CRAFT, seasons=1, seed=5, first_year=DAY.year).records, folder)
    with pytest.MonkeyPatch.context() as patch:
        of_each = [
            sent(open_screen(patch, source, LANDING, as_of=DAY.isoformat()))
            for source in (sample_fleet_folder(), Path(folder))
        ]
    return of_each[0], of_each[1]


def test_the_picture_of_a_large_fleet_weighs_hardly_more_than_the_samples(
    pages: tuple[Counter[str], Counter[str]],
) -> None:
    small, large = pages
    assert 0 < large[PICTURE] < 1.5 * small[PICTURE]


def test_a_unit_more_costs_its_row_of_the_table(pages: tuple[Counter[str], Counter[str]]) -> None:
    small, large = pages
    assert small[TABLE] < large[TABLE] < CRAFT * MOST_A_ROW


def test_all_else_of_the_page_stays_bounded(pages: tuple[Counter[str], Counter[str]]) -> None:
    of_all_else = [page.total() - page[PICTURE] - page[TABLE] for page in pages]
    assert of_all_else[1] < 3 * of_all_else[0]
