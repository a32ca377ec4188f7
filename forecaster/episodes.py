"""Lives cut at their water incidents, so that an incident counts from the hour it happened and no earlier.

Whoever treats "was ever swamped" as a property of a life from its first hour finds that incidents protect: only a
unit that lives long gets to be swamped (immortal time bias; Suissa 2008, Am. J. Epidemiol. 167, 492-499). Cutting the
life at each incident, with delayed entry for every piece, is the remedy (Therneau & Grambsch 2000, ch. 3).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from forecaster.errors import ModelError
from forecaster.lives import Histories

EPISODES = {
    "life_id": "object",
    "from_observed_hours": "float64",  # since the record of the life starts, h
    "to_observed_hours": "float64",
    "start_hours": "float64",  # age at the start, h; NaN where the starting age is unknown
    "stop_hours": "float64",  # age at the end, h
    "failed": "bool",  # the bearing failed at the end of this episode
    "incidents_not_prompt": "float64",  # water incidents so far treated late, not at all, or nobody knows when
    "incidents_prompt": "float64",  # water incidents so far treated within 24 clock hours
    "aftermarket": "float64",  # 1 aftermarket parts, 0 maker's parts, NaN unknown
    "salt_share": "float64",
    "tuned_share": "float64",
}
FAILED = ("failed", "found_failed")


def split_episodes(histories: Histories) -> pd.DataFrame:
    """When was each life at risk with how many incidents behind it, and did it fail then?

    Returns one row an episode, columns as in `EPISODES`, in the order of the lives, then of hours. Episodes of one life
    meet end to start, and only the last of a life can have failed. An incident changes the count from its hour on; one
    in the very hour that the life ends counts for a failure at that hour (of one day's events, water comes first), as a
    last episode of no length. Lives without observed hours have no episode, unless they failed: then one of no length.

    Raises ModelError where the hours of a life or of an incident are not recorded.
    """
    lives = histories.lives
    end = lives["hours_observed"].to_numpy()
    _refuse_unknown(lives.loc[np.isnan(end), "life_id"], "hours_observed")
    cuts = _cuts(histories, end)
    life = cuts["life"].to_numpy()
    hour = cuts["hour"].to_numpy()
    last = np.append(life[1:] != life[:-1], True) if len(life) else np.zeros(0, dtype=bool)
    stop = np.where(last, end[life], np.append(hour[1:], 0.0)[: len(hour)])
    failed = last & lives["seen"].isin(FAILED).to_numpy()[life]
    entry = lives["hours_at_entry"].to_numpy()[life]
    episodes = pd.DataFrame(
        {
            "life_id": lives["life_id"].to_numpy()[life],
            "from_observed_hours": hour,
            "to_observed_hours": stop,
            "start_hours": entry + hour,
            "stop_hours": entry + stop,
            "failed": failed,
            "incidents_not_prompt": cuts["other"].to_numpy(),
            "incidents_prompt": cuts["prompt"].to_numpy(),
            "aftermarket": aftermarket(histories)[life],
            "salt_share": lives["salt_share"].to_numpy()[life],
            "tuned_share": lives["tuned_share"].to_numpy()[life],
        }
    ).astype(EPISODES)
    worth: pd.DataFrame = episodes[(stop > hour) | failed]
    return worth.reset_index(drop=True)


def incidents_so_far(histories: Histories) -> pd.DataFrame:
    """How many water incidents each life has behind it at its end.

    Returns (n_lives) rows in the order of ``lives``: ``incidents_not_prompt`` and ``incidents_prompt``.
    """
    prompt = histories.incidents["treatment"] == "prompt"
    ids = histories.incidents["life_id"]
    order = histories.lives["life_id"]
    return pd.DataFrame(
        {
            "incidents_not_prompt": order.map(ids[~prompt].value_counts()).fillna(0.0).astype(float),
            "incidents_prompt": order.map(ids[prompt].value_counts()).fillna(0.0).astype(float),
        }
    )


def aftermarket(histories: Histories) -> np.ndarray:
    """Whether each life has aftermarket parts: (n_lives,) of 1, 0, or NaN where nobody knows."""
    codes = {"aftermarket": 1.0, "oem": 0.0}
    return histories.lives["parts"].map(codes).to_numpy(dtype=float)


def _cuts(histories: Histories, end: np.ndarray) -> pd.DataFrame:
    """Hours at which the counts change: life (place in ``lives``), hour, and counts from there on, prompt and other."""
    place = pd.Series(np.arange(histories.n_lives), index=histories.lives["life_id"])
    incidents = histories.incidents
    _refuse_unknown(incidents.loc[incidents["observed_hours"].isna(), "life_id"], "observed_hours of a water incident")
    life = incidents["life_id"].map(place).to_numpy(dtype=int)
    prompt = (incidents["treatment"] == "prompt").to_numpy(dtype=float)
    begins = np.zeros(histories.n_lives)
    cuts = pd.DataFrame(
        {
            "life": np.concatenate([np.arange(histories.n_lives), life]),
            # an incident of this life cannot be later than its end; a rounding error of interpolation may say so
            "hour": np.concatenate([begins, np.minimum(incidents["observed_hours"].to_numpy(), end[life])]),
            "prompt": np.concatenate([begins, prompt]),
            "other": np.concatenate([begins, 1.0 - prompt]),
        }
    )
    changes = cuts.groupby(["life", "hour"], as_index=False, sort=True)[["prompt", "other"]].sum()
    changes[["prompt", "other"]] = changes.groupby("life")[["prompt", "other"]].cumsum()
    return changes


def _refuse_unknown(life_ids: pd.Series, column: str) -> None:
    if len(life_ids):
        raise ModelError(
            f"{column} is not known for life {life_ids.iloc[0]} (and {len(life_ids) - 1} more): "
            "every life and incident needs engine hours. Add a meter reading of its craft."
        )
