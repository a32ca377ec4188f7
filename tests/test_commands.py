"""The command line: what it prints, where, and with which exit status."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pytest

from forecaster import command_line, commands, question_options
from forecaster.command_line import Commands, argument
from forecaster.commands import COMMANDS, WORLD_NAMES
from forecaster.fleet import DEFAULT_HOURS
from forecaster.simulate import DEFAULT_WORLD
from forecaster.worlds import WORLDS
from tests.command_answers import asked
from tests.conftest import ROOT, SAMPLE_DAY

SAMPLE = str(ROOT / "sample_fleet")
DAY = SAMPLE_DAY.isoformat()


@dataclass(frozen=True)
class Answer:
    status: int
    out: str
    err: str


Ask = Callable[..., Answer]


@pytest.fixture(autouse=True)
def _own_excepthook(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "excepthook", sys.__excepthook__)


@pytest.fixture
def ask() -> Ask:
    """Run a command in this process."""

    def run(*words: str) -> Answer:
        return Answer(*asked(*words))

    return run


def in_a_process(*words: str, **options: object) -> subprocess.CompletedProcess[str]:
    """Run a command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "forecaster", *words], capture_output=True, text=True, cwd=ROOT, **options  # type: ignore[call-overload]
    )  # fmt: skip


# Wrong usage ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "Commands: validate, forecast"),
        (("forcast", "x"), "'forcast' is not a command. The nearest is `forecaster forecast`"),
        (("forecast",), "the following arguments are required: SOURCE"),
        (("forecast", "x", "y"), "'y' is one argument too many"),
        (("forecast", "x", "--hour", "5"), "--hour is not an option here. The nearest is --hours"),
        (("forecast", "x", "--hours", "-5"), "'-5' is not a number of engine hours from 0.1 to 5,000"),
        (("forecast", "x", "--hours", "nan"), "'nan' is not a number of engine hours from 0.1 to 5,000"),
        (("forecast", "x", "--as-of", "31/10/2026"), "'31/10/2026' is not a date; write year-month-day"),
        (("forecast", "x", "--as-of", "2026-02-30"), "'2026-02-30' is not a day of the calendar"),
        (("forecast", "x", "--as-of", "20261031"), "'20261031' is not a date"),
        (("forecast", "x", "--model", "weibul"), "choose from 'two-stage', 'weibull'"),
        (("forecast", "x", "--limit", "0"), "'0' is not a whole number of units from 1 to 1,000,000"),
        (("dashboard", "--port", "70000"), "'70000' is not a whole number from 1 to 65,535"),
        (("--jason",), "--jason is not an option here. The nearest is --version"),
    ],
)
def test_wrong_usage_says_what_is_wrong_and_exits_with_2(ask: Ask, words: tuple[str, ...], told: str) -> None:
    answer = ask(*words)
    assert answer.status == 2
    assert answer.out == ""
    assert told in answer.err
    assert answer.err.startswith("forecaster: ")


def test_help_lists_every_command(ask: Ask) -> None:
    answer = ask("--help")
    assert answer.status == 0
    assert all(name in answer.out for name in COMMANDS.by_name)


@pytest.mark.parametrize("name", list(COMMANDS.by_name))
def test_every_command_has_help(ask: Ask, name: str) -> None:
    answer = ask(name, "--help")
    assert answer.status == 0
    assert COMMANDS.by_name[name].answers[1:20] in answer.out


def test_the_worlds_offered_are_those_of_the_simulator() -> None:
    assert tuple(WORLDS) == WORLD_NAMES
    assert WORLD_NAMES[0] == DEFAULT_WORLD


def test_the_default_horizon_is_that_of_the_fleet() -> None:
    assert [a.options["default"] for a in COMMANDS.by_name["forecast"].arguments if a.names == ("--hours",)] == [
        DEFAULT_HOURS
    ]


def test_help_imports_nothing_heavy() -> None:
    script = (
        "import sys; from forecaster.commands import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        "print(sorted({'numpy', 'pandas', 'scipy', 'pydantic', 'lifelines', 'statsmodels', 'streamlit', 'plotly'}"
        " & set(sys.modules)))"
    )
    told = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, cwd=ROOT, check=True)
    assert told.stdout.splitlines()[-1] == "[]"


# What everything goes through -----------------------------------------------------------------------------------------


def commands_of(run: Callable[[object], int]) -> Commands:
    some = Commands()
    some.register("ask", "what the test asks", argument("--json", action="store_true"))(run)
    return some


def raising(error: BaseException) -> Callable[[object], int]:
    def run(_: object) -> int:
        raise error

    return run


@pytest.mark.parametrize(
    ("error", "told"),
    [
        (KeyboardInterrupt(), "stopped before the answer was complete"),
        (OSError(28, "No space left on device", "out.csv"), "No space left on device: out.csv. The answer is not"),
    ],
)
def test_what_stops_a_command_is_told_in_words(
    ask: Ask, monkeypatch: pytest.MonkeyPatch, error: BaseException, told: str
) -> None:
    monkeypatch.setattr(commands, "COMMANDS", commands_of(raising(error)))
    answer = ask("ask")
    assert answer.status == 1
    assert told in answer.err
    assert "Traceback" not in answer.err


def test_a_fault_of_the_program_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    try:
        {}["no such key"]
    except KeyError as fault:
        command_line.tell_fault(type(fault), fault, fault.__traceback__)
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert "a fault of the program, not of your records: KeyError: 'no such key' (at test_commands.py line" in told


def test_a_reader_that_goes_away_leaves_no_complaint() -> None:
    reading, writing = os.pipe()
    os.close(reading)
    told = subprocess.run(
        [sys.executable, "-m", "forecaster", "forecast", SAMPLE, "--as-of", DAY, "--json"],
        stdout=writing, stderr=subprocess.PIPE, text=True, cwd=ROOT,
    )  # fmt: skip
    os.close(writing)
    assert (told.returncode, told.stderr) == (1, "")


# validate -------------------------------------------------------------------------------------------------------------


@pytest.fixture
def untidy(sample_copy: Path) -> Path:
    """The sample with one impossible meter reading."""
    hours = sample_copy / "hours.csv"
    first_craft = hours.read_text(encoding="utf-8").splitlines()[1].split(",")[0]
    with hours.open("a", encoding="utf-8") as file:
        columns = hours.read_text(encoding="utf-8").splitlines()[0].split(",")
        cells = {"craft_id": first_craft, "read_on": "2026-06-06", "meter": "-77"}
        file.write(",".join(cells.get(column, "") for column in columns) + "\n")
    return sample_copy


def test_validate_says_that_the_sample_can_be_forecast(ask: Ask) -> None:
    answer = ask("validate", SAMPLE, "--as-of", DAY)
    assert answer.status == 0
    assert answer.out.startswith("This fleet can be forecast")


def test_validate_json_holds_the_documented_keys(ask: Ask, untidy: Path) -> None:
    answer = ask("validate", str(untidy), "--as-of", DAY, "--json")
    told = json.loads(answer.out)
    assert answer.status == 0
    assert told["refused"]["hours"] == 1
    assert told["read"]["hours"] > 0
    problem = next(p for p in told["problems"] if p["value"] == "-77")
    assert set(problem) == {"file", "row", "column", "value", "reason", "remedy", "refused", "held_back"}
    assert (problem["file"], problem["column"], problem["refused"]) == ("hours.csv", "meter", True)
    lines = (untidy / "hours.csv").read_text(encoding="utf-8").splitlines()
    assert lines[problem["row"] - 1].endswith("-77") or ",-77," in lines[problem["row"] - 1]


def test_validate_names_row_column_value_and_remedy(ask: Ask, untidy: Path) -> None:
    told = ask("validate", str(untidy), "--as-of", DAY).out
    assert "hours.csv row " in told
    assert "'-77'" in told


class _SampleDay(date):
    @classmethod
    def today(cls) -> date:
        return SAMPLE_DAY


def test_rows_after_a_past_day_asked_about_are_no_problem(ask: Ask, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(question_options, "date", _SampleDay)
    told = json.loads(ask("validate", SAMPLE, "--as-of", "2025-01-01", "--json").out)
    assert set(told["refused"].values()) == {0}


def test_a_day_ahead_of_the_clock_is_taken_at_its_word(ask: Ask, monkeypatch: pytest.MonkeyPatch) -> None:
    class Early(date):
        @classmethod
        def today(cls) -> date:
            return date(2025, 1, 1)

    monkeypatch.setattr(question_options, "date", Early)
    assert json.loads(ask("validate", SAMPLE, "--json").out)["refused"]["hours"] > 0
    assert json.loads(ask("validate", SAMPLE, "--as-of", DAY, "--json").out)["refused"]["hours"] == 0


def test_refused_rows_are_written_with_their_reason(ask: Ask, untidy: Path, tmp_path: Path) -> None:
    answer = ask("validate", str(untidy), "--as-of", DAY, "--refused", str(tmp_path / "mend"))
    written = tmp_path / "mend" / "refused_hours.csv"
    assert str(written) in answer.err
    header, row = written.read_text(encoding="utf-8-sig").splitlines()
    assert header.endswith("craft_id,read_on,meter,new_meter")
    assert ",-77," in row
    assert row.startswith("hours.csv,")


def test_a_folder_that_cannot_be_written_to_is_told(ask: Ask, untidy: Path, tmp_path: Path) -> None:
    in_the_way = tmp_path / "a file"
    in_the_way.write_text("")
    answer = ask("validate", str(untidy), "--refused", str(in_the_way))
    assert answer.status == 1
    assert answer.out == ""
    assert f"{in_the_way}" in answer.err
    assert "cannot be written" in answer.err


def test_records_that_stop_the_answer_exit_with_1(ask: Ask, sample_copy: Path) -> None:
    (sample_copy / "fittings.csv").unlink()
    for words in (("validate",), ("validate", "--json"), ("forecast",), ("forecast", "--json")):
        answer = ask(words[0], str(sample_copy), "--as-of", DAY, *words[1:])
        assert answer.status == 1
        assert "fittings" in answer.out + answer.err
        assert "Traceback" not in answer.err
        assert (answer.out == "") == (words[0] == "forecast")


def test_a_source_that_is_not_there_is_told(ask: Ask) -> None:
    for name in ("validate", "forecast", "dashboard"):
        answer = ask(name, "no such place")
        assert answer.status == 1
        assert "no such place" in answer.err


# forecast -------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def sample_forecast() -> dict:
    told = in_a_process("forecast", SAMPLE, "--as-of", DAY, "--json", check=True)
    return json.loads(told.stdout)


def test_forecast_ranks_every_unit_in_service(sample_forecast: dict) -> None:
    risks = [unit["fails_within"]["mean"] for unit in sample_forecast["units"]]
    assert len(risks) > 20
    assert risks == sorted(risks, reverse=True)
    assert sample_forecast["as_of"] == DAY


def documented(command: str) -> dict:
    """The example of a command's JSON in DEVELOPERS.md."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    example: dict = json.loads(text.split(f"\n`{command} --json`")[1].split("```json\n")[1].split("```")[0])
    return example


def keys_of(answer: object) -> object:
    """The keys of an answer, all the way down; of a list those of its first member."""
    if isinstance(answer, dict):
        return {key: keys_of(value) for key, value in answer.items()}
    return [keys_of(answer[0])] if isinstance(answer, list) and answer and isinstance(answer[0], dict) else None


def test_the_forecasts_json_is_documented_key_for_key(sample_forecast: dict) -> None:
    assert keys_of(sample_forecast) == keys_of(documented("forecast"))


def test_validations_json_is_documented_key_for_key(ask: Ask, untidy: Path) -> None:
    told = json.loads(ask("validate", str(untidy), "--as-of", DAY, "--json").out)
    example = documented("validate")
    varying = {"doubtful_units", "kept_aside"}  # their keys are the user's
    assert set(told) == set(example)
    assert keys_of({k: v for k, v in told.items() if k not in varying}) == keys_of(
        {k: v for k, v in example.items() if k not in varying}
    )


def test_the_json_goes_to_standard_output_alone(ask: Ask) -> None:
    answer = ask("forecast", SAMPLE, "--as-of", DAY, "--json")
    assert json.loads(answer.out)["hours"] == 50.0
    assert answer.err == ""


def test_the_same_records_give_the_same_answer(ask: Ask, sample_forecast: dict) -> None:
    assert json.loads(ask("forecast", SAMPLE, "--as-of", DAY, "--json").out) == sample_forecast


def test_forecast_says_the_answer_first(ask: Ask, sample_forecast: dict) -> None:
    answer = ask("forecast", SAMPLE, "--as-of", DAY)
    first = sample_forecast["units"][0]
    opening = answer.out.split("\n\n")[0].replace("\n", " ")
    assert answer.status == 0
    assert opening.startswith(f"{DAY}: ")
    assert f"Most at risk is {first['unit_id']} on craft {first['craft_id']}" in opening
    assert max(map(len, answer.out.splitlines())) <= 80


def test_a_limit_shortens_the_list_and_not_the_answer(ask: Ask) -> None:
    whole, three = (ask("forecast", SAMPLE, "--as-of", DAY, *limit).out for limit in ((), ("--limit", "3")))
    assert three.split("\n\n")[0] == whole.split("\n\n")[0]
    assert "of less risk, left out by --limit" in three
    told = json.loads(ask("forecast", SAMPLE, "--as-of", DAY, "--limit", "3", "--json").out)
    assert len(told["units"]) == 3


def test_the_rival_model_knows_no_defects(ask: Ask) -> None:
    told = json.loads(ask("forecast", SAMPLE, "--as-of", DAY, "--model", "weibull", "--json").out)
    assert told["model"] == "weibull"
    assert {unit["defective_now"] for unit in told["units"]} == {None}


def test_a_day_before_the_fleet_began_is_told(ask: Ask) -> None:
    answer = ask("forecast", SAMPLE, "--as-of", "1999-01-01")
    assert answer.status == 1
    assert "No unit is in service on 1999-01-01: the first fitting is dated" in answer.err


def test_a_name_that_the_terminal_cannot_show_stops_nothing(sample_copy: Path) -> None:
    craft = sample_copy / "craft.csv"
    fittings = sample_copy / "fittings.csv"
    unit = fittings.read_text(encoding="utf-8").splitlines()[1].split(",")[0]
    for file in (*sample_copy.glob("*.csv"), craft):
        text = file.read_text(encoding="utf-8")
        file.write_text(text.replace(unit, "S☂"), encoding="utf-8")
    told = in_a_process(
        "forecast", str(sample_copy), "--as-of", DAY, env={**os.environ, "PYTHONIOENCODING": "ascii"}
    )  # fmt: skip
    assert told.returncode == 0
    assert "S\\u2602" in told.stdout


@pytest.mark.skipif(sys.platform == "win32", reason="signals to a child differ there")
def test_ctrl_c_is_told_in_words() -> None:
    child = subprocess.Popen(
        [sys.executable, "-c", INTERRUPTED], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT
    )
    assert child.stdout is not None
    child.stdout.readline()
    child.send_signal(signal.SIGINT)
    _, err = child.communicate(timeout=60)
    assert child.returncode == 1
    assert err == "forecaster: stopped before the answer was complete.\n"


# A process that was started in the background takes no notice of Ctrl-C, and hands that on: here it is to be noticed.
INTERRUPTED = """
import signal, sys, time
signal.signal(signal.SIGINT, signal.default_int_handler)
from forecaster.command_line import run
def slow():
    print("begun", flush=True)
    time.sleep(60)
    return 0
sys.exit(run(slow))
"""


# simulate -------------------------------------------------------------------------------------------------------------


def test_a_simulated_fleet_can_be_forecast(ask: Ask, tmp_path: Path) -> None:
    out = tmp_path / "invented"
    made = ask("simulate", str(out), "--craft", "6", "--seasons", "1", "--seed", "3")
    assert made.status == 0
    day = date(2024, 12, 1).isoformat()
    assert ask("validate", str(out), "--as-of", day).status == 0
    told = json.loads(ask("forecast", str(out), "--as-of", day, "--json").out)
    assert len(told["units"]) >= 5


def test_simulate_overwrites_nothing(ask: Ask, tmp_path: Path) -> None:
    mine = tmp_path / "craft.csv"
    mine.write_text("mine")
    answer = ask("simulate", str(tmp_path), "--craft", "6", "--seasons", "1")
    assert answer.status == 2
    assert mine.read_text() == "mine"


def test_a_world_that_is_not_known_names_the_nearest(ask: Ask, tmp_path: Path) -> None:
    answer = ask("simulate", str(tmp_path / "out"), "--world", "rust_at_incidents")
    assert answer.status == 2
    assert "rust_at_incident" in answer.err
