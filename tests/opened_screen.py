"""A screen of the dashboard, drawn whole as for somebody who follows a link, and what it says in text."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from forecaster import dashboard_app
from words import JOINER, SPACE

LANDING = "screens/fleet_today.py"  # where the dashboard's root leads with a fleet
PATIENCE = 120  # s: a busy machine is no fault of the screens


def open_screen(monkeypatch: pytest.MonkeyPatch, source: Path | None, screen: str, **link: str | list[str]) -> AppTest:
    """The screen on a source (None: no fleet) as a link opens it; it must end without an exception."""
    monkeypatch.setenv("FORECASTER_SOURCE", "" if source is None else str(source))
    app = AppTest.from_file(dashboard_app(), default_timeout=PATIENCE)
    if screen != LANDING:
        app.switch_page(screen)
    app.query_params.update(link)
    app.run()
    assert not app.exception
    return app


def title(app: AppTest) -> str:
    """The sentence that a screen opens with; there must be one and no other."""
    (only,) = app.title
    return str(only.value)


def told(app: AppTest) -> str:
    """Everything that a screen says in text, kind by kind, with ordinary spaces."""
    kinds = (app.title, app.subheader, app.markdown, app.caption, app.error, app.warning, app.info)
    return spaced("\n".join(element.value for kind in kinds for element in kind))


def read(app: AppTest) -> str:
    """The same as a reader sees it: without what keeps a text from being taken for formatting."""
    return bare(told(app))


def spaced(text: str) -> str:
    """A text with ordinary spaces and nothing that keeps it on one line."""
    return text.replace(SPACE, " ").replace(JOINER, "")


def bare(text: str) -> str:
    """The same without what keeps it from being taken for formatting."""
    return spaced(text).replace("\\", "")


def labelled(app: AppTest, label: str) -> Any:
    """The field or slider for a number, by what it says."""
    return next(widget for widget in [*app.text_input, *app.slider] if widget.label == label)
