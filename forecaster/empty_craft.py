"""Craft in service with no unit on them: nothing can be forecast of these, so that they are named, not left out.

As a rule a row is missing in fittings.csv: a unit was swapped and only its removal entered. What happened on such a
craft since, water above all, counts for no unit, and is told with it.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

import pandas as pd

from forecaster.findings import treatment_of
from forecaster.lives import CraftWithoutUnit, Remark, UnplacedWater
from forecaster.records import FleetRecords


def craft_without_unit(
    known: FleetRecords, lives: pd.DataFrame, stretches: pd.DataFrame, remarks: Iterable[Remark], as_of: date
) -> tuple[CraftWithoutUnit, ...]:
    """The craft in service on the day on which no unit sits, by name.

    `known`: records as they stood that day. `lives`, `stretches`: columns as in LIVES and STRETCHES.
    """
    day, craft = pd.Timestamp(as_of), known.craft
    serves = craft["retired_on"].isna() & ~(craft["in_service_on"] > day)
    empty = sorted(set(craft.loc[serves, "craft_id"]) - set(lives.loc[lives["in_service"], "craft_id"]))
    if not empty:
        return ()
    sat = stretches[stretches["craft_id"].isin(empty)].sort_values(["to_on", "from_on"], kind="stable")
    last = sat.drop_duplicates("craft_id", keep="last").set_index("craft_id")
    unit_of = lives.set_index("life_id")["unit_id"]
    told = [(remark.about, remark.text) for remark in remarks]
    found = []
    for craft_id in empty:
        since = last["to_on"].get(craft_id)
        found.append(
            CraftWithoutUnit(
                craft_id,
                None if since is None else str(unit_of[last["life_id"][craft_id]]),
                None if since is None else since.date(),
                _water(known.water, craft_id, since),
                tuple(text for about, text in told if about == craft_id),
            )
        )
    return tuple(found)


def _water(water: pd.DataFrame, craft_id: str, since: pd.Timestamp | None) -> tuple[UnplacedWater, ...]:
    """What got into a craft after the day on which its last unit came off, in order of time."""
    own = water[water["craft_id"] == craft_id]
    own = (own if since is None else own[own["happened_on"] > since]).sort_values(["happened_on", "kind"])
    treatments = treatment_of(own["treated"], own["treated_within_h"])
    rows = zip(own["happened_on"], own["kind"], treatments, strict=True)
    return tuple(UnplacedWater(on.date(), str(kind), str(treatment)) for on, kind, treatment in rows)
