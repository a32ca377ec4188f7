"""Who may import whom, what the public door offers, and what no committed file may name."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import forecaster
from tests.conftest import ROOT

PACKAGE = ROOT / "forecaster"
DASHBOARD = ROOT / "dashboard"
ROOM_ROW = re.compile(r"^\| `([a-z_.]+)` \|", re.MULTILINE)


def imported(file: Path) -> set[str]:
    """Full names of the modules that a file imports anywhere in it, `from a import b` as a and a.b."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{file}: relative imports hide where a name comes from"
            names |= {str(node.module)} | {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def rooms() -> dict[str, Path]:
    """Rooms of the core by name: "reading", "report.text"; the door itself is none."""
    files = [f for f in PACKAGE.rglob("*.py") if f.name != "__init__.py"]
    return {".".join(f.relative_to(PACKAGE).with_suffix("").parts): f for f in files}


def order_of_rooms() -> list[str]:
    """The rooms in the order of DEVELOPERS.md, earlier ones first."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    part = text.split("## The rooms", 1)[1].split("\n## ", 1)[0]
    return ROOM_ROW.findall(part)


def test_every_room_is_described_in_developers_md() -> None:
    described = order_of_rooms()
    assert set(rooms()) - set(described) == set(), "describe these in DEVELOPERS.md, after all that they import"
    assert set(described) - set(rooms()) == set(), "these are gone"
    assert len(described) == len(set(described))


@pytest.mark.parametrize("room", sorted(rooms()))
def test_a_room_imports_only_rooms_before_it(room: str) -> None:
    order = order_of_rooms()
    if room not in order:
        pytest.fail(f"{room} is not described in DEVELOPERS.md")
    known = {f"forecaster.{name}" for name in rooms()}
    for name in sorted(imported(rooms()[room]) & known):
        other = name.removeprefix("forecaster.")
        assert order.index(other) < order.index(room), f"{room} imports {other}, which comes after it"


def test_only_the_command_line_uses_the_door_from_inside() -> None:
    through_the_door = {
        room
        for room, file in rooms().items()
        if any(name.startswith("forecaster.") and name.split(".")[1] in forecaster.__all__ for name in imported(file))
    }
    assert through_the_door == set()


def test_the_dashboard_knows_only_the_public_door() -> None:
    own = {f.stem for f in DASHBOARD.rglob("*.py")} | {"screens", "dashboard"}
    allowed = {"forecaster", "streamlit", "plotly", "pandas", "numpy", *own, *sys.stdlib_module_names}
    for file in DASHBOARD.rglob("*.py"):
        for name in imported(file):
            assert name.split(".")[0] in allowed, f"{file.name} imports {name}"
            if name.startswith("forecaster."):
                assert name.split(".")[1] in forecaster.__all__, f"{file.name} imports {name} past the door"


def test_the_dashboard_asks_the_door_only_for_what_it_offers() -> None:
    asked = set()
    for file in DASHBOARD.rglob("*.py"):
        asked |= set(re.findall(r"\bforecaster\.([A-Za-z_]\w*)", file.read_text(encoding="utf-8")))
    assert asked
    assert asked <= {*forecaster.__all__, "__version__"}


def test_the_door_is_sorted() -> None:
    def kind(name: str) -> int:
        return 0 if name.isupper() else 1 if name[0].isupper() else 2

    assert forecaster.__all__ == sorted(forecaster.__all__, key=lambda name: (kind(name), name))
    assert len(set(forecaster.__all__)) == len(forecaster.__all__)


@pytest.mark.parametrize("name", forecaster.__all__)
def test_every_public_name_opens(name: str) -> None:
    assert getattr(forecaster, name) is not None


def test_type_checkers_see_the_same_door() -> None:
    tree = ast.parse((PACKAGE / "__init__.py").read_text(encoding="utf-8"))
    told = next(node for node in tree.body if isinstance(node, ast.If))
    names = {alias.name for node in told.body if isinstance(node, ast.ImportFrom) for alias in node.names}
    assert names == set(forecaster.__all__)


def test_the_version_is_told_once() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert forecaster.__version__ == project["version"]


def test_what_is_not_public_is_refused() -> None:
    with pytest.raises(AttributeError, match="no attribute 'secret'"):
        forecaster.secret  # noqa: B018


def test_opening_the_door_imports_nothing_heavy() -> None:
    heavy = "{'numpy', 'pandas', 'pydantic', 'scipy', 'lifelines', 'statsmodels', 'streamlit', 'plotly'}"
    script = f"import sys, forecaster; assert not {heavy} & set(sys.modules)"
    subprocess.run([sys.executable, "-c", script], check=True, cwd=ROOT)


def test_forecasting_with_two_stages_needs_no_other_models_library() -> None:
    script = (
        "import sys; from datetime import date; from forecaster import open_fleet, sample_fleet_folder\n"
        "day = date(2026, 11, 1)\n"
        "open_fleet(sample_fleet_folder(), day).forecast(day)\n"
        "assert not {'lifelines', 'statsmodels', 'streamlit', 'plotly'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", script], check=True, cwd=ROOT)


@pytest.mark.parametrize("name", ["utils", "helpers", "common", "misc"])
def test_no_room_is_called_after_nothing(name: str) -> None:
    assert not [room for room in rooms() if name in room.split(".")]


def committed_texts() -> list[tuple[str, str]]:
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard"], capture_output=True, text=True, cwd=ROOT, check=False
    )
    names = listed.stdout.splitlines() if listed.returncode == 0 else [str(f.relative_to(ROOT)) for f in _all_files()]
    texts = []
    for name in names:
        try:
            texts.append((name, (ROOT / name).read_text(encoding="utf-8")))
        except (UnicodeDecodeError, FileNotFoundError, IsADirectoryError):
            continue  # a workbook or picture, or just deleted
    return texts


def _all_files() -> list[Path]:
    """In an unpacked archive there is no git: whatever lies in the folders that are ours."""
    return [
        f for d in ("forecaster", "dashboard", "tests", "sample_fleet") for f in (ROOT / d).rglob("*") if f.is_file()
    ]


REGISTRY_HOST = re.compile(r"\b(pypi|pythonhosted|npmjs|anaconda|docker)\.(org|io|com)\b")
MACHINE_PATH = re.compile(r"(?<![\w.])/(work|root|home|Users)/\w|\b[A-Z]:\\\\?Users\\", re.ASCII)


def test_no_file_names_a_registry_host_or_a_path_of_one_machine() -> None:
    found = [
        f"{name}:{number}"
        for name, text in committed_texts()
        for number, line in enumerate(text.splitlines(), 1)
        if REGISTRY_HOST.search(line) or MACHINE_PATH.search(line)
    ]
    assert found == []


def test_the_guard_against_machine_paths_sees_them() -> None:
    assert MACHINE_PATH.search("open('/" + "root/x.csv')")
    assert MACHINE_PATH.search("C:" + r"\Users\me")
    assert REGISTRY_HOST.search("https://" + "pypi" + ".org/simple")
    assert not MACHINE_PATH.search("forecaster/report/text.py, ./home/x and 1/workday")
