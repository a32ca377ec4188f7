"""My plan on every screen: limits and changes by hand reach the report, this week's list and a file, and come back."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from forecaster import Fleet, Paper, PlanEdit, change_in_text, changes_file, sample_fleet_folder
from forecaster.plan_limits import PlanWishes
from loading import load
from plan_form import LINKED
from tests.opened_screen import LANDING, bare, open_screen, read
from words import SPACE

AS_OF = date(2026, 11, 1)
SAMPLE = sample_fleet_folder()
PLAN = "screens/off_season_plan.py"
CLOSED = date(2026, 12, 21)
# As a link tells them: every limit of the plan's form, and two changes by hand.
LIMITS = {
    "budget": "5000",
    "bench": "2",
    "begins": "2026-11-08",
    "ready_by": "2027-03-01",
    "spares": "1",
    "closed": CLOSED.isoformat(),
    "kits": "4",
    "lead_time": "2",
    "overspend": "20",
    "least_gain": "7",
    "season_budget": "3000",
    "season_bench": "1",
}
EDITS = ["S0005:leave::its owner sells it", "S0026:rebuild:2026-12-21"]
WISH = {
    "budget": 5_000.0,
    "bench_per_week": 2.0,
    "begins": date(2026, 11, 8),
    "ready_by": date(2027, 3, 1),
    "spare_units": 1,
    "closed": (CLOSED,),
    "kits": 4,
    "lead_time_weeks": 2.0,
    "overspend_chance": 0.2,
    "least_gain": 0.07,
    "season_budget": 3_000.0,
    "season_rebuilds_per_week": 1.0,
}
Opener = Callable[..., AppTest]


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Opener:
    """Opens a screen on the sample with a link."""

    def open_at(screen: str, **link: str | list[str]) -> AppTest:
        return open_screen(monkeypatch, SAMPLE, screen, **{"as_of": AS_OF.isoformat(), **link})

    return open_at


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """What reports are asked for."""
    found: list[dict[str, Any]] = []
    report = Fleet.report

    def keep(fleet: Fleet, as_of: date, owner: str | None = None, progress: Any = None, **wish: Any) -> Paper:
        found.append({"owner": owner, **wish})
        return report(fleet, as_of, owner, None, look_back=False, **wish)

    monkeypatch.setattr(Fleet, "report", keep)
    return found


# The law --------------------------------------------------------------------------------------------------------------


def test_every_limit_of_a_plan_has_its_name_in_the_link() -> None:
    assert set(LINKED) == set(PlanWishes.__annotations__) - {"prices"}  # prices are asked for by no screen of the plan
    assert {one.name for one in LINKED.values()} == set(LIMITS)
    assert set(WISH) == set(LINKED)


@pytest.mark.parametrize("screen", [PLAN, LANDING])
def test_the_report_holds_the_plan_of_the_link_whatever_the_screen(
    opened: Opener, asked: list[dict[str, Any]], screen: str
) -> None:
    app = opened(screen, **LIMITS, edit=EDITS)
    app.button(key="make-report").click().run()
    assert not app.exception
    (wish,) = asked
    assert {name: wish[name] for name in WISH} == WISH
    assert wish["edits"] == dict(map(change_in_text, EDITS))
    assert "The plan in it is yours" in read(app)
    assert "The plan was changed by hand for S0005 and S0026" in read(app)
    assert "The bench is closed in the week of 21 Dec 2026, and S0026 is in it." in read(app)


def test_without_limits_or_changes_the_report_holds_the_usual_plan(opened: Opener, asked: list[dict[str, Any]]) -> None:
    app = opened(LANDING)
    app.button(key="make-report").click().run()
    (wish,) = asked
    assert not set(wish) & set(WISH)
    assert wish["edits"] == {}
    assert "The plan in it is yours" not in read(app)


# Fleet today ----------------------------------------------------------------------------------------------------------


def test_this_weeks_list_follows_the_changed_plan_and_says_so(opened: Opener, monkeypatch: pytest.MonkeyPatch) -> None:
    import loading

    monkeypatch.setattr(loading, "decided_if_known", loading.decided)
    fleet = load(str(SAMPLE), date.today()).fleet
    unit = next(a.unit_id for a in fleet.plan(AS_OF).plan.actions if a.action == "leave")
    line = f"{unit} on "
    assert line not in week_lines(opened(LANDING))
    app = opened(LANDING, edit=f"{unit}:rebuild:2026-11-02")
    assert line in week_lines(app)
    assert "The plan's work is that of your own plan" in read(app)
    assert app.query_params["edit"] == f"{unit}:rebuild:2026-11-02"


def week_lines(app: AppTest) -> str:
    """The tasks of this week's list: each leads to its unit."""
    return bare("\n".join(link.proto.label for link in app.get("page_link"))).replace("*", "")


def test_what_a_link_tells_wrong_of_the_plan_is_told_on_every_screen(opened: Opener) -> None:
    app = opened(LANDING, budget="much", edit="S0005:polish")
    told = " ".join(bare(warning.value) for warning in app.warning)
    assert "budget=much" in told
    assert "S0005:polish" in told


# A file of changes ----------------------------------------------------------------------------------------------------


def upload(app: AppTest, content: bytes, name: str = "mine.csv") -> AppTest:
    app.file_uploader[0].set_value((name, content, "text/csv")).run()
    assert not app.exception
    return app


def test_changes_can_be_taken_along_once_there_are_any(opened: Opener) -> None:
    label = "Download 2 changes (CSV)"
    assert label not in downloads(opened(PLAN))
    assert label in downloads(opened(PLAN, edit=EDITS))


def downloads(app: AppTest) -> list[str]:
    return [button.label.replace(SPACE, " ") for button in app.get("download_button")]


def test_a_file_of_changes_takes_the_place_of_those_shown(opened: Opener) -> None:
    mine = {"S0005": PlanEdit("leave", None, "its owner sells it"), "S0026": PlanEdit("rebuild", CLOSED)}
    app = upload(opened(PLAN, edit="S0034:leave"), changes_file(mine))
    assert app.query_params["edit"] == EDITS
    assert "2 changes were read from mine.csv." in read(app)
    assert "Changed by hand: S0005 and S0026." in read(app)


def test_a_file_that_cannot_be_read_changes_nothing_and_says_why(opened: Opener) -> None:
    app = upload(opened(PLAN, edit="S0034:leave"), b"unit_id,action\nS9999,leave\nS0005,polish\n")
    assert "mine.csv row 2, unit_id 'S9999': no unit of this name is in the plan." in read(app)
    assert "mine.csv row 3, action 'polish'" in read(app)
    assert "Changed by hand: S0034." in read(app)
    assert "polish" not in read(app.run())


def test_a_unit_of_the_files_week_is_checked_against_the_days_of_the_form(opened: Opener) -> None:
    app = upload(opened(PLAN, ready_by="2027-02-01"), b"unit_id,action,week_of\nS0005,rebuild,2027-04-05\n")
    assert "the week of 2027-04-05 is outside of what can be planned" in read(app)
