"""What is unsafe as the records stand: each reason, and what ends it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from forecaster.flooding_steps import RECHECK_OIL_H
from forecaster.lives import CHECKS, INCIDENTS, Histories, frame
from forecaster.unsafe import JUST_NOW_H, check_first, found_unsafe, not_to_run
from tests.test_forecast import AS_OF, running

LIFE = "U000001/1"  # 100 h of record
Event = tuple[str, float, dict[str, Any]]


def look(day: str, hours: float, **told: Any) -> Event:
    return day, hours, {"spin": "not_done", "known_state": "", "oil": "unknown", **told}


def water(day: str, hours: float, treatment: str = "none", oil: str = "unknown", treated: str = "no") -> Event:
    return day, hours, {"kind": "swamped", "water": "salt", "oil": oil, "treated": treated, "treatment": treatment}


def of(*events: Event) -> Histories:
    checks = [
        {"life_id": LIFE, "checked_on": pd.Timestamp(day), "observed_hours": hours, **told}
        for day, hours, told in events
        if "spin" in told
    ]
    incidents = [
        {"life_id": LIFE, "craft_id": "C1", "happened_on": pd.Timestamp(day), "observed_hours": hours, **told}
        for day, hours, told in events
        if "kind" in told
    ]
    both = (frame(INCIDENTS, incidents), frame(CHECKS, checks))
    return Histories(AS_OF, running([100.0]).lives, *both)


def asked(*events: Event) -> list[str]:
    return [reason.act for reason in found_unsafe(of(*events)).get(LIFE, ())]


def test_nothing_told_is_nothing_unsafe() -> None:
    assert found_unsafe(of()) == {}


def test_a_rattle_asks_for_a_rebuild() -> None:
    found = found_unsafe(of(look("2026-08-01", 60.0, spin="rattle")))[LIFE]
    why = "rattled when spun by hand on 2026-08-01, 40 h ago: do not run it"
    assert [(one.act, one.why, one.stops) for one in found] == [("rebuild", why, True)]


def test_a_quiet_spin_does_not_undo_a_rattle_but_a_sound_bearing_does() -> None:
    rattle = look("2026-08-01", 60.0, spin="rattle")
    assert asked(rattle, look("2026-08-09", 70.0, spin="quiet")) == ["rebuild"]
    assert asked(rattle, look("2026-08-09", 70.0, known_state="sound")) == []


def test_a_little_noise_is_normal() -> None:
    assert asked(look("2026-08-01", 60.0, spin="slight")) == []


@pytest.mark.parametrize(("bearing", "found"), [("rough", "rough"), ("rusted", "rusted"), ("", "defective")])
def test_a_bearing_put_back_asks_for_a_rebuild_and_is_called_what_was_recorded(bearing: str, found: str) -> None:
    (reason,) = found_unsafe(of(look("2026-08-01", 60.0, known_state="defective", bearing=bearing)))[LIFE]
    assert reason.act == "rebuild"
    assert reason.found == f"found {found} and put back on 2026-08-01, 40 h ago"


@pytest.mark.parametrize(
    ("treated", "treatment", "acts"),
    [
        ("no", "none", ["check"]),
        ("unknown", "unknown", ["check"]),
        ("yes", "prompt", []),
        ("yes", "late", []),
        ("yes", "unknown", []),  # changed until clear, nobody knows when
    ],
)
def test_milky_oil_asks_for_a_check_unless_it_was_changed_until_clear(
    treated: str, treatment: str, acts: list[str]
) -> None:
    assert asked(water("2026-06-01", 20.0, treatment, oil="milky", treated=treated)) == acts


def test_milky_oil_counts_until_clear_oil_is_told() -> None:
    milky, clear = look("2026-08-01", 60.0, oil="milky"), look("2026-08-05", 62.0, oil="clear")
    assert asked(milky) == ["check"]
    assert asked(milky, clear) == []
    assert asked(clear, look("2026-08-09", 70.0, oil="milky")) == ["check"]


def test_untreated_water_just_now_stops_it_until_it_is_treated_whatever_is_heard_since() -> None:
    wet = water("2026-09-01", 95.0)
    (found,) = found_unsafe(of(wet))[LIFE]
    assert (found.code, found.act, found.asks, found.stops) == ("untreated", "check", "treat", True)
    ends = "do not start it before it is treated"
    assert found.why == f"untreated water on 2026-09-01, 5 h ago, not spun since: {ends}"
    assert asked(wet, look("2026-09-04", 95.0, spin="slight")) == ["leave"]  # the bearing was heard, the engine is wet
    assert asked(look("2026-08-30", 94.0, spin="quiet"), wet) == ["check"]
    assert asked(water("2026-09-01", 95.0, "prompt", treated="yes")) == []


def test_water_of_which_nobody_knows_the_treatment_counts_as_untreated() -> None:
    (found,) = found_unsafe(of(water("2026-09-01", 95.0, "unknown", treated="unknown")))[LIFE]
    assert (found.code, found.asks) == ("treatment_unknown", "treat")


@pytest.mark.parametrize(("treatment", "soon"), [("late", "late"), ("unknown", "at an unknown time")])
def test_water_treated_late_asks_for_a_look_before_the_next_ride_until_there_was_one(treatment: str, soon: str) -> None:
    wet = water("2026-09-01", 95.0, treatment, treated="yes")
    (found,) = found_unsafe(of(wet))[LIFE]
    assert (found.code, found.act, found.asks, found.stops) == ("treated_late", "check", "first", False)
    assert found.found == f"water treated {soon} on 2026-09-01, 5 h ago, not spun since"
    assert asked(wet, look("2026-09-04", 95.0, spin="quiet")) == []
    assert asked(wet, look("2026-09-02", 95.0, known_state="sound")) == []


def test_a_spin_within_two_days_of_water_says_too_little() -> None:
    wet, soon = water("2026-09-01", 95.0), look("2026-09-03", 95.0, spin="quiet")
    (found,) = found_unsafe(of(wet, soon))[LIFE]
    assert found.found == "untreated water on 2026-09-01, 5 h ago, spun within two days of it alone, which says little"
    assert asked(wet, soon, look("2026-09-05", 96.0, spin="quiet")) == ["leave"]


def test_water_is_just_now_as_long_as_the_oil_is_looked_at_again() -> None:
    assert RECHECK_OIL_H[-1] == JUST_NOW_H
    assert asked(water("2026-09-01", 100.0 - JUST_NOW_H)) == ["check"]
    assert asked(water("2026-08-30", 99.0 - JUST_NOW_H)) == []


def test_days_alone_do_not_end_it() -> None:
    assert asked(water("2026-05-01", 95.0)) == ["check"]


def test_of_several_waters_the_gravest_is_told_and_nothing_is_asked_less_for_it() -> None:
    heard = (water("2026-08-20", 94.0), look("2026-08-25", 94.0, spin="quiet"))
    late = water("2026-09-01", 95.0, "late", treated="yes")
    assert [one.code for one in found_unsafe(of(*heard, late))[LIFE]] == ["untreated", "treated_late"]
    assert asked(*heard, late) == ["leave", "check"]


def test_the_gravest_comes_first() -> None:
    events = (water("2026-09-01", 95.0, oil="milky"), look("2026-09-02", 96.0, spin="rattle"))
    assert asked(*events) == ["rebuild", "check", "check"]


def test_a_unit_that_must_not_run_is_not_asked_to_be_checked_before_a_ride() -> None:
    late = water("2026-09-01", 95.0, "late", oil="clear", treated="yes")
    milky = found_unsafe(of(late, look("2026-09-01", 95.0, oil="milky")))[LIFE]
    assert not_to_run(milky) == ("oil milky on 2026-09-01, 5 h ago, not clear since",)
    assert check_first(milky) == ()
    assert check_first(milky[1:]) == ("water treated late on 2026-09-01, 5 h ago, not spun since",)


def test_units_of_unknown_starting_age_are_looked_at_too() -> None:
    rattling = of(look("2026-08-01", 60.0, spin="rattle")).with_lives(hours_at_entry=np.nan)
    assert list(found_unsafe(rattling)) == [LIFE]
