"""Lives written by hand for the tests of the life models: hours, incidents and checks, no records needed."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

import numpy as np
import pandas as pd

from forecaster.findings import RUST_UNHEARD_DAYS
from forecaster.lives import CHECKS, INCIDENTS, Histories, frame, lives_by_hours
from forecaster.priors import INDEX, PARAMETERS

DAY = pd.Timestamp("2024-07-01")
LOOKED_ON = DAY + pd.Timedelta(days=RUST_UNHEARD_DAYS + 1)  # late enough after water for a quiet spin to tell


@dataclass
class BareLife:
    """One life: its end, what was seen, and what happened on the way (ages in hours)."""

    hours: float
    seen: str = "alive"
    entry: float = 0.0
    incidents: list[tuple[float, str]] = field(default_factory=list)  # (age, treatment)
    checks: list[tuple[float, str]] = field(default_factory=list)  # (age, spin, or "sound" / "defective" if opened)
    parts: str = "oem"
    salt: float = 0.0
    tuned: float = 0.0
    last_known_running: float = 0.0


def histories_of(*lives: BareLife) -> Histories:
    """Histories of lives written by hand."""
    bare = lives_by_hours(
        np.array([x.hours for x in lives]),
        [x.seen for x in lives],
        np.array([x.entry for x in lives]),
        as_of=date(2024, 10, 31),
        parts=[x.parts for x in lives],
        salt_share=[x.salt for x in lives],
        tuned_share=[x.tuned for x in lives],
        last_known_running=[x.last_known_running for x in lives],
    )
    names = list(bare.lives["life_id"])
    incidents = [
        {
            "life_id": name,
            "craft_id": "",
            "happened_on": DAY,
            "observed_hours": age - life.entry,
            "observed_hours_low": age - life.entry,
            "observed_hours_high": age - life.entry,
            "kind": "swamped",
            "water": "salt",
            "oil": "unknown",
            "treatment": treatment,
            "oil_water_ppm": np.nan,
        }
        for name, life in zip(names, lives, strict=True)
        for age, treatment in life.incidents
    ]
    checks = [
        {
            "life_id": name,
            "checked_on": LOOKED_ON,
            "observed_hours": age - life.entry,
            "spin": "not_done" if found in ("sound", "defective") else found,
            "known_state": found if found in ("sound", "defective") else "",
            "shaft_play_mm": np.nan,
            "boost_kpa": np.nan,
            "slip": np.nan,
            "oil": "unknown",
            "oil_water_ppm": np.nan,
        }
        for name, life in zip(names, lives, strict=True)
        for age, found in life.checks
    ]
    return Histories(bare.as_of, bare.lives, frame(INCIDENTS, incidents), frame(CHECKS, checks))


def theta(**values: float) -> np.ndarray:
    """A parameter vector from natural values: shape_1, scale_1, shape_2, scale_2, jump_untreated, ... see below."""
    natural = {
        "shape_1": 1.8,
        "scale_1": 400.0,
        "shape_2": 1.3,
        "scale_2": 40.0,
        "jump_untreated": 0.6,
        "jump_treated": 0.1,
        "ratio_aftermarket": 2.0,
        "ratio_salt": 1.3,
        "ratio_tuned": 1.3,
        "rate_noticed": 0.003,
        "lasting": 1.0,
        "sensitivity": 0.9,
        "specificity": 0.96,
    }
    unknown = set(values) - set(natural)
    if unknown:
        raise KeyError(unknown)
    natural |= values
    vector = np.empty(len(PARAMETERS))
    for place, (name, value) in enumerate(natural.items()):
        is_chance = name in ("sensitivity", "specificity")
        vector[place] = np.log(value / (1 - value)) if is_chance else np.log(value)
    # The names above follow the order of PARAMETERS except the lasting ratio, which stands last of the rates there.
    assert INDEX["lasting_log_ratio"] == 10
    return vector
