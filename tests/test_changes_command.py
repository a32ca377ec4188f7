"""``plan`` and ``report`` with changes by hand: a file read, a file written, and what of it cannot be used."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from pathlib import Path

import pytest

from forecaster.command_line import Argument
from forecaster.commands import COMMANDS
from forecaster.plan_limits import PlanWishes
from forecaster.question_options import CHANGES, PLAN_OPTIONS
from tests.command_answers import answer_to
from tests.conftest import ROOT
from tests.small_fleet import small_fleet_folder

DAY = ("--as-of", "2026-01-15")
MONDAY, LATER = "2026-01-19", "2026-02-02"
Ask = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The small fleet: S1 on a craft of Ødegård Boats, S3 and S2 on craft of nobody's."""
    return str(small_fleet_folder(tmp_path_factory.mktemp("fleets") / "small"))


@pytest.fixture
def mine(tmp_path: Path) -> Path:
    """Three changes, as a spreadsheet with semicolons writes them."""
    file = tmp_path / "mine.csv"
    rows = "unit_id;action;week_of;note\nS1;rebuild;2026-02-04;parts come late\nS2;leave;;\nS3;check;;\n"
    file.write_bytes(rows.encode("utf-8-sig"))
    return file


def plan_of(*words: str) -> dict[str, tuple[str, str | None]]:
    status, printed, told = answer_to("plan", *words, *DAY, "--json")
    assert status == 0, told
    return {one["unit_id"]: (one["action"], one["week_of"]) for one in json.loads(printed)["actions"]}


# The options ----------------------------------------------------------------------------------------------------------


def dests(arguments: tuple[Argument, ...]) -> set[str]:
    """What the parsed options are called."""
    return {str(one.options.get("dest", one.names[0].removeprefix("--").replace("-", "_"))) for one in arguments}


def test_every_limit_of_a_plan_is_an_option_of_every_command_that_plans() -> None:
    assert set(PlanWishes.__annotations__) - {"prices"} <= dests(PLAN_OPTIONS)
    for name in ("plan", "report"):
        assert {one.names for one in (*PLAN_OPTIONS, *CHANGES)} <= {
            one.names for one in COMMANDS.by_name[name].arguments
        }


# The plan -------------------------------------------------------------------------------------------------------------


def test_the_plan_is_changed_as_the_file_says_and_the_json_tells_it(small: str, mine: Path) -> None:
    status, printed, told = answer_to("plan", small, *DAY, "--changes", str(mine), "--bench", "0", "--json")
    answer = json.loads(printed)
    assert status == 0
    assert "columns are parted by semicolons" in told
    by_unit = {one["unit_id"]: one for one in answer["actions"]}
    assert (by_unit["S1"]["action"], by_unit["S1"]["week_of"]) == ("rebuild", LATER)
    assert (by_unit["S2"]["action"], by_unit["S2"]["week_of"]) == ("leave", None)
    assert by_unit["S3"]["action"] == "check"
    changed = [unit for unit, one in by_unit.items() if one["changed_by_hand"]]
    assert [edit["unit_id"] for edit in answer["edits"]] == sorted(changed)
    assert answer["edits"][0] == {"unit_id": "S1", "action": "rebuild", "week_of": LATER, "note": "parts come late"}
    assert {"mean", "low", "high"} == set(answer["costs_more"])
    assert f"The bench finishes nothing in the week of {LATER}, and S1 is in it." in answer["broken"]


def test_the_text_tells_the_changes_what_they_cost_and_which_limit_they_break(small: str, mine: Path) -> None:
    told = " ".join(answer_to("plan", small, *DAY, "--changes", str(mine), "--bench", "0")[1].split())
    assert f"rebuild S1 in the week of {LATER} (parts come late)" in told
    assert "than the best plan." in told
    assert "As changed by hand, the plan breaks a limit: - The bench" in told
    assert f"- The bench finishes nothing in the week of {LATER}, and S1 is in it." in told


def test_without_changes_the_json_says_so(small: str) -> None:
    answer = json.loads(answer_to("plan", small, *DAY, "--json")[1])
    assert (answer["edits"], answer["costs_more"], answer["broken"]) == ([], None, [])
    assert not any(one["changed_by_hand"] for one in answer["actions"])


def test_changes_are_given_one_by_one_too_and_come_before_the_files(small: str, mine: Path) -> None:
    words = ("--changes", str(mine), "--change", "S2:rebuild:2026-01-20", "--change", "S3:leave")
    plan = plan_of(small, *words)
    assert plan["S1"] == ("rebuild", LATER)
    assert plan["S2"] == ("rebuild", MONDAY)
    assert plan["S3"] == ("leave", None)


# A file written -------------------------------------------------------------------------------------------------------


def test_saved_changes_read_back_as_the_same_plan_and_lose_nothing(small: str, mine: Path, tmp_path: Path) -> None:
    saved = tmp_path / "new" / "saved.csv"
    first = plan_of(small, "--changes", str(mine), "--save-changes", str(saved))
    assert plan_of(small, "--changes", str(saved)) == first
    rows = list(csv.DictReader(io.StringIO(saved.read_bytes().decode("utf-8-sig"), newline="")))
    assert [(row["unit_id"], row["action"], row["week_of"] or None) for row in rows] == [
        (unit, *first[unit]) for unit in ("S1", "S2", "S3")
    ]
    assert rows[0]["note"] == "parts come late"


def test_a_file_that_is_there_is_not_written_over_unless_told(small: str, mine: Path) -> None:
    before = mine.read_bytes()
    words = ("plan", small, *DAY, "--change", "S1:leave", "--save-changes", str(mine))
    status, printed, told = answer_to(*words)
    assert (status, printed) == (2, "")
    assert "mine.csv is there already. Name another place, or write over it with --force." in told
    assert mine.read_bytes() == before
    assert answer_to(*words, "--force")[0] == 0
    assert mine.read_bytes().decode("utf-8-sig").splitlines()[1:] == ["S1,leave,,"]


def test_a_place_that_cannot_be_written_to_is_told(small: str, mine: Path) -> None:
    status, printed, told = answer_to("plan", small, *DAY, "--save-changes", str(mine / "below.csv"))
    assert (status, printed) == (1, "")
    assert "cannot be written" in told
    assert "name another place" in told


# Refused --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", ["plan", "report"])
def test_a_file_with_a_fault_is_refused_with_file_row_column_value_and_remedy(
    small: str, tmp_path: Path, command: str
) -> None:
    file = tmp_path / f"{command}.csv"
    file.write_text("unit_id,action,week_of\nS4,leave,\nS1,rebuild,2020-01-06\n", encoding="utf-8")
    out = ("--out", str(tmp_path / "out")) if command == "report" else ()
    status, printed, told = answer_to(command, small, *DAY, "--changes", str(file), *out)
    assert (status, printed) == (1, "")
    assert f"{command}.csv row 2, unit_id 'S4': no unit of this name is in the plan. Name one that is in " in told
    assert f"{command}.csv row 3, week_of '2020-01-06': the week of 2020-01-06 is outside" in told
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (
            ("--changes", "nowhere.csv"),
            "nowhere.csv: the file cannot be opened (No such file or directory). Check its name",
        ),
        (("--change", "S1"), "'S1' is no change of a plan: unit, work and week are needed"),
        (("--change", "S1:rebuild:2030-01-07"), "S1: the week of 2030-01-07 is outside of what can be said here"),
        (("--change", "S9:leave"), "S9 is not in the plan, whose units are"),
    ],
)
def test_a_change_that_cannot_be_made_is_told(small: str, words: tuple[str, ...], told: str) -> None:
    status, printed, refusal = answer_to("plan", small, *DAY, *words)
    assert status in (1, 2)
    assert printed == ""
    assert told in refusal


# The report -----------------------------------------------------------------------------------------------------------


def test_the_report_holds_the_plan_that_the_same_words_give(small: str, mine: Path, tmp_path: Path) -> None:
    limits = ("--changes", str(mine), "--closed", "2026-02-04", "--spares", "1", "--budget", "500")
    plan = plan_of(small, *limits)
    out = ("--out", str(tmp_path), "--only", "csv", "--no-look-back", "--json")
    status, printed, _ = answer_to("report", small, *DAY, *limits, *out)
    assert status == 0
    (told,) = json.loads(printed)["reports"]
    assert told["changed_by_hand"]
    assert any("The bench is closed in the week of 2026-02-02" in line for line in told["broken"])
    (file,) = told["files"]
    rows = csv.DictReader(io.StringIO(Path(file["path"]).read_bytes().decode("utf-8-sig"), newline=""))
    assert {row["unit_id"]: (row["work"], row["week_of"] or None) for row in rows} == plan


def test_an_owners_report_says_how_many_changes_are_of_others(small: str, mine: Path, tmp_path: Path) -> None:
    words = ("--changes", str(mine), "--owner", "Ødegård Boats", "--out", str(tmp_path), "--only", "ics", "--json")
    status, printed, _ = answer_to("report", small, *DAY, *words, "--no-look-back")
    told = json.loads(printed)
    assert status == 0
    assert told["reports"][0]["changed_by_hand"] == ["S1"]
    assert told["remarks"] == ["2 changes by hand are of units in none of these reports, and left out."]


def test_the_plans_json_is_documented(small: str, mine: Path) -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    example = json.loads(text.split("\n`plan --json`")[1].split("```json\n")[1].split("```")[0])
    told = json.loads(answer_to("plan", small, *DAY, "--changes", str(mine), "--json")[1])
    assert set(example) <= set(told)
    assert {"edits", "costs_more", "broken"} <= set(example)
    assert "changed_by_hand" in example["actions"][0]
    assert set(example["actions"][0]) <= set(told["actions"][0])
    assert set(example["edits"][0]) == set(told["edits"][0])
