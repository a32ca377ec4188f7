"""Random numbers of a craft that follow what is on record of it: not its name, its place in a file, or the century.

Draws of hours ahead are made for each craft from a stream of its own. Its seed is a digest of the craft's records as
known on a day, all dates in days before that day. So a fleet whose rows are sorted otherwise, whose craft are renamed
or whose dates all move by as many years gets the same draws to the last bit, and two craft share a stream only where
what is on record of their readings, fittings and kind is the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from hashlib import sha256

import numpy as np
import pandas as pd

from forecaster.records import FleetRecords

DESCRIBED_BY = ("water", "tune")  # of craft.csv: no name, no money, nothing that is only the owner's business


def craft_seeds(records: FleetRecords, stretches: pd.DataFrame, as_of: date) -> np.ndarray:
    """A seed for each craft of craft.csv, (craft,), from what is known of it on a day.

    `stretches`: as ``season_shape.engine_hours_between_readings`` gives them.
    """
    craft = records.craft
    fittings = records.fittings
    fittings = fittings[fittings["fitted_on"] <= pd.Timestamp(as_of)]
    fitted = _days_before(fittings["fitted_on"], as_of)
    own_fittings = _by_craft(fittings["craft_id"], [fitted, _in_millionths(fittings["hours_at_fitting"])])
    today = as_of.toordinal()
    began, ended = (today - stretches[end].to_numpy(dtype=np.int64) for end in ("after", "until"))
    ran = [began, ended, _in_millionths(stretches["hours"])]
    own_stretches = _by_craft(stretches["craft_id"], ran)
    in_service = _days_before(craft["in_service_on"].where(craft["in_service_on"] <= pd.Timestamp(as_of)), as_of)
    seeds = []
    for days, row in zip(in_service, craft.to_dict("records"), strict=True):
        described = "|".join(str(row[column]) for column in DESCRIBED_BY)
        own = (own_stretches.get(row["craft_id"], b""), own_fittings.get(row["craft_id"], b""))
        digest = sha256(b"|".join([described.encode(), str(days).encode(), *own])).digest()
        seeds.append(int.from_bytes(digest[:8], "big"))
    return np.array(seeds, dtype=np.uint64)


def _by_craft(craft_ids: pd.Series, columns: Sequence[np.ndarray]) -> dict[str, bytes]:
    """Each craft's rows, sorted, as bytes that are the same on every machine."""
    table = np.column_stack([np.asarray(column, dtype="<i8") for column in columns])
    order = np.lexsort(table.T)
    where = pd.Series(craft_ids.to_numpy()[order]).groupby(craft_ids.to_numpy()[order]).indices
    return {str(craft_id): table[order[rows]].tobytes() for craft_id, rows in where.items()}


def _days_before(days: pd.Series, as_of: date) -> np.ndarray:
    """Days from each to `as_of`; -1 for a day that is not known."""
    before: np.ndarray = (pd.Timestamp(as_of) - days).dt.days.fillna(-1).to_numpy(dtype=np.int64)
    return before


def _in_millionths(hours: pd.Series) -> np.ndarray:
    """Hours as whole numbers: what a file's rounding leaves is the same number."""
    return np.round(hours.fillna(-1.0).to_numpy(dtype=float) * 1e6).astype(np.int64)
