"""An invented fleet of ten craft and two seasons, 2021 and 2022: enough for every screen to have an answer."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from forecaster import simulate_fleet, write_fleet

AS_OF = date(2022, 11, 1)  # past its last season, and long past for whoever runs the tests
BAD_ROW = "C001,2022-07-01,-77,no"  # of hours.csv: a meter below nought is refused


def ten_craft_folder(place: Path, bad_row: bool = False) -> Path:
    """The fleet's folder below `place`; with one bad row if wanted."""
    folder = place / "ten_craft"
    write_fleet(simulate_fleet(craft=10, seasons=2, seed=4, first_year=2021).records, folder)
    if bad_row:
        with (folder / "hours.csv").open("a", encoding="utf-8") as rows:
            rows.write(f"{BAD_ROW}\n")
    return folder
