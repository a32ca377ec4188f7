"""README says what is so: its commands run, and it names every command, column, code and setting."""

from __future__ import annotations

import re
import shlex
import tomllib

import pytest

from forecaster.commands import COMMANDS, main
from forecaster.records import TABLES
from forecaster.settings import FleetSettings, read_settings
from tests.conftest import ROOT

README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    return [block.strip() for block in re.findall(rf"```{language}\n(.*?)```", README, re.DOTALL)]


def calls(block: str) -> list[list[str]]:
    """The words of every call of the command in a block, without the program's path."""
    return [shlex.split(part)[1:] for part in re.split(r"&&|;|\n", block) if re.search(r"bin/forecaster ", part)]


def test_each_of_the_two_commands_is_one_line() -> None:
    installs = [block for block in blocks("sh") if "pip install" in block]
    assert len(installs) == 2
    assert all(len(block.splitlines()) == 1 for block in installs)


def test_windows_gets_the_same_commands() -> None:
    def plain(block: str) -> str:
        block = block.replace(".venv\\Scripts\\", ".venv/bin/").replace("py -3.11", "python3.11")
        return block.replace(";", " &&")

    assert [plain(block) for block in blocks("powershell")] == blocks("sh")


def test_the_main_command_prints_a_forecast(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)
    [words] = calls(blocks("sh")[0])
    assert main(words) == 0
    assert "units must not run" in capsys.readouterr().out.replace("\n", " ")


def test_the_dashboards_command_is_understood() -> None:
    [words] = calls(blocks("sh")[-1])
    assert words[0] in COMMANDS.by_name
    assert (ROOT / words[1]).is_dir()


def test_ci_runs_the_tests_as_readme_says() -> None:
    in_readme = blocks("sh")[1].split("&&")[-1].strip().removeprefix(".venv/bin/")
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8").strip().splitlines()
    assert in_readme == "python -m pytest"
    assert ci[-1] == f'FORECASTER_NO_SKIPS=1 "$room/.venv/bin/{in_readme.split()[0]}" -m pytest'
    assert "pip install -e '.[test]'" in blocks("sh")[1]
    assert any("-e '.[test]'" in line for line in ci)


def test_every_command_is_documented_and_every_documented_command_exists() -> None:
    documented = set(re.findall(r"^\| `forecaster ([a-z]+)", README, re.MULTILINE))
    assert documented == set(COMMANDS.by_name)


def test_every_option_that_is_named_exists() -> None:
    known = {name for c in COMMANDS.by_name.values() for a in c.arguments for name in a.names} | {"--help"}
    prose = re.sub(r"```.*?```", "", README, flags=re.DOTALL)
    named = set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", prose))
    assert named
    assert named <= known


@pytest.mark.parametrize("table", list(TABLES))
def test_every_column_and_code_of_the_contract_is_listed(table: str) -> None:
    row = next(line for line in README.splitlines() if line.startswith(f"| `{table}.csv` |"))
    for column in TABLES[table].columns.values():
        assert f"`{column.name}`{'*' if column.required else ''}" in row
        assert (f"`{column.name}`*" in row) == column.required
        for code in column.codes:
            assert re.search(rf"\b{code}\b", row), f"{table}.{column.name}: {code}"


def test_the_settings_shown_are_the_defaults_and_all_of_them() -> None:
    [toml] = blocks("toml")
    assert read_settings(toml) == FleetSettings()
    shown = tomllib.loads(re.sub(r"^# (?=\w+ = )", "", toml, flags=re.MULTILINE))
    assert {k: set(v) if isinstance(v, dict) else v for k, v in shown.items()} == {
        k: set(v) if isinstance(v, dict) else v for k, v in FleetSettings().model_dump().items()
    }
