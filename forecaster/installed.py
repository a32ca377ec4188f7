"""Where the parts that ship beside the code lie: the dashboard's app and the sample fleet.

An installation holds them as ``forecaster.dashboard`` and ``forecaster.sample_fleet``; a checkout that is run as it
is, or installed as editable, holds them as top-level folders beside the package.
"""

from __future__ import annotations

from pathlib import Path

from forecaster.errors import SourceError

_PACKAGE = Path(__file__).resolve().parent


def _folder(name: str, holds: str) -> Path:
    for folder in (_PACKAGE / name, _PACKAGE.parent / name):
        if (folder / holds).is_file():
            return folder
    raise SourceError(f"This installation lacks {name}/{holds}. Install the forecaster again.")


def dashboard_app() -> Path:
    """The file that the dashboard's server runs. Raises SourceError where the installation lacks it."""
    return _folder("dashboard", "app.py") / "app.py"


def sample_fleet_folder() -> Path:
    """The invented sample fleet that ships with the program: a fleet folder to read, never to write to."""
    return _folder("sample_fleet", "craft.csv")
