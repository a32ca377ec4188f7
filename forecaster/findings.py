"""What people wrote about a bearing or an incident -> the codes that the life models read."""

from __future__ import annotations

import numpy as np
import pandas as pd

PROMPT_H = 24.0  # clock hours: the data contract's definition of a prompt treatment
NOISY = ("rough", "rusted")
SPUN_QUIET = ("quiet", "slight")  # a little bearing noise is normal
# Days after water within which a quiet spin says nothing of the rust that this water began: rust needs time as well as
# water. Common practice, no source.
RUST_UNHEARD_DAYS = 2


def seen_at_opening(reason: str, bearing: str) -> str:
    """What an opening that ended a life says about its bearing: one of ``lives.SEEN``.

    A unit opened because it failed in use counts as a failed bearing unless the bearing was found sound (it failed for
    some other cause); one opened for another reason and found failed had failed at an unknown age before. Rough or
    rusted counts as noticed in use only where that is why it was opened. Unknown: it had at least not failed.
    """
    if bearing == "sound":
        return "sound"
    if reason == "failure":
        return "failed"
    if bearing == "failed":
        return "found_failed"
    if bearing in NOISY:
        return "symptom" if reason == "symptom" else "defective"
    return "alive"


def ends_life(outcome: str, bearing: str) -> bool:
    """Whether an opening ends the unit's life.

    "closed" means put back as it was, and the life goes on. A bearing that was found failed cannot have been: then the
    life ends all the same, and what ran afterwards is taken for a life of unknown starting age.
    """
    return outcome != "closed" or bearing == "failed"


def state_when_closed(bearing: str) -> str:
    """What a unit that was opened and put back as it was is known to be: "sound", "defective", or "" for unknown."""
    return "defective" if bearing in NOISY else "sound" if bearing == "sound" else ""


def found_when_closed(bearing: object) -> str:
    """What a unit that was put back although it was not sound was found to be, in a word: as recorded, no more."""
    return str(bearing) if bearing in NOISY else "defective"


def shows_it_runs(spin: pd.Series, opened: pd.Series) -> pd.Series:
    """Whether a look shows that the bearing had not failed: it spun quiet or slight, or it was opened and put back.

    A rattle does not: by hand, what has just failed can sound like what is only rough. A look without a spin does not.
    """
    return opened | spin.isin(SPUN_QUIET)


def treatment_of(treated: pd.Series, treated_within_h: pd.Series) -> np.ndarray:
    """How incidents were treated: codes of ``lives.TREATMENTS``, (n,).

    Treated within `PROMPT_H` clock hours: prompt; later: late; treated, but nobody knows when: unknown, since it may
    be either; not treated: none.
    """
    yes = (treated == "yes").to_numpy()
    within = treated_within_h.to_numpy(dtype=float)
    return np.select(
        [yes & (within <= PROMPT_H), yes & (within > PROMPT_H), (treated == "no").to_numpy()],
        ["prompt", "late", "none"],
        default="unknown",
    ).astype(object)


def says_nothing_of_rust(days_since_water: int, spin: str) -> bool:
    """Whether a spin so many days after water is too soon to tell of the rust that this water began.

    Only a quiet one is: a rattle counts whenever it is heard.
    """
    return spin in SPUN_QUIET and 0 <= days_since_water <= RUST_UNHEARD_DAYS
