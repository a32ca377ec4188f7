"""The screen "Off-season plan": it says what the core says; limits, changes by hand, links, small and empty fleets."""

from __future__ import annotations

import io
import shutil
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

import words
from fleet_rows import craft_places
from forecaster import Fleet, PlanAnswer, PlanEdit, PlannedAction, sample_fleet_folder
from loading import load
from plan_charts import bench_by_week, rules_beside
from plan_form import EDITS, NO_WEEK, take_edits
from plan_rows import bench_rows, plan_file, rule_rows, table_rows, week_rows
from plan_words import (
    account,
    answer_words,
    by_hand_words,
    in_order,
    little_more,
    parts_words,
    rule_words,
    spares_words,
)
from tests.opened_screen import bare, labelled, open_screen, read, title
from told_wrong import NO_ANSWER
from words import day_words

AS_OF = date(2026, 11, 1)
SAMPLE = sample_fleet_folder()
SCREEN = "screens/off_season_plan.py"
Opener = Callable[..., AppTest]


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    """The very fleet that the screen asks."""
    return load(str(SAMPLE), date.today()).fleet


@pytest.fixture(scope="module")
def best(fleet: Fleet) -> PlanAnswer:
    return fleet.plan(AS_OF)


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Opener:
    """Opens the screen on a source with a link."""

    def open_at(source: Path = SAMPLE, **link: str | list[str]) -> AppTest:
        return open_screen(monkeypatch, source, SCREEN, **{"as_of": AS_OF.isoformat(), **link})

    return open_at


@pytest.fixture
def one_craft(tmp_path: Path) -> Path:
    """A fleet of one craft and one unit, of which hardly anything is known."""
    place = tmp_path / "one"
    place.mkdir()
    (place / "craft.csv").write_text("craft_id\nC1\n", encoding="utf-8")
    (place / "fittings.csv").write_text("unit_id,craft_id,fitted_on\nS1,C1,2026-05-01\n", encoding="utf-8")
    (place / "fleet.toml").write_text('currency = "EUR"\n[bench]\nbudget = 900\n', encoding="utf-8")
    return place


# --- the answer ----------------------------------------------------------------------------------------------------


def test_it_opens_with_the_answer(opened: Opener, best: PlanAnswer) -> None:
    app = opened()
    assert title(app) == answer_words(best, "USD")
    rebuilds = best.plan.count("rebuild")
    assert bare(title(app)).startswith(f"Rebuild {rebuilds} of 26 units ")
    assert f"USD {best.plan.spent:,.0f} now, about USD " in bare(title(app))
    assert "less over two seasons than doing nothing." in bare(title(app))


def test_it_says_all_that_the_plan_answers(opened: Opener, best: PlanAnswer) -> None:
    shown = read(opened())
    whole = (account(best, "USD"), parts_words(best), spares_words(best), rule_words(best, "USD"))
    for line in (*whole, *little_more(best, "USD")):
        assert bare(line) in shown
    assert "A plan is no inspection" in shown
    assert "S0036: oil milky" in shown
    assert f"Learned from {best.evidence.lives} lives" in shown


def test_in_season_it_says_how_many_rebuilds_to_expect_and_which_kits_to_order(opened: Opener, fleet: Fleet) -> None:
    day = date(2026, 7, 20)
    answer = fleet.plan(day)
    app = opened(as_of=day.isoformat())
    assert " in the coming off-season: USD " in bare(title(app))
    rebuilds, order = answer.to_come.rebuilds, answer.parts
    shown = read(app)
    assert bare(f"the off-season brings **{rebuilds.low} to {rebuilds.high} rebuilds**") in shown
    assert bare(f"**Order {rebuilds.high} kits by {day_words(order.order_by)}.**") in shown
    for unit, due in answer.due.items():
        assert f"{unit} ({due})" in shown


def test_parts_triggers_and_rules_have_their_tables(opened: Opener, best: PlanAnswer) -> None:
    parts, triggers, rules = (table.value for table in opened().table)
    assert list(parts["For the rebuilds"].astype(int)) == [best.plan.count("rebuild")] * 5
    assert len(triggers) == 26
    assert len(rules) == len(best.rules)


def test_the_plan_can_be_taken_along(opened: Opener, best: PlanAnswer, fleet: Fleet) -> None:
    assert [button.label for button in opened().get("download_button")] == ["Download this table (CSV)"]
    told = fleet.instructions(AS_OF)
    file = pd.read_csv(io.BytesIO(plan_file(best, {"S0003": PlanEdit("leave", None, "sold")}, told)))
    assert len(file) == 26
    assert file["saves_expected"].sum() == pytest.approx(best.plan.saves, abs=0.01)
    assert set(file.loc[file["changed_by_hand"] == "yes", "unit_id"]) == {"S0003"}
    assert set(file["why_changed"].dropna()) == {"sold"}
    assert set(file["currency"]) == {"USD"}


# --- limits --------------------------------------------------------------------------------------------------------


def test_a_budget_that_binds_is_kept_told_and_stands_in_the_link(opened: Opener, fleet: Fleet) -> None:
    app = opened()
    labelled(app, "Budget").set_value("5000").run()
    assert not app.exception
    poor = fleet.plan(AS_OF, budget=5_000.0)
    assert title(app) == answer_words(poor, "USD")
    assert poor.plan.spent <= 5_000
    assert app.query_params["budget"] == "5000"
    assert "The next 1,000 of budget: would save a further USD" in read(app).replace("*", "")


def test_with_a_budget_of_nothing_all_are_left(opened: Opener) -> None:
    app = opened(budget="0")
    assert bare(title(app)) == "Leave all of 26 units this off-season: within the limits no work pays."
    assert "No parts are needed for this plan." in read(app)
    assert "not clear since; do not run; check before it runs again" in read(app)


def test_a_link_opens_with_all_its_limits(opened: Opener, fleet: Fleet) -> None:
    ready, closed = date(2027, 2, 1), date(2026, 12, 21)
    app = opened(bench="1", ready_by=ready.isoformat(), closed=closed.isoformat(), spares="1")
    answer = fleet.plan(AS_OF, bench_per_week=1.0, ready_by=ready, closed=(closed,), spare_units=1)
    assert title(app) == answer_words(answer, "USD")
    assert closed not in [a.week_of for a in answer.plan.actions]
    assert {"bench", "ready_by", "closed", "spares"} <= set(app.query_params)


def test_the_season_the_shelf_and_the_risk_of_overspending_are_asked_for(opened: Opener, fleet: Fleet) -> None:
    told = {"budget": "9000", "overspend": "40", "kits": "4", "lead_time": "5", "least_gain": "20"}
    app = opened(**told, season_budget="800", season_bench="1")
    answer = fleet.plan_with(
        {},
        AS_OF,
        budget=9000.0,
        overspend_chance=0.4,
        kits=4,
        lead_time_weeks=5.0,
        least_gain=0.2,
        season_budget=800.0,
        season_rebuilds_per_week=1.0,
    ).answer
    assert title(app) == answer_words(answer, "USD")
    assert bare(account(answer, "USD")) in read(app)
    assert "The chance that the work costs more than there is" in read(app)
    assert {*told, "season_budget", "season_bench"} <= set(app.query_params)


def test_days_that_make_no_plan_say_why_and_can_be_mended_there(opened: Opener) -> None:
    app = opened(begins="2027-03-01", ready_by="2027-02-01")
    assert title(app) == "There is no plan for this"
    assert "it is to begin on 1 Mar 2027 and be ready by 1 Feb 2027" in bare(app.error[1].value)
    assert [widget.label for widget in app.date_input] == ["As of", "First day", "Ready by"]


@pytest.mark.parametrize(
    ("name", "value"), [("ready_by", "soon"), ("closed", "soon"), ("edit", "S0005:polish"), ("edit", "S9999:leave")]
)
def test_a_link_that_makes_no_sense_is_told_so_above_the_answer(
    opened: Opener, best: PlanAnswer, name: str, value: str
) -> None:
    app = opened(**{name: value})
    assert value.split(":")[0] in bare(app.main[0].warning[0].value)
    assert title(app) == answer_words(best, "USD")
    assert unfolded(app) == (name == "closed")


@pytest.mark.parametrize(
    ("name", "value", "told"),
    [
        ("budget", "much", "Budget: “much” is not a number"),
        ("bench", "-1", "Rebuilds a week: “-1” is too low: a number from 0 to 10000 is needed"),
        ("spares", "2,5", "Spare units: “2,5” is not a whole number"),
        ("spares", "many", "Spare units: “many” is not a number"),
    ],
)
def test_a_limit_of_the_link_that_cannot_be_used_is_told_at_the_top_and_not_planned_with(
    opened: Opener, name: str, value: str, told: str
) -> None:
    app = opened(**{name: value, "edit": "S0026:leave"})
    assert f"{name}={value}" in bare(app.main[0].warning[0].value)
    assert title(app) == NO_ANSWER
    assert bare(app.error[1].value).startswith(told)
    assert app.text_input(key=f"plan_{name}").value == value
    assert unfolded(app) == (name == "spares")
    assert (app.query_params[name], app.query_params["edit"]) == (value, "S0026:leave")


def test_a_budget_is_typed_with_a_comma_or_a_point(opened: Opener, fleet: Fleet) -> None:
    app = opened()
    labelled(app, "Budget").set_value("5000,5").run()
    assert title(app) == answer_words(fleet.plan(AS_OF, budget=5_000.5), "USD")
    assert app.query_params["budget"] == "5000.5"


def test_a_budget_that_could_be_two_is_refused_until_it_is_mended(opened: Opener, best: PlanAnswer) -> None:
    app = opened()
    labelled(app, "Budget").set_value("8.000").run()
    assert title(app) == NO_ANSWER
    stops, top, beneath = (bare(error.value) for error in app.error)
    assert stops.startswith("**Do not run as it is:**")  # that holds without any plan
    assert top == f"Budget: {beneath}"
    assert "Write 8000 for the large number, or 8.0000 for the small one." in beneath
    assert app.query_params["budget"] == "8.000"
    labelled(app, "Budget").set_value("").run()
    assert title(app) == answer_words(best, "USD")
    assert "budget" not in app.query_params


def unfolded(app: AppTest) -> bool:
    """Whether the further limits stand open."""
    return bool(next(block for block in app.expander if block.label == "More").proto.expanded)


# --- changes by hand -----------------------------------------------------------------------------------------------


def test_a_change_by_hand_is_told_with_what_it_costs_and_which_limit_it_breaks(opened: Opener, fleet: Fleet) -> None:
    late = fleet.plan(AS_OF).later_weeks[-1]
    made = fleet.plan_with({"S0005": PlanEdit("rebuild", late), "S0026": PlanEdit("leave")}, AS_OF)
    app = opened(edit=[f"S0005:rebuild:{late}", "S0026:leave"])
    assert bare(by_hand_words(made, "USD")) in read(app)
    assert "Changed by hand: S0005 and S0026. It costs about USD" in read(app)
    for broken in made.broken:
        assert bare(words.told(broken)) in read(app)
    assert f"in the week of {words.day_words(late)} would be done too late".replace(words.SPACE, " ") in read(app)


def test_back_to_the_best_plan(opened: Opener, best: PlanAnswer) -> None:
    app = opened(edit="S0026:leave")
    assert title(app) != answer_words(best, "USD")
    app.button(key="best-plan").click().run()
    assert title(app) == answer_words(best, "USD")
    assert "edit" not in app.query_params
    assert "Changed by hand" not in read(app)


def test_a_change_that_does_not_fit_is_told_and_the_best_plan_shown(opened: Opener, best: PlanAnswer) -> None:
    app = opened(edit="S9999:leave")
    assert "S9999 is not in the plan" in read(app)
    assert title(app) == answer_words(best, "USD")


def test_what_is_changed_in_the_table_adds_to_what_was_changed(monkeypatch: pytest.MonkeyPatch) -> None:
    monday = date(2026, 11, 2)
    shown = [
        PlannedAction("S1", "C1", "rebuild", monday, 650.0, 900.0),
        PlannedAction("S2", "C2", "leave", None, 0.0, 0.0),
        PlannedAction("S3", "C3", "check", monday, 90.0, 100.0),
    ]
    later = monday + timedelta(weeks=3)
    rows = {0: {"work": "leave"}, 1: {"week": later.isoformat()}, 2: {"week": NO_WEEK}}
    state: dict[str, object] = {"table": {"edited_rows": rows}}
    monkeypatch.setattr("streamlit.session_state", state)
    take_edits("table", shown, {"S9": PlanEdit("leave")})
    assert state[EDITS] == {
        "S9": PlanEdit("leave"),
        "S1": PlanEdit("leave"),
        "S2": PlanEdit("rebuild", later),  # a week for a unit that was left: a rebuild is meant
        "S3": PlanEdit("check"),
    }


def test_the_table_keeps_the_order_of_the_weeks_and_every_unit(fleet: Fleet, best: PlanAnswer) -> None:
    rows = table_rows(in_order(best.plan.actions), best, craft_places(fleet.records), fleet.instructions(AS_OF))
    worked = rows[rows["work"] != "leave"]
    assert list(worked["week"]) == sorted(worked["week"])
    assert list(rows["work"])[len(worked) :] == ["leave"] * (26 - len(worked))
    assert set(rows["unit"]) == {a.unit_id for a in best.plan.actions}


# --- pictures ------------------------------------------------------------------------------------------------------


def test_each_unit_with_work_is_a_block_in_its_week(fleet: Fleet) -> None:
    answer = fleet.plan(AS_OF, budget=5_000.0)
    work = bench_rows(answer, craft_places(fleet.records), {"S0005"}, "USD")
    figure = bench_by_week(work, week_rows(answer), [], answer.season_opens, answer.ready_by)
    blocks = {
        label: (pd.Timestamp(week), base + height)
        for trace in figure.data
        if trace.type == "bar"
        for label, week, base, height in zip(trace.text, trace.x, trace.base, trace.y, strict=True)
    }
    planned = {a.unit_id: a.week_of for a in answer.plan.actions if a.week_of}
    assert {label: week.date() for label, (week, _) in blocks.items()} == planned
    assert max(top for _, top in blocks.values()) <= 3.0
    by_name = {trace.name.split(" ")[0]: trace for trace in figure.data if trace.type == "bar"}
    assert by_name["rebuild"].marker.pattern.shape != by_name["check"].marker.pattern.shape
    assert (figure.layout.xaxis.title.text, figure.layout.yaxis.title.text) == ("week, by its Monday", "bench places")
    assert any("season opens" in note.text for note in figure.layout.annotations)


def test_closed_weeks_are_marked(fleet: Fleet) -> None:
    answer = fleet.plan(AS_OF, closed=(date(2026, 12, 24),))
    work = bench_rows(answer, craft_places(fleet.records), set(), "USD")
    figure = bench_by_week(work, week_rows(answer), [], answer.season_opens, answer.ready_by)
    assert [note.text for note in figure.layout.annotations].count("closed") == 1


def test_the_rules_are_drawn_with_their_band(best: PlanAnswer) -> None:
    rules = rule_rows(best)
    figure = rules_beside(rules, best.rule.n_hours, "USD")
    assert len(figure.data[2].x) == len(best.rules) - 1  # without "never by hours"
    assert "engine hours" in figure.layout.xaxis.title.text
    assert any("best rule" in note.text for note in figure.layout.annotations)


# --- other fleets --------------------------------------------------------------------------------------------------


def test_a_fleet_of_one_craft_answers_in_its_currency_from_general_experience(opened: Opener, one_craft: Path) -> None:
    app = opened(one_craft)
    assert "1 unit" in bare(title(app))
    assert "Mostly general experience: no failures in 1 life" in read(app)
    assert "a budget of EUR 900" in read(app)
    assert labelled(app, "Budget").value == "900"


def test_a_budget_of_fleet_toml_can_be_lifted(opened: Opener, one_craft: Path) -> None:
    app = opened(one_craft, budget="none")
    assert "with no budget limit" in read(app)
    assert app.query_params["budget"] == "none"


def test_a_fleet_with_nothing_in_service_says_what_to_do(opened: Opener, one_craft: Path, tmp_path: Path) -> None:
    empty = Path(shutil.copytree(one_craft, tmp_path / "empty"))
    row = "S1,C1,2026-05-01,2026-06-01\n"
    (empty / "fittings.csv").write_text(f"unit_id,craft_id,fitted_on,removed_on\n{row}", encoding="utf-8")
    app = opened(empty)
    assert "Add the rows of what is fitted now to fittings.csv" in read(app)
