"""What became of lives after a day: the other half of a backtest, told by the records of a later day.

A life is the same in both by its ``life_id``: the number of a life within its unit does not change when later ones are
added. Its hours are matched on its own record (``hours_observed``), not by age, since an age may become known later.
Hours count from the last meter reading known on the day of the forecast, as the forecast's own do.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from forecaster.episodes import FAILED
from forecaster.lives import Histories

FAILED_IN_WINDOW = "failed"
OPENED_DEFECTIVE = "opened defective"
HAPPENED = (
    FAILED_IN_WINDOW,
    "ran through",
    OPENED_DEFECTIVE,  # opened before the end of the window: rusted or rough, not failed
    "opened",  # opened before the end of the window: sound, or nobody wrote down what was found
    "out of sight",  # still running or on the shelf: its record stops before the end of the window
    "unknown",  # found failed, with no telling whether within the window; or no hours can be said
)
_OPENED_AS = {"symptom": OPENED_DEFECTIVE, "defective": OPENED_DEFECTIVE, "sound": "opened"}


def after_hours(then: Histories, later: Histories, hours: float) -> pd.DataFrame:
    """What became of each life of `then` within `hours` engine hours, by the records of `later`?

    One row a life, in the order of ``then.lives``: ``ran`` engine hours from then to the failure, or to where it is
    last known not to have failed (NaN: the later record does not tell); ``failed``; ``happened``, one of `HAPPENED`.

    A bearing *found* failed counts as failed where it was opened within the window; where it was last known to run only
    after the window, as run through; between the two nobody knows, and it is out of sight from when it last ran.
    """
    before = then.lives["hours_observed"].to_numpy()
    life = _same_lives(then, later)
    ran = life["hours_observed"].to_numpy() - before
    known_to_run = life["last_known_running"].to_numpy() - before
    found_late = (life["seen"] == "found_failed").to_numpy() & (ran > hours)
    ran = np.where(found_late, np.clip(known_to_run, 0.0, None), ran)
    untold = ~(ran >= 0.0)  # NaN, or less than on the day of the forecast
    failed = life["seen"].isin(FAILED).to_numpy() & ~found_late & ~untold & (ran <= hours)
    happened = np.select(
        [untold, failed, ran >= hours, found_late],
        ["unknown", FAILED_IN_WINDOW, "ran through", "unknown"],
        default=_ended(life),
    )
    return pd.DataFrame({"ran": np.where(untold, np.nan, ran), "failed": failed, "happened": happened})


def after_season(then: Histories, later: Histories, closes: date, reopens: date) -> pd.DataFrame:
    """What became of each life of `then` by the close of the season, by the records of `later`?

    Columns as of ``after_hours``, ``ran`` being the share of the days from then to `closes`: 1 or more ran through.

    A unit that came off for good has run until that day, whenever it was opened. A bearing *found* failed after the
    close, before `reopens`, failed in the season, when it ran; found later still, nobody knows.
    """
    life = _same_lives(then, later)
    day = pd.Timestamp(then.as_of)
    days = (pd.Timestamp(closes) - day).days
    off = later.stretches.groupby("life_id")["to_on"].max().reindex(life["life_id"])
    last_on = off.fillna(pd.Timestamp(later.as_of)).to_numpy()
    ended = life["ended_on"].to_numpy()
    goes_on = life["ended_by"].isin(["running", "stored"]).to_numpy()
    until = np.minimum(ended, last_on)
    found = (life["seen"] == "found_failed").to_numpy()
    found_in_break = found & (until > np.datetime64(closes)) & (ended < np.datetime64(reopens))
    found_late = found & (until > np.datetime64(closes)) & ~found_in_break
    ran = (until - day.to_datetime64()) / np.timedelta64(days, "D")
    ran = np.select([found_in_break, found_late], [1.0, np.nextafter(1.0, 0.0)], default=ran)
    untold = ~(ran >= 0.0)
    failed = life["seen"].isin(FAILED).to_numpy() & ~found_late & ~untold & (ran <= 1.0)
    happened = np.select(
        [untold, failed, ran >= 1.0, found_late, goes_on],
        ["unknown", FAILED_IN_WINDOW, "ran through", "unknown", "out of sight"],
        default=_ended(life),
    )
    return pd.DataFrame({"ran": np.where(untold, np.nan, ran), "failed": failed, "happened": happened})


def _same_lives(then: Histories, later: Histories) -> pd.DataFrame:
    """The later rows of the lives of `then`, in their order; blank where there is none."""
    return later.lives.set_index("life_id").reindex(then.lives["life_id"]).reset_index()


def _ended(life: pd.DataFrame) -> np.ndarray:
    """How each life went out of sight, for those that did."""
    opened = life["seen"].map(_OPENED_AS).fillna("opened")
    goes_on = life["ended_by"].isin(["running", "stored"])
    answer: np.ndarray = opened.mask(goes_on, "out of sight").to_numpy(dtype=object)
    return answer
