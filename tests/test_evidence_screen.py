"""The evidence screen: what it opens with, what it says where little can be said, and that its pictures hold true."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from evidence_charts import before_and_after, calibration, survival_curves
from evidence_rows import at_risk_rows, calibration_rows, few_from, learned_rows, parameter_rows, score, score_rows
from evidence_words import (
    COUNT_STANDS_HIGH,
    PARAMETER_TOLD,
    SELECTABLE,
    evidence_answer,
    figure_told,
    had_the_opened_failed,
    other_is_better,
    parameter_sentence,
    verdict,
)
from forecaster import Backtest, Fleet, Learned, simulate_fleet, write_fleet
from forecaster.learned import WORDS
from palette import LEARNED, NEUTRAL
from tests.conftest import ROOT, SAMPLE_DAY
from tests.opened_screen import bare, open_screen, read
from tests.test_charts import BLIND, BY_DAY_AND_NIGHT, TELLS_APART, contrast, seen_distance
from words import SPACE

SAMPLE = ROOT / "sample_fleet"
ONE_DAY = date(2021, 11, 1)
Opener = Callable[..., AppTest]


@pytest.fixture(scope="module")
def past(sample: Fleet) -> Backtest:
    """The sample fleet's past, as of the openings of its seasons."""
    return sample.backtest(SAMPLE_DAY, every="season")


@pytest.fixture(scope="module")
def one_craft(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fleet of one craft in its first season, without a failure."""
    place = tmp_path_factory.mktemp("fleets") / "one_craft"
    place.mkdir()
    write_fleet(simulate_fleet(craft=1, seasons=1, seed=4, first_year=2021).records, place)
    return place


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Opener:
    """Opens the evidence screen on a source, with a link."""

    def open_at(source: Path, as_of: date, **link: str) -> AppTest:
        return open_screen(monkeypatch, source, "screens/evidence.py", as_of=as_of.isoformat(), **link)

    return open_at


# --- the screen ----------------------------------------------------------------------------------------------------


def test_it_opens_with_how_much_was_learned_from(opened: Opener, sample: Fleet) -> None:
    known = sample.fit(SAMPLE_DAY).evidence
    app = opened(SAMPLE, SAMPLE_DAY)
    (title,) = app.title
    assert f"Learned from {known.lives} lives, {known.failures} of them ended by a failed bearing;" in bare(title.value)
    assert "yet to be compared" in title.value


def test_it_says_all_that_was_learned_and_cautions_about_the_count(opened: Opener, sample: Fleet) -> None:
    text = read(opened(SAMPLE, SAMPLE_DAY))
    assert COUNT_STANDS_HIGH in text
    for row in sample.learned(SAMPLE_DAY):
        assert bare(parameter_sentence(row)) in text


def test_looking_back_answers_in_the_title_and_stands_in_the_link(opened: Opener, past: Backtest) -> None:
    app = opened(SAMPLE, SAMPLE_DAY)
    app.radio(key="often").set_value("season").run()
    app.button(key="look-back").click().run()
    assert not app.exception
    (title,) = app.title
    assert "on this fleet's own past the two-stage model forecast better than the fleet's average rate" in title.value
    assert app.query_params["look_back"] == "season"
    assert bare(verdict(past, "season")) in read(app)
    app.radio(key="question-season").set_value("hours").run()
    assert "Nothing can be said yet about past forecasts of failing within 50 h" in read(app)


def test_a_link_looks_back_at_once(opened: Opener) -> None:
    app = opened(SAMPLE, SAMPLE_DAY, look_back="season")
    assert "forecast better" in app.title[0].value
    assert not [button for button in app.button if button.key == "look-back"]


def test_the_service_lives_are_those_of_the_fleet(opened: Opener, sample: Fleet) -> None:
    tables = [table.value for table in opened(SAMPLE, SAMPLE_DAY).dataframe]
    (shown,) = [table for table in tables if "failed_B10" in table]
    for row, life in zip(shown.to_dict("records"), sample.service_lives(SAMPLE_DAY), strict=True):
        assert row["kind"] == life.kind
        assert row["failed_B50"].startswith(f"{life.failed['B50'][0]:,.0f}{SPACE}h (")


def test_one_craft_without_failures_is_mostly_general_experience(opened: Opener, one_craft: Path) -> None:
    app = opened(one_craft, ONE_DAY, look_back="season")
    title = bare(app.title[0].value)
    assert title.startswith("Mostly general experience, learned from")
    assert "none of them ended by a failed bearing" in title
    assert "nothing can be said yet from this fleet's own past" in title
    assert "the whole forecast is mostly general experience" in read(app)


def test_the_one_stage_model_has_nothing_learned_in_these_words(opened: Opener) -> None:
    text = read(opened(SAMPLE, SAMPLE_DAY, model="weibull"))
    assert "it has nothing to say in these words" in text
    assert "starts rust" not in text


# --- the sentences -------------------------------------------------------------------------------------------------


def judged(past: Backtest, leads: dict[str, float], sure: set[str], preferred: str | None) -> Backtest:
    """The same backtest had the first model led each rival by so much within the hours asked."""
    rows = pd.DataFrame(
        [
            {"question": "hours", "rival": rival, "log_score_lead": lead, "low": lead - 0.1, "high": lead + 0.1}
            | {"more_than_luck": rival in sure}
            for rival, lead in leads.items()
        ]
    )
    return replace(
        past,
        leads=rows,
        cannot_tell=past.cannot_tell | {"hours": ""},
        preferred=past.preferred | {"hours": preferred},
    )


def test_a_better_rival_is_told_plainly(past: Backtest, sample: Fleet) -> None:
    worse = judged(past, {"weibull": -0.05, "fleet average": 0.03}, {"weibull", "fleet average"}, "weibull")
    known = sample.fit(SAMPLE_DAY).evidence
    answer = evidence_answer(known, worse)
    assert "the two-stage model forecast worse than the Weibull regression, by more than luck" in answer
    assert other_is_better(worse).startswith("The Weibull regression forecast better on this fleet's own past")
    assert "Choose it under" in other_is_better(worse)


def test_a_rule_that_cannot_be_chosen_calls_for_care(past: Backtest) -> None:
    worse = judged(past, {"every N hours": -0.05}, {"every N hours"}, "every N hours")
    assert "every N hours" not in SELECTABLE
    assert "with care" in other_is_better(worse)


def test_a_lead_that_may_be_luck_is_called_so(past: Backtest, sample: Fleet) -> None:
    unsure = judged(past, {"weibull": 0.05, "fleet average": -0.03}, set(), None)
    answer = evidence_answer(sample.fit(SAMPLE_DAY).evidence, unsure)
    assert (
        "neither better nor worse than the Weibull regression or the fleet's average rate, by more than luck" in answer
    )
    assert other_is_better(unsure) == ""


def test_units_opened_rusted_are_told_beside_those_that_failed(past: Backtest) -> None:
    plainly, counted = (
        past.scores[past.scores["question"] == question].iloc[0] for question in ("season", "season_or_defective")
    )
    told_so = bare(had_the_opened_failed(past, "season"))
    assert told_so.startswith(f"{counted['failures'] - plainly['failures']} more units were opened rusted or rough")
    assert "the two-stage model would have forecast better than" in told_so
    assert had_the_opened_failed(past, "hours") == ""


def test_figures_carry_their_unit_and_interval() -> None:
    assert bare(figure_told((69.5, 43.8, 90.7), "%")) == "70 % (44–91 %)"
    assert bare(figure_told((1323.4, 252.2, 4476.4), "h")) == "1,323 h (252–4,476 h)"
    assert bare(figure_told((1.96, 1.11, 3.4), "x")) == "2.0 (1.1–3.4)"


def test_every_parameter_has_its_sentence() -> None:
    assert set(PARAMETER_TOLD) == set(WORDS)
    assert all(sentence.count("{}") == 1 for _, sentence in PARAMETER_TOLD.values())


def test_what_the_records_say_little_of_is_marked(sample: Fleet) -> None:
    rows = sample.learned(SAMPLE_DAY)
    for row, marked in zip(rows, learned_rows(rows)["mark"], strict=True):
        assert (marked == "mostly general experience") == (row.share < 0.2)
        assert ("general experience" in parameter_sentence(row)) == (row.share < 0.2)


def test_a_parameter_nobody_foresaw_is_still_told() -> None:
    strange = Learned("new", "drag of the new seal", "x", (1.0, 0.5, 2.0), (1.2, 0.9, 1.5), 0.5)
    assert bare(parameter_sentence(strange)) == "drag of the new seal: 1.2 (0.9–1.5)."


# --- the rows and pictures -----------------------------------------------------------------------------------------


def test_numbers_at_risk_are_those_of_the_count(sample: Fleet) -> None:
    counted = sample.survival(SAMPLE_DAY).counted
    beneath = at_risk_rows(counted)
    assert 2 < len(beneath) <= 6
    assert beneath["hours"].max() == counted["hours"].max()
    assert beneath.equals(counted.loc[beneath.index, ["hours", "n_at_risk"]])


def test_before_the_first_fitting_the_model_speaks_alone(sample: Fleet) -> None:
    shown = sample.survival(date(2024, 1, 1))
    assert shown.lives == 0
    assert shown.counted.empty
    assert shown.modelled["survival"].between(0, 1).all()


def test_few_at_risk_begins_where_five_are_no_longer_watched() -> None:
    counted = pd.DataFrame({"hours": [0.0, 10.0, 20.0, 30.0], "n_at_risk": [4, 6, 5, 4]})
    assert few_from(counted) == 30.0
    assert few_from(counted.iloc[:3]) is None


def test_both_curves_are_drawn_as_they_are(sample: Fleet) -> None:
    shown = sample.survival(SAMPLE_DAY)
    figure = survival_curves(shown.counted, shown.modelled, at_risk_rows(shown.counted))
    lines = {trace.name: trace for trace in figure.data if trace.name}
    assert list(lines["counted (Kaplan-Meier)"].y) == list(shown.counted["survival"])
    assert lines["counted (Kaplan-Meier)"].line.shape == "hv"
    assert list(lines["by the two-stage model"].y) == list(shown.modelled["survival"])


def test_nothing_counted_still_draws_the_model(sample: Fleet) -> None:
    shown = sample.survival(SAMPLE_DAY)
    none = shown.counted.iloc[:0]
    assert survival_curves(none, shown.modelled, at_risk_rows(none)).layout.height > 0
    assert few_from(none) is None


def test_calibration_shows_each_group_with_its_interval(past: Backtest) -> None:
    groups = calibration_rows(past, "season")
    (marks,) = [trace for trace in calibration(groups).data if trace.mode == "markers"]
    assert list(marks.x) == list(groups["mean_forecast"])
    assert list(marks.y + marks.error_y.array) == pytest.approx(list(groups["observed_high"]))
    assert list(marks.y - marks.error_y.arrayminus) == pytest.approx(list(groups["observed_low"]))


def test_a_better_model_is_drawn_beside_the_first(past: Backtest) -> None:
    worse = judged(past, {"weibull": -0.05}, {"weibull"}, "weibull")
    marks = [trace for trace in calibration(calibration_rows(worse, "hours")).data if trace.mode == "markers"]
    assert [trace.name for trace in marks] == ["the two-stage model", "the Weibull regression"]
    assert len({trace.marker.symbol for trace in marks}) == 2


def test_scores_are_those_of_the_backtest(past: Backtest) -> None:
    rows = score_rows(past, "season")
    assert len(rows) == len(past.models)
    first = past.scores[past.scores["question"] == "season"].iloc[0]
    assert rows["log_score"][0] == score(first["log_score"])
    assert rows["lead"][0] == ""
    assert set(rows["luck"][1:]) <= {"more than luck", "may be luck"}


def test_scores_that_are_not_finite_are_told() -> None:
    assert [score(value) for value in (-0.2508, float("-inf"), float("nan"))] == ["−0.251", "−∞", ""]


def test_before_is_hollow_and_after_is_filled(sample: Fleet) -> None:
    own = [row for row in sample.learned(SAMPLE_DAY) if row.unit == "%"]
    before, after = before_and_after(parameter_rows(own), "%").data
    assert (before.marker.symbol, after.marker.symbol) == ("circle-open", "circle")
    assert list(after.x) == [row.posterior[0] for row in own]
    assert list(before.x - before.error_x.arrayminus) == pytest.approx([row.prior[1] for row in own])


def test_hours_and_ratios_are_drawn_on_a_logarithmic_axis(sample: Fleet) -> None:
    for unit, axis in (("h", "log"), ("x", "log"), ("%", None)):
        own = [row for row in sample.learned(SAMPLE_DAY) if row.unit == unit]
        assert before_and_after(parameter_rows(own), unit).layout.xaxis.type == axis


@BY_DAY_AND_NIGHT
def test_the_models_colour_shows_by_day_and_by_night(page: dict[str, str]) -> None:
    assert contrast(LEARNED, page["backgroundColor"]) >= 3.0  # WCAG 2.2, 1.4.11 non-text contrast


@pytest.mark.parametrize("eye", BLIND)
def test_learned_and_believed_differ_for_every_eye(eye: str) -> None:
    assert seen_distance(LEARNED, NEUTRAL, eye) >= TELLS_APART
