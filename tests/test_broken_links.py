"""What a link tells that cannot be: said at the top of the page, above the answer, until the viewer goes on."""

from __future__ import annotations

import pytest

from forecaster import sample_fleet_folder
from link import EVERYWHERE
from tests.conftest import SAMPLE_DAY
from tests.opened_screen import bare, open_screen
from told_wrong import AGAIN

SAMPLE = sample_fleet_folder()


@pytest.mark.parametrize(
    ("screen", "name", "value"),
    [
        ("fleet_today", "hours", "abc"),
        ("fleet_today", "base", "Nowhere"),
        ("fleet_today", "owner", "Nobody"),
        ("fleet_today", "model", "guess"),
        ("fleet_today", "as_of", "soon"),
        ("fleet_today", "days", "roman"),
        ("one_unit", "unit", "S9999"),
        ("now_or_later", "unit", "S9999"),
        ("evidence", "look_back", "day"),
        ("after_water", "craft", "C999"),
        ("after_water", "as_of", "soon"),
        ("bench", "as_of", "soon"),
    ],
)
def test_it_is_said_above_everything_else(monkeypatch: pytest.MonkeyPatch, screen: str, name: str, value: str) -> None:
    app = open_screen(monkeypatch, SAMPLE, f"screens/{screen}.py", **{"as_of": SAMPLE_DAY.isoformat(), name: value})
    assert app.main[0].warning
    assert value in bare(app.main[0].warning[0].value)
    assert app.title


def test_nothing_is_said_of_a_link_that_can_be(monkeypatch: pytest.MonkeyPatch) -> None:
    link = {"as_of": SAMPLE_DAY.isoformat(), "hours": "80", "base": "Lagoon", "days": "iso", EVERYWHERE: "sample"}
    app = open_screen(monkeypatch, SAMPLE, "screens/fleet_today.py", **link)
    assert not app.main[0].warning


def test_it_is_said_once_and_no_longer_once_the_viewer_went_on(monkeypatch: pytest.MonkeyPatch) -> None:
    app = open_screen(monkeypatch, None, "screens/bench.py", found_bearing="loose")
    assert len(app.warning) == 1
    app.radio(key="found_bearing").set_value("rough").run()
    assert not app.warning


def test_it_is_said_on_where_the_program_itself_draws_the_page_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    app = open_screen(monkeypatch, None, "screens/bench.py", found_bearing="loose")
    app.session_state[AGAIN] = True
    app.run()
    assert len(app.warning) == 1


def test_nothing_of_it_is_said_to_another_visitor(monkeypatch: pytest.MonkeyPatch) -> None:
    open_screen(monkeypatch, None, "screens/bench.py", found_bearing="loose", found_shaft_play_mm="x")
    app = open_screen(monkeypatch, None, "screens/bench.py")
    assert not app.warning
    assert not app.error
