"""The pictures: what they show, and that everybody can tell their colours and shapes apart."""

from __future__ import annotations

import tomllib
from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

import chart_parts
import charts
from forecaster import dashboard_app
from palette import (
    COLOUR_OF_STATE,
    DASH_OF_STATE,
    NEUTRAL,
    SHAPE_OF_CHECK,
    SHAPE_OF_STATE,
    STATE_OF_GROUP,
    STATES,
    shape_of_check,
    shape_of_incident,
)

FOLDER = dashboard_app().parent
THEME = tomllib.loads((FOLDER / ".streamlit" / "config.toml").read_text(encoding="utf-8"))["theme"]
BY_DAY_AND_NIGHT = pytest.mark.parametrize("page", [THEME["light"], THEME["dark"]], ids=["light", "dark"])

# --- colours -------------------------------------------------------------------------------------------------------

# Machado, Oliveira & Fernandes 2009, "A Physiologically-based Model for Simulation of Color Vision Deficiency", IEEE
# Trans. Vis. Comput. Graph. 15(6): the matrices for severity 1.0, applied to linear RGB (copied from memory; each row
# sums to 1, which a test checks).
BLIND = {
    "normal": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
# IEC 61966-2-1 (sRGB, D65): linear RGB to CIE XYZ.
TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
TELLS_APART = 20.0  # CIE 1976 distance; about 2.3 is just noticeable (Mahy, Van Eycken & Oosterlinck 1994; from memory)


def linear(colour: str) -> np.ndarray:
    channels = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    lit: np.ndarray = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    return lit


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, contrast ratio, with its relative luminance."""
    light = sorted(float(linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (one, other))
    return (light[1] + 0.05) / (light[0] + 0.05)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of linear RGB, white D65."""
    share = TO_XYZ @ np.clip(rgb, 0, 1) / np.array([0.95047, 1.0, 1.08883])
    f = np.where(share > 216 / 24389, np.cbrt(share), (24389 / 27 * share + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def seen_distance(one: str, other: str, eye: str) -> float:
    return float(np.linalg.norm(lab(BLIND[eye] @ linear(one)) - lab(BLIND[eye] @ linear(other))))


def test_the_yardsticks_measure_what_the_standards_say() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)  # WCAG 2.2: from 1 to 21
    assert lab(linear("#FFFFFF")) == pytest.approx([100, 0, 0], abs=0.02)
    assert lab(linear("#FF0000")) == pytest.approx([53.24, 80.09, 67.20], abs=0.02)  # sRGB red; from memory
    for matrix in BLIND.values():
        assert matrix.sum(axis=1) == pytest.approx(1.0, abs=1e-5)  # white stays white
    assert (
        seen_distance("#FF0000", "#8F7000", "deuteranopia")
        < TELLS_APART
        < seen_distance("#FF0000", "#8F7000", "normal")
    )


@BY_DAY_AND_NIGHT
@pytest.mark.parametrize("colour", [*COLOUR_OF_STATE.values(), NEUTRAL])
def test_marks_stand_out_from_the_page(colour: str, page: dict[str, str]) -> None:
    assert contrast(colour, page["backgroundColor"]) >= 3.0  # WCAG 2.2, 1.4.11 non-text contrast


@BY_DAY_AND_NIGHT
def test_the_pages_text_can_be_read(page: dict[str, str]) -> None:
    for colour in ("textColor", "linkColor"):
        assert contrast(page[colour], page["backgroundColor"]) >= 4.5  # WCAG 2.2, 1.4.3 contrast (minimum)
    assert contrast("#FFFFFF", page["primaryColor"]) >= 4.5  # what Streamlit writes on main buttons and chosen words
    assert contrast(page["primaryColor"], page["backgroundColor"]) >= 3.0  # WCAG 2.2, 1.4.11 non-text contrast
    assert contrast(page["blueTextColor"], page["blueBackgroundColor"]) >= 4.5


@pytest.mark.parametrize("eye", BLIND)
def test_states_differ_in_colour_for_every_eye(eye: str) -> None:
    for one, other in combinations(STATES, 2):
        assert seen_distance(COLOUR_OF_STATE[one], COLOUR_OF_STATE[other], eye) > TELLS_APART


def test_states_and_checks_differ_in_shape_too() -> None:
    assert len({SHAPE_OF_STATE[s] for s in STATES}) == len({DASH_OF_STATE[s] for s in STATES}) == len(STATES)
    assert len(set(SHAPE_OF_CHECK.values())) == len(SHAPE_OF_CHECK)


def test_an_untreated_incident_looks_different_from_a_treated_one() -> None:
    assert shape_of_incident("swamped, treated promptly") != shape_of_incident("swamped, untreated")
    assert shape_of_check("looked at, not spun") not in SHAPE_OF_CHECK.values()


# --- the fleet's risks ---------------------------------------------------------------------------------------------


def risks() -> pd.DataFrame:
    groups = ["rebuild", "check", "leave", "leave"]
    return pd.DataFrame(
        {
            "label": ["S3", "S1", "S2", "S4"],
            "mean": [0.31, 0.12, 0.02, 0.01],
            "low": [0.18, 0.07, 0.01, 0.0],
            "high": [0.46, 0.2, 0.05, 0.03],
            "told": ["31 %", "12 %", "2 %", "1 %"],
            "group": groups,
            "named": groups,
            "hover": ["three", "one", "two", "four"],
        }
    )


def test_units_are_drawn_highest_risk_at_the_top() -> None:
    figure = charts.risk_by_unit(risks(), 50)
    assert list(figure.layout.yaxis.categoryarray) == ["S3", "S1", "S2", "S4"]
    bottom, top = figure.layout.yaxis.range
    assert top < 0 < 3 < bottom  # the first category is at 0


def test_each_interval_reaches_from_low_to_high() -> None:
    drawn = {
        label: (x - minus, x, x + plus)
        for trace in charts.risk_by_unit(risks(), 50).data
        if trace.error_x.array is not None
        for label, x, plus, minus in zip(trace.y, trace.x, trace.error_x.array, trace.error_x.arrayminus, strict=True)
    }
    for row in risks().itertuples():
        assert drawn[row.label] == pytest.approx((row.low, row.mean, row.high))


def test_what_to_do_has_a_colour_and_a_shape_of_its_own() -> None:
    marks = [t for t in charts.risk_by_unit(risks(), 50).data if t.mode == "markers"]
    assert [t.name for t in marks] == ["rebuild", "check", "leave"]
    assert len({t.marker.color for t in marks}) == len({t.marker.symbol for t in marks}) == 3


def test_what_is_not_weighed_yet_is_still_drawn() -> None:
    strange = risks().assign(group="unweighed", named="not weighed yet")
    marks = [t for t in charts.risk_by_unit(strange, 50).data if t.mode == "markers"]
    assert [t.name for t in marks] == ["not weighed yet"]
    assert len(marks[0].x) == 4


def test_the_risk_axis_names_what_it_measures_and_starts_at_nought() -> None:
    figure = charts.risk_by_unit(risks(), 35)
    assert "within 35 engine hours" in figure.layout.title.text
    assert figure.layout.xaxis.range[0] == 0
    assert figure.layout.xaxis.range[1] > 0.46
    assert figure.layout.xaxis.tickformat == ".0%"


def test_small_risks_do_not_fill_the_axis() -> None:
    small = risks().assign(mean=0.001, low=0.0, high=0.002)
    assert charts.risk_by_unit(small, 50).layout.xaxis.range[1] >= charts.LEAST_TOP


def test_no_unit_is_no_error() -> None:
    assert charts.risk_by_unit(risks().iloc[:0], 50).layout.height > 0


def test_a_finger_that_scrolls_does_not_zoom() -> None:
    for figure in (charts.risk_by_unit(risks(), 50), unit_figure()):
        assert figure.layout.dragmode is False
        assert all(axis.fixedrange for axis in [*figure.select_xaxes(), *figure.select_yaxes()])


# --- one unit over its hours ---------------------------------------------------------------------------------------


def ahead(known: bool = True) -> pd.DataFrame:
    hours = np.linspace(0, 100, 11)
    failed = hours / 200
    frame = pd.DataFrame(
        {"at": 60 + hours, "failed_mean": failed, "failed_low": failed / 2, "failed_high": failed * 1.5}
    )
    for state, share in (("defective", 0.4), ("sound", 0.6)):
        for end, factor in (("mean", 1.0), ("low", 0.8), ("high", 1.2)):
            frame[f"{state}_{end}"] = (1 - failed) * share * factor if known else np.nan
    return frame


def so_far(known: bool = True) -> pd.DataFrame:
    hours = np.linspace(0, 60, 7)
    frame = pd.DataFrame(
        {"at": hours, "defective_mean": hours / 200, "defective_low": hours / 400, "defective_high": hours / 150}
    )
    return frame if known else frame.iloc[:0]


def events(*rows: tuple[float, int, str]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["at", "number", "label"]).assign(hover="told")


def unit_figure(known: bool = True, mark: tuple[float, str] | None = (110.0, "+50 h")) -> charts.go.Figure:
    return charts.state_over_hours(
        ahead(known),
        so_far(known),
        events((20.0, 1, "swamped, untreated"), (21.0, 2, "leak, treated promptly")),
        events((40.0, 3, "spun rattle")),
        now=60.0,
        clock="engine hours since rebuild",
        mark=mark,
    )


def test_every_known_state_has_a_line_and_a_label() -> None:
    figure = unit_figure()
    lines = {t.name for t in figure.data if t.mode == "lines" and t.name}
    assert {"failed", "defective", "sound"} <= lines
    assert {a.text.strip() for a in figure.layout.annotations} >= {"failed", "defective", "sound", "now", "+50 h"}


def test_a_model_without_a_defective_state_shows_failing_only() -> None:
    figure = unit_figure(known=False)
    assert {t.name for t in figure.data if t.mode == "lines" and t.name} == {"failed"}
    assert {"defective", "sound"}.isdisjoint(a.text.strip() for a in figure.layout.annotations)


def test_now_and_the_horizon_are_marked_at_their_hours() -> None:
    uprights = {s.line.dash: s.x0 for s in unit_figure().layout.shapes if s.yref == "paper"}
    assert uprights == {"solid": 60.0, "dot": 110.0}


def test_a_horizon_beyond_the_axis_is_left_out() -> None:
    figure = unit_figure(mark=(500.0, "+440 h"))
    assert all("+440" not in a.text for a in figure.layout.annotations)


def test_the_band_reaches_from_low_to_high() -> None:
    traces = unit_figure().data
    line = next(i for i, trace in enumerate(traces) if trace.name == "failed")
    low, high = traces[line - 2], traces[line - 1]
    assert (low.y[-1], traces[line].y[-1], high.y[-1]) == pytest.approx((0.25, 0.5, 0.75))
    assert high.fill == "tonexty"  # filled down to the trace before it


def test_incidents_and_checks_are_numbered_shapes_at_their_hours() -> None:
    marks = {t.y[0]: t for t in unit_figure().data if t.mode == "markers+text"}
    assert list(marks["water in"].x) == [20.0, 21.0]
    assert list(marks["water in"].text) == ["1", "2"]
    assert marks["water in"].marker.symbol[0] != marks["water in"].marker.symbol[1]
    assert list(marks["checks"].text) == ["3"]


def test_numbers_of_events_close_together_do_not_cover_each_other() -> None:
    marks = {t.y[0]: list(t.textposition) for t in unit_figure().data if t.mode == "markers+text"}
    assert marks == {"water in": ["top center", "middle right"], "checks": ["bottom center"]}


def test_an_empty_lane_says_so() -> None:
    figure = charts.state_over_hours(
        ahead(), so_far(), events(), events(), now=60.0, clock="engine hours since rebuild"
    )
    assert [t.text[0].strip() for t in figure.data if t.mode == "text"] == ["none recorded", "none recorded"]


def test_axes_carry_their_units() -> None:
    figure = unit_figure()
    assert figure.layout.xaxis2.title.text == "engine hours since rebuild"
    assert figure.layout.yaxis.tickformat == ".0%"


@given(st.lists(st.floats(0, 1), min_size=1, max_size=3))
def test_labels_keep_their_order_and_their_distance(heights: list[float]) -> None:
    wanted = dict(zip(STATES, heights, strict=False))
    placed = chart_parts.apart(wanted)
    assert all(0 <= height <= 1 for height in placed.values())
    for one, other in combinations(placed, 2):
        assert abs(placed[one] - placed[other]) >= chart_parts.LABEL_GAP - 1e-9
        if wanted[one] != wanted[other]:
            assert (placed[one] < placed[other]) == (wanted[one] < wanted[other])


def test_every_group_of_instructions_answers_to_a_state() -> None:
    assert set(STATE_OF_GROUP.values()) == set(STATES)
