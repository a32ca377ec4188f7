"""The screen "After water": with no fleet, with one, with one that cannot be used; what it says comes from the core."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from after_water_charts import risk_after_water
from after_water_form import ENGINE, OIL, OPEN, PARTS, SPIN, TREATED, WATER
from after_water_rows import cost_rows, risk_lines, risk_rows, scenario_rows
from after_water_words import NAME_OF_SCENARIO, told_words
from forecaster import AfterWater, Fleet, flooded_alone, flooding_of, open_fleet
from forecaster.flooding_steps import FIRST_STEPS
from forecaster.report.after_water_wording import CAUTION_WORDS, ORDER_WORDS, STEP_WORDS, words_after_water
from palette import DASH_OF_SCENARIO, SHAPE_OF_SCENARIO, colour_of_scenario
from tests.conftest import ROOT, SAMPLE_DAY
from tests.opened_screen import bare, open_screen, spaced
from tests.test_charts import BLIND, BY_DAY_AND_NIGHT, TELLS_APART, contrast, seen_distance
from told_wrong import NO_ANSWER
from words import SPACE, chance_words, plain

SAMPLE = ROOT / "sample_fleet"
SCREEN = "screens/after_water.py"
STOP, WAIT = ORDER_WORDS["stop"], ORDER_WORDS["do_not_start"]
CRAFT = "C003"
Opener = Callable[..., AppTest]


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Opener:
    """Opens the screen on a source (None: no fleet), with a link."""

    def open_at(source: Path | None = None, **told: str) -> AppTest:
        return open_screen(monkeypatch, source, SCREEN, **{"as_of": SAMPLE_DAY.isoformat(), **told})

    return open_at


@pytest.fixture(scope="module")
def one_craft(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample fleet with one craft left."""
    place = Path(shutil.copytree(SAMPLE, tmp_path_factory.mktemp("fleets") / "one_craft"))
    for name in ("craft", "fittings", "hours", "water"):
        file = place / f"{name}.csv"
        rows = pd.read_csv(file, dtype=str, keep_default_na=False)
        rows[rows["craft_id"] == CRAFT].to_csv(file, index=False)
    units = set(pd.read_csv(place / "fittings.csv", dtype=str)["unit_id"])
    for name in ("rebuilds", "checks"):
        rows = pd.read_csv(place / f"{name}.csv", dtype=str, keep_default_na=False)
        rows[rows["unit_id"].isin(units)].to_csv(place / f"{name}.csv", index=False)
    return place


def told(app: AppTest) -> str:
    """Everything that the screen says in text, in the order drawn, with ordinary spaces."""
    kinds = ("title", "subheader", "markdown", "caption", "error", "warning", "info", "checkbox")
    texts = [e.label if e.type == "checkbox" else e.value for e in drawn(app) if e.type in (*kinds, "heading", "alert")]
    return spaced("\n".join(texts))


def drawn(app: AppTest) -> list[Any]:
    """All elements of the page from top to bottom."""

    def walk(block: Any) -> list[Any]:
        children = getattr(block, "children", None)
        return [block] if children is None else [e for child in children.values() for e in walk(child)]

    return walk(app.main)


def unmarked(text: str) -> str:
    """A text as a reader sees it, without what keeps it from being taken for formatting."""
    return text.replace("\\", "")


def title_of(app: AppTest) -> str:
    """What stands above all, as a reader sees it."""
    return unmarked(app.title[0].value)


def answer_of(app: AppTest) -> str:
    """The answer in one sentence, wherever it stands."""
    said = unmarked(told(app))
    [line] = [line for line in said.split("\n") if ": do the steps first" in line or ": once the steps" in line]
    return line.strip("*")


def in_words(text: str) -> str:
    """A text of the core as the screen writes it."""
    return spaced(plain(text))


def radio(app: AppTest, name: str) -> Any:
    return app.radio(key=f"water_{name}")


def place(text: str, words: str) -> int:
    """Where words first stand; they must."""
    assert words in text
    return text.index(words)


# --- no fleet ------------------------------------------------------------------------------------------------------


def test_with_no_fleet_it_answers_from_general_experience(opened: Opener) -> None:
    app = opened(water="salt", done="no", age="80")
    answer = flooded_alone(flooding_of(happened_on=SAMPLE_DAY, water="salt", treated="no"), SAMPLE_DAY, 80.0)
    words = words_after_water(answer)
    assert in_words(words.risk) in told(app)
    assert in_words(words.risk_figures) in told(app)
    assert answer_of(app).startswith("This craft (80 h since rebuild): do the steps first, then check")
    assert f"after {answer.best.check_after_h:g} engine hours" in answer_of(app)
    assert "they are general experience" in told(app)


def test_before_any_question_it_says_not_to_start_it_and_what_comes_first(opened: Opener) -> None:
    app = opened()
    assert WAIT in title_of(app)
    kinds = [(e.type, getattr(e, "label", "")) for e in drawn(app)]
    first_question = next(n for n, (kind, _) in enumerate(kinds) if kind in ("radio", "date_input"))
    above = [unmarked(label) for kind, label in kinds[:first_question] if kind == "checkbox"]
    wanted = [STEP_WORDS[code] for code in FIRST_STEPS]
    assert [words for words in wanted if any(words in label for label in above)] == wanted
    assert "craft" not in app.query_params
    assert all(question.index == 0 for question in app.radio)
    assert "do the steps first" in answer_of(app)


def test_once_it_was_treated_it_no_longer_says_not_to_start_it(opened: Opener) -> None:
    app = opened(done="yes", oil="clear", cylinder="no", spin="quiet")
    assert WAIT not in unmarked(told(app))
    assert title_of(app).startswith("This craft")


def test_every_question_can_be_left_open() -> None:
    open_answers = {"unknown", "", "not_done"}
    for question in (WATER, ENGINE, OIL, SPIN, TREATED, PARTS):
        assert next(iter(question.answers)) in open_answers


def test_answers_stand_in_the_link_and_come_back_from_it(opened: Opener) -> None:
    app = opened()
    radio(app, "water").set_value("salt").run()
    radio(app, "done").set_value("yes").run()
    radio(app, "within").set_value("6").run()
    app.text_input(key="water_age").set_value("140").run()
    assert {name: app.query_params[name] for name in ("water", "done", "within", "age")} == {
        "water": "salt",
        "done": "yes",
        "within": "6",
        "age": "140",
    }
    again = opened(water="salt", done="yes", within="6", age="140")
    assert (radio(again, "water").value, radio(again, "within").value) == ("salt", "6")
    assert answer_of(again) == answer_of(app)


def test_a_day_ago_the_hours_decide_whether_a_treatment_is_still_in_time(opened: Opener) -> None:
    yesterday = (SAMPLE_DAY - timedelta(days=1)).isoformat()
    assert "treated today, in time" in told(opened(happened=yesterday, ago="18", done="no"))
    assert "treated today, which is late" in told(opened(happened=yesterday, ago="30", done="no"))
    longer = (SAMPLE_DAY - timedelta(days=5)).isoformat()
    assert "About how long ago?" not in [question.label for question in opened(happened=longer, done="no").radio]


def test_hours_count_and_none_are_said_to_be_left(opened: Opener) -> None:
    said = told(opened(happened=(SAMPLE_DAY - timedelta(days=1)).isoformat(), ago="18", done="no"))
    assert "every hour counts" in said
    assert "are left" not in said


def test_hours_ago_that_the_new_day_rules_out_are_no_longer_told(opened: Opener) -> None:
    app = opened(happened=(SAMPLE_DAY - timedelta(days=1)).isoformat(), ago="30", done="no")
    app.date_input(key="happened").set_value(SAMPLE_DAY).run()
    assert not app.exception
    assert "ago" not in app.query_params
    assert answer_of(app).startswith("This craft")


def test_a_link_means_the_same_day_tomorrow_and_its_hours_ago_no_longer_count(opened: Opener) -> None:
    app = opened()
    app.radio(key=f"water_ago_{SAMPLE_DAY}").set_value("6").run()
    radio(app, "done").set_value("no").run()
    assert "treated today, in time" in told(app)
    sent = {name: app.query_params[name] for name in app.query_params if name != "as_of"}
    assert sent["happened"] == SAMPLE_DAY.isoformat()
    tomorrow = opened(**{**sent, "as_of": (SAMPLE_DAY + timedelta(days=1)).isoformat()})
    assert tomorrow.date_input(key="happened").value == SAMPLE_DAY
    assert "treated today, which is late" in unmarked(told(tomorrow))


@pytest.mark.parametrize(
    ("name", "value"),
    [("oil", "black"), ("happened", "soon"), ("happened", "2100-01-01"), ("within", "6 h"), ("parts", "cheap")],
)
def test_a_word_of_the_link_that_cannot_be_is_told_above_the_answer_and_the_form_is_open(
    opened: Opener, name: str, value: str
) -> None:
    app = opened(**{"water": "salt", "done": "yes", name: value})
    assert f"{name}={value}" in bare(drawn(app)[0].value)
    assert app.session_state[OPEN]
    assert len(app.checkbox) > 5


@pytest.mark.parametrize(
    ("name", "value", "why"),
    [
        ("age", "old", "“old” is not a number"),
        ("age", "-4", "“-4” is too low: engine hours from 0 to 5000 are needed"),
        ("run", "1e9", "“1e9” is not a number"),
        ("run", "1,234", "“1,234” can be read in two ways"),
    ],
)
def test_a_number_of_the_link_that_cannot_be_used_is_told_at_the_top_and_not_taken_for_unknown(
    opened: Opener, name: str, value: str, why: str
) -> None:
    app = opened(**{"water": "salt", name: value})
    first = drawn(app)[0]
    assert f"{name}={value}" in bare(first.value)
    assert app.title[0].value == NO_ANSWER
    assert why in bare(app.error[0].value)
    assert app.text_input(key=f"water_{name}").value == value
    assert app.session_state[OPEN]
    assert not app.checkbox


def test_answers_of_the_link_that_rule_each_other_out_are_told(opened: Opener) -> None:
    app = opened(happened=SAMPLE_DAY.isoformat(), done="yes", within="672")
    assert "within=672; with the other answers that cannot be so" in bare(drawn(app)[0].value)


def test_a_link_with_nothing_wrong_opens_on_its_answer(opened: Opener) -> None:
    app = opened(water="salt", done="yes", within="6", age="80")
    assert not app.warning
    assert not app.session_state[OPEN]


def test_facts_that_the_link_contradicts_are_refused_with_the_form_open(opened: Opener) -> None:
    app = opened(water="salt", age="3", run="9")
    assert app.title[0].value == "Two of these answers cannot both be so"
    assert app.session_state[OPEN]


@pytest.mark.parametrize(("typed", "told_in_link"), [("0,05", "0.05"), (" 13,5 ", "13.5"), ("80", "80")])
def test_hours_are_typed_with_a_comma_or_a_point(opened: Opener, typed: str, told_in_link: str) -> None:
    app = opened()
    app.text_input(key="water_age").set_value(typed).run()
    assert app.query_params["age"] == told_in_link
    assert answer_of(app) == answer_of(opened(age=told_in_link))


def test_hours_that_cannot_be_used_give_no_answer_until_they_are_mended(opened: Opener) -> None:
    app = opened(age="80")
    answered = answer_of(app)
    app.text_input(key="water_age").set_value("1,234").run()
    assert app.title[0].value == NO_ANSWER
    top, beneath = (bare(error.value) for error in app.error)
    assert top == f"Engine hours since it was new or rebuilt: {beneath}"
    assert "do not start it, do not crank it" in told(app)
    assert app.text_input(key="water_age").value == "1,234"
    assert app.query_params["age"] == "1,234"  # and so it is refused wherever the link leads
    assert not app.warning  # nobody followed a link
    app.text_input(key="water_age").set_value("80").run()
    assert answer_of(app) == answered
    assert not app.error


def test_hours_told_of_one_craft_are_not_left_behind_for_another(opened: Opener) -> None:
    app = opened(SAMPLE, craft="elsewhere")
    app.text_input(key="water_age").set_value("old").run()
    assert app.title[0].value == NO_ANSWER
    app.selectbox(key="flooded_craft").set_value(CRAFT).run()
    assert answer_of(app).startswith(CRAFT)
    assert "age" not in app.query_params
    app.selectbox(key="flooded_craft").set_value("elsewhere").run()
    assert app.text_input(key="water_age").value == ""


def test_facts_that_contradict_each_other_are_refused_where_the_answer_would_stand(opened: Opener) -> None:
    app = opened(age="3", run="9")
    assert app.title[0].value == "Two of these answers cannot both be so"
    assert "9 engine hours are said to have been run since the water" in told(app).replace("\\", "")
    assert not app.checkbox
    assert "do not start it, do not crank it" in told(app)
    assert in_words(STEP_WORDS["battery_off"]) in told(app)
    app.text_input(key="water_run").set_value("2").run()
    assert answer_of(app).startswith("This craft (3")


# --- STOP ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "value", "reason"),
    [
        ("oil", "milky", "The oil is milky"),
        ("spin", "rattle", "rattles when spun"),
        ("cylinder", "yes", "in a cylinder"),
    ],
)
def test_stop_comes_before_everything(opened: Opener, name: str, value: str, reason: str) -> None:
    app = opened(**{name: value})
    first = next(e for e in drawn(app) if e.type in ("title", "heading", "markdown", "caption", "radio"))
    assert STOP in unmarked(first.value)
    assert ":material/dangerous:" in first.value  # an icon beside the words: the stop is more than a colour
    text = unmarked(told(app))
    assert place(text, STOP) < place(text, reason) < place(text, "once the steps have put that right")


@pytest.mark.parametrize(
    ("question", "answers", "reason"),
    [
        ("oil", {"oil": "milky"}, "The oil is milky"),
        ("spin", {"spin": "rattle"}, "rattles when spun"),
        ("cylinder", {"cylinder": "yes"}, "There is water in a cylinder"),
        ("engine", {"engine": "running"}, "The engine ran as it went under"),
        ("compression", {"engine": "running", "compression": "low"}, "Its compression is low"),
    ],
)
def test_a_stop_stands_right_beneath_the_answer_that_causes_it(
    opened: Opener, question: str, answers: dict[str, str], reason: str
) -> None:
    app = opened(**answers)
    elements = drawn(app)
    at = next(n for n, e in enumerate(elements) if e.type == "radio" and e.key == f"water_{question}")
    beneath = next(e for e in elements[at + 1 :] if e.type in ("error", "alert", "radio"))
    assert beneath.type != "radio"
    assert unmarked(beneath.value).startswith(STOP)
    assert reason in unmarked(beneath.value)


def test_compression_is_asked_only_of_an_engine_that_ran_under_water(opened: Opener) -> None:
    def asks(**answers: str) -> bool:
        return "water_compression" in [question.key for question in opened(**answers).radio]

    assert asks(engine="running")
    assert not asks(engine="running", under="0")
    assert not asks(engine="off")
    tested = opened(engine="running", compression="good", done="yes", oil="clear", spin="quiet", cylinder="no")
    assert STOP not in unmarked(told(tested))


def test_the_gravest_reason_to_stop_comes_first(opened: Opener) -> None:
    text = told(opened(cylinder="yes", oil="milky"))
    assert place(text, "There is water in a cylinder") < place(text, "The oil is milky")


def test_nothing_that_must_stop_is_told_to_ride(opened: Opener) -> None:
    app = opened(oil="milky", spin="quiet", cylinder="no", done="yes", within="1", age="5")
    assert "ride" not in answer_of(app).replace("before the next ride", "")
    assert not any("Ride" in way for table in app.table for way in table.value.get("Way", []))


def test_without_a_reason_to_stop_nothing_says_stop(opened: Opener) -> None:
    assert STOP not in unmarked(told(opened(oil="clear", spin="quiet", cylinder="no", done="yes", within="6")))


# --- steps and cautions --------------------------------------------------------------------------------------------


def test_answer_steps_and_cautions_come_before_any_picture(opened: Opener) -> None:
    kinds = [e.type for e in drawn(opened(SAMPLE, craft=CRAFT, oil="milky"))]
    assert kinds.index("plotly_chart") > max(n for n, kind in enumerate(kinds) if kind == "checkbox")


def test_the_steps_are_those_of_the_core_in_its_order(opened: Opener, sample: Fleet) -> None:
    answer = sample.after_water(CRAFT, flooding_of(happened_on=SAMPLE_DAY, water="salt", oil="milky"), SAMPLE_DAY)
    app = opened(SAMPLE, craft=CRAFT, water="salt", oil="milky")
    steps = words_after_water(answer).steps
    assert [unmarked(c.label) for c in app.checkbox] == [f"Step {step.number}. {step.do}" for step in steps]
    assert [step.number for step in steps] == list(range(1, len(steps) + 1))
    text = told(app)
    headings = [place(text, f"**{when}**") for when in ("Now", "Within a day", "Before the next ride")]
    assert headings == sorted(headings)


@pytest.mark.parametrize("facts", [{}, {"spin": "rattle", "oil": "milky"}, {"done": "yes", "spin": "quiet"}])
def test_every_caution_is_shown_and_those_of_a_step_right_below_it(opened: Opener, facts: dict[str, str]) -> None:
    app = opened(**facts)
    text = told(app)
    assert all(in_words(caution) in text for caution in CAUTION_WORDS.values())
    if "Look into each cylinder" in text:
        below = text[place(text, "Look into each cylinder") :].split("\n")[1]
        assert "Never crank an engine with water in a cylinder" in below


def test_when_to_call_a_mechanic_is_a_list_of_its_own_with_what_is_so_marked(opened: Opener) -> None:
    said = unmarked(told(opened(oil="milky")))
    listed = said[place(said, "Call a mechanic now if") :].split("\n")[1:]
    assert listed[0] == "- **the oil is milky, or turns milky again after it was changed** (so here)"
    assert len([line for line in listed if line.startswith("- ")]) > 5


def test_a_tick_stays_with_its_step_whatever_else_is_told(opened: Opener) -> None:
    app = opened()
    battery = next(c for c in app.checkbox if "Take the battery off" in c.label)
    battery.check().run()
    radio(app, "oil").set_value("milky").run()
    assert ["Take the battery off" in c.label for c in app.checkbox if c.value] == [True]


def test_a_tick_survives_a_reload_and_is_that_craft_s_and_day_s_alone(opened: Opener) -> None:
    app = opened()
    next(c for c in app.checkbox if "Take the battery off" in c.label).check().run()
    link = {name: app.query_params[name] for name in app.query_params if name != "as_of"}
    again = opened(**link)
    assert ["Take the battery off" in c.label for c in again.checkbox if c.value] == [True]
    again.date_input(key="happened").set_value(SAMPLE_DAY - timedelta(days=1)).run()
    assert not [c for c in again.checkbox if c.value]
    assert "ticked" not in again.query_params


def test_a_tick_stays_while_another_screen_is_looked_at(opened: Opener) -> None:
    app = opened(SAMPLE, craft=CRAFT)
    app.checkbox[1].check().run()
    label = app.checkbox[1].label
    app.switch_page("screens/data_problems.py").run()
    app.switch_page(SCREEN).run()
    assert not app.exception
    assert [c.label for c in app.checkbox if c.value] == [label]


# --- a fleet and one of its craft ----------------------------------------------------------------------------------


def test_a_craft_of_the_fleet_is_answered_from_its_records(opened: Opener, sample: Fleet) -> None:
    answer = sample.after_water(CRAFT, flooding_of(happened_on=SAMPLE_DAY, treated="no"), SAMPLE_DAY)
    app = opened(SAMPLE, craft=CRAFT, done="no")
    assert answer_of(app).startswith(CRAFT)
    assert answer.unit_id in answer_of(app)
    text = told(app)
    words = words_after_water(answer)
    assert in_words(words.risk_figures) in text
    assert f"Learned from {answer.evidence.lives} lives" in text
    assert all(in_words(reason[:1].upper() + reason[1:]) in text for reason in words.reasons)
    with pytest.raises(KeyError):
        app.text_input(key="water_age")  # its hours are in the records


def test_until_a_craft_is_chosen_general_experience_answers(opened: Opener) -> None:
    app = opened(SAMPLE)
    assert "No craft of the fleet is chosen" in told(app)
    app.selectbox(key="flooded_craft").set_value(CRAFT).run()
    assert app.query_params["craft"] == CRAFT
    assert answer_of(app).startswith(CRAFT)


def test_another_craft_than_the_fleets_can_be_asked_about(opened: Opener) -> None:
    app = opened(SAMPLE, craft="elsewhere", age="80")
    assert answer_of(app).startswith("This craft (80")


def test_a_wrong_craft_in_the_link_is_told_and_not_replaced_by_another(opened: Opener) -> None:
    app = opened(SAMPLE, craft="C999")
    assert "There is no craft C999 in this fleet" in told(app)
    assert app.selectbox(key="flooded_craft").value is None
    assert answer_of(app).startswith("This craft")


def test_the_only_craft_of_a_fleet_need_not_be_chosen(opened: Opener, one_craft: Path) -> None:
    app = opened(one_craft, done="no")
    assert answer_of(app).startswith(CRAFT)
    evidence = open_fleet(one_craft, SAMPLE_DAY).fit(SAMPLE_DAY).evidence
    assert f"Learned from {evidence.lives} lives" in told(app)


def test_a_fleet_of_little_record_is_told_to_be_mostly_general_experience(opened: Opener, tmp_path: Path) -> None:
    (tmp_path / "craft.csv").write_text("craft_id\nC1\n", encoding="utf-8")
    (tmp_path / "fittings.csv").write_text("unit_id,craft_id,fitted_on\nS1,C1,2026-05-01\n", encoding="utf-8")
    app = opened(tmp_path, done="no")
    assert answer_of(app).startswith("C1")
    assert "Mostly general experience" in told(app)


def test_water_before_the_unit_was_fitted_falls_back_to_general_experience(opened: Opener, sample: Fleet) -> None:
    craft_id = sample.records.fittings.sort_values("fitted_on")["craft_id"].iloc[-1]
    own = sample.records.fittings[sample.records.fittings["craft_id"] == craft_id]
    before = (own["fitted_on"].max() - pd.Timedelta(days=1)).date()
    app = opened(SAMPLE, craft=craft_id, happened=before.isoformat())
    assert "general experience answers instead" in told(app)
    assert app.checkbox


def test_a_fleet_that_cannot_be_used_does_not_keep_anybody_waiting(opened: Opener, tmp_path: Path) -> None:
    (tmp_path / "craft.csv").write_text("craft_id\n", encoding="utf-8")
    (tmp_path / "fittings.csv").write_text("unit_id,craft_id,fitted_on\n", encoding="utf-8")
    app = opened(tmp_path, oil="milky")
    assert STOP in title_of(app)
    assert "as of 1 Nov 2026" in told(app)
    shutil.rmtree(tmp_path)
    app.run()
    assert not app.exception
    assert "general experience answers instead" in told(app)
    assert STOP in title_of(app)


def test_a_craft_name_is_shown_as_it_is(opened: Opener, sample_copy: Path) -> None:
    file = sample_copy / "craft.csv"
    with file.open(encoding="utf-8", newline="") as text:
        rows = list(csv.reader(text))
    number = next(n for n, row in enumerate(rows) if row[0] == CRAFT)
    rows[number][rows[0].index("name")] = "**[Otter](http://127.0.0.1)** :smile: $x$"
    with file.open("w", encoding="utf-8", newline="") as text:
        csv.writer(text).writerows(rows)
    assert "**[Otter]" not in told(opened(sample_copy, craft=CRAFT))


# --- the picture, its table, the costs -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def answer(sample: Fleet) -> AfterWater:
    return sample.after_water(CRAFT, flooding_of(happened_on=SAMPLE_DAY, treated="no"), SAMPLE_DAY)


def test_the_picture_shows_each_scenario_with_its_band_and_name(answer: AfterWater) -> None:
    figure = risk_after_water(scenario_rows(answer), NAME_OF_SCENARIO)
    lines = {trace.name: trace for trace in figure.data if trace.mode == "lines+markers"}
    assert list(lines) == list(NAME_OF_SCENARIO.values())
    for scenario, name in NAME_OF_SCENARIO.items():
        chances = [getattr(row, scenario) for row in answer.risk]
        assert list(lines[name].y) == [chance.mean for chance in chances]
        assert lines[name].customdata.tolist() == [[chance.low, chance.high] for chance in chances]
    labels = [a.text for a in figure.layout.annotations]
    assert "<b>not treated</b>" in labels  # what is so now
    assert figure.layout.xaxis.title.text == "engine hours from now"
    assert figure.layout.title.text.startswith("Chance that")


def test_scenarios_differ_in_dash_and_marker_too() -> None:
    for looks in (DASH_OF_SCENARIO, SHAPE_OF_SCENARIO):
        assert set(looks) == set(NAME_OF_SCENARIO)
        assert len(set(looks.values())) == len(looks)


@BY_DAY_AND_NIGHT
def test_scenarios_can_be_told_apart_by_everybody(page: dict[str, str]) -> None:
    colours = [colour_of_scenario(scenario) for scenario in NAME_OF_SCENARIO]
    assert min(contrast(colour, page["backgroundColor"]) for colour in colours) >= 3.0  # WCAG 2.2, 1.4.11
    for sight in BLIND:
        pairs = [(a, b) for n, a in enumerate(colours) for b in colours[n + 1 :]]
        assert min(seen_distance(a, b, sight) for a, b in pairs) >= TELLS_APART


def test_the_table_behind_the_picture_has_every_chance_with_its_interval(answer: AfterWater) -> None:
    rows = risk_rows(answer)
    assert list(rows["not treated"]) == [chance_words(row.untreated) for row in answer.risk]
    assert "as it is" not in rows
    first = answer.risk[0]
    assert risk_lines(rows)[0].startswith(
        f"Within 5{SPACE}h: not treated {chance_words(first.untreated)}; treated late"
    )
    assert len(rows) == 5


def test_where_nobody_knows_the_treatment_the_table_has_the_mixture(sample: Fleet) -> None:
    unknown = sample.after_water(CRAFT, flooding_of(happened_on=SAMPLE_DAY), SAMPLE_DAY)
    assert list(risk_rows(unknown)["as it is"]) == [chance_words(row.as_it_is) for row in unknown.risk]


def test_the_costs_name_every_way_and_mark_the_advised_one(answer: AfterWater) -> None:
    rows = cost_rows(answer, "USD")
    assert len(rows) == len(answer.options)
    marked = rows[rows["Way"].str.contains("advised")]
    assert len(marked) == 1
    assert f"{answer.best.expected_cost:,.0f}" in marked.iloc[0]["Expected cost, USD"]
    assert list(rows.columns) == ["Way", "Expected cost, USD"]


def test_what_is_told_is_said_back_and_what_is_open_is_not() -> None:
    flooding = flooding_of(happened_on=date(2026, 7, 4), under_minutes=10, water="salt", spin="slight")
    assert told_words(flooding).replace(SPACE, " ") == (
        "Your answers: 4 Jul 2026, under for 10 min, salt water and spun with a little noise."
    )
    assert "unknown" not in told_words(flooding_of(happened_on=date(2026, 7, 4)))
    treated = flooding_of(happened_on=date(2026, 7, 4), hours_ago=12, treated="yes", treated_within_h=6)
    assert "about 12 h ago and treated within 6 h" in told_words(treated).replace(SPACE, " ")
