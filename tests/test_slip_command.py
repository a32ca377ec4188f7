"""`forecaster slip`: which clutches to reset, each with its interval, and that low slip replaces nothing."""

from __future__ import annotations

import json
from functools import partial
from pathlib import Path

from forecaster import Fleet
from tests.command_answers import answer_to
from tests.conftest import ROOT, SAMPLE_DAY
from tests.test_commands import documented, keys_of

SAMPLE = str(ROOT / "sample_fleet")
DAY = ("--as-of", SAMPLE_DAY.isoformat())
run = partial(answer_to, "slip")


def answered(*words: str) -> dict:
    status, out, err = run(*words, "--json")
    assert (status, err) == (0, "")
    answer: dict = json.loads(out)
    return answer


def with_reading(fleet: Path, unit_id: str, slip: float) -> str:
    """The fleet with two readings of one unit's clutch in its last weeks."""
    rows = "".join(f"{unit_id},{day},,,,{slip},,\n" for day in ("2026-10-20", "2026-10-28"))
    with (fleet / "checks.csv").open("a", encoding="utf-8") as checks:
        checks.write(rows)
    return str(fleet)


def test_every_unit_in_service_is_told_with_its_craft_and_interval(sample: Fleet) -> None:
    lives = sample.histories(SAMPLE_DAY).in_service().lives
    units = answered(SAMPLE, *DAY)["units"]
    assert {(u["unit_id"], u["craft_id"]) for u in units} == set(zip(lives["unit_id"], lives["craft_id"], strict=True))
    assert all(u["slip_now"]["low"] < u["slip_now"]["mean"] < u["slip_now"]["high"] for u in units)


def test_a_clutch_read_far_too_low_comes_first_and_is_to_be_reset_not_replaced(sample_copy: Path) -> None:
    source = with_reading(sample_copy, "S0020", 7.0)
    first = answered(source, *DAY)["units"][0]
    assert (first["unit_id"], first["action"], first["hours_to_too_low"]["p50"]) == ("S0020", "reset now", 0)
    text = " ".join(run(source, *DAY)[1].split())
    assert text.startswith(f"{SAMPLE_DAY}: of 26 clutches, 1 should be reset now and ")
    assert "Most likely too low is S0020 on craft C020" in text.split("Low slip is reset;")[0]
    assert "reset the clutch to about 14 lb·ft or what its manual says; that is no reason for a new unit" in text


def test_the_hours_looked_ahead_move_the_advice() -> None:
    near, far = (
        {u["unit_id"]: u["chance_too_low_soon"] for u in answered(SAMPLE, *DAY, "--hours", hours)["units"]}
        for hours in ("20", "150")
    )
    assert all(near[unit] <= far[unit] for unit in near)
    assert "leave" not in {u["action"] for u in answered(SAMPLE, *DAY, "--hours", "150")["units"][:1]}


def test_the_readings_behind_it_are_told() -> None:
    fit = answered(SAMPLE, *DAY)["fit"]
    text = " ".join(run(SAMPLE, *DAY)[1].split())
    assert f"Learned from {fit['readings']} slip readings of {fit['clutches']} clutch settings" in text


def test_a_fleet_without_slip_readings_is_told_general_experience(sample_copy: Path) -> None:
    (sample_copy / "checks.csv").unlink()
    (sample_copy / "rebuilds.csv").unlink()
    text = " ".join(run(str(sample_copy), *DAY)[1].split())
    assert "Mostly general experience." in text


def test_a_later_reading_changes_nothing_earlier(sample_copy: Path) -> None:
    early = ("--as-of", "2026-09-01")
    before = answered(SAMPLE, *early)
    assert answered(with_reading(sample_copy, "S0020", 7.0), *early) == before


def test_a_day_before_the_fleet_began_exits_with_1_and_hours_of_nonsense_with_2() -> None:
    status, out, err = run(SAMPLE, "--as-of", "1999-01-01")
    assert (status, out) == (1, "")
    assert "No unit is in service on 1999-01-01" in err
    status, out, err = run(SAMPLE, "--hours", "none")
    assert (status, out) == (2, "")
    assert "'none' is not a number of engine hours from 0.1 to 5,000" in err


def test_its_json_is_documented_key_for_key() -> None:
    assert keys_of(answered(SAMPLE, *DAY)) == keys_of(documented("slip"))


def test_the_text_fits_a_narrow_terminal() -> None:
    assert max(map(len, run(SAMPLE, *DAY)[1].splitlines())) <= 80
