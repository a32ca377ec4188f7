"""A fleet told in other words: its rows in another order, its craft and units renamed, all its days years later."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pandas as pd

from forecaster.records import TABLES, FleetRecords


def in_another_order(records: FleetRecords, seed: int) -> FleetRecords:
    """The same rows of every file, shuffled."""
    tables = {name: records.table(name) for name in TABLES}
    shuffled = {name: frame.sample(frac=1.0, random_state=seed) for name, frame in tables.items()}
    numbered = {name: frame.set_axis(tables[name].index) for name, frame in shuffled.items()}
    return replace(records, **numbered)


def renamed(records: FleetRecords, names: Mapping[str, str]) -> FleetRecords:
    """The same records with other names of craft and units; what is not in `names` keeps its own."""

    def under_new_names(frame: pd.DataFrame) -> pd.DataFrame:
        columns = [column for column in ("craft_id", "unit_id") if column in frame]
        return frame.assign(**{column: frame[column].map(lambda name: names.get(name, name)) for column in columns})

    return replace(records, **{name: under_new_names(records.table(name)) for name in TABLES})


def years_later(records: FleetRecords, years: int) -> FleetRecords:
    """The same records with every day so many years later; after 28 years weekdays and leap years fall alike again."""

    def moved(frame: pd.DataFrame) -> pd.DataFrame:
        days = [column for column in frame if frame[column].dtype.kind == "M"]
        return frame.assign(**{column: frame[column] + pd.DateOffset(years=years) for column in days})

    return replace(records, **{name: moved(records.table(name)) for name in TABLES})
