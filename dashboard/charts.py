"""The pictures: frames in, figures out. Nothing here asks the fleet anything or knows of the screens.

The figures leave background, grid and text to the theme of the page; only marks carry colours of their own.
"""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from chart_parts import PERCENT_TICKS, add_upright, apart, band, interval_bar, interval_told, quiet, title_above
from palette import (
    COLOUR_OF_STATE,
    DASH_OF_STATE,
    NEUTRAL,
    STATE_OF_GROUP,
    STATES,
    colour_of_group,
    faded,
    shape_of_check,
    shape_of_group,
    shape_of_incident,
)

ROW_HEIGHT = 26  # px a unit: a finger's width apart on a phone, 28 units on two laptop screens
LEAST_TOP = 0.10  # the risk axis reaches at least 10 %, so that small risks do not look large
CROWDED = 0.05  # events nearer than this share of the axis have their numbers on different sides


def risk_by_unit(risks: pd.DataFrame, hours: float) -> go.Figure:
    """Each unit's chance of failing within `hours`, as a dot with its 90 % interval, highest at the top.

    `risks`: one row a unit in the order to draw, columns ``label``, ``mean``, ``low``, ``high`` (chances in 0..1),
    ``told`` (the chance in words), ``group`` and ``hover`` (HTML), and ``named``, the group in words. Each group of
    instructions has its own colour and shape.
    """
    figure = go.Figure()
    for group in [*STATE_OF_GROUP, *sorted(set(risks["group"]) - set(STATE_OF_GROUP))]:
        own = risks[risks["group"] == group]
        if len(own):
            figure.add_trace(_dots(own, group))
    figure.add_trace(_told_at_end(risks))
    top = max(LEAST_TOP, float(risks["high"].max()) if len(risks) else 0.0)
    quiet(figure, height=ROW_HEIGHT * max(len(risks), 2) + 140)
    title_above(figure, f"Chance of failing within {hours:g} engine hours")
    figure.update_xaxes(
        side="top",
        range=[0, min(1.0, top) * 1.16],  # room for the direct labels
        **PERCENT_TICKS,
        nticks=6,
    )
    figure.update_yaxes(
        type="category",
        categoryorder="array",
        categoryarray=list(risks["label"]),
        range=[len(risks) - 0.4, -0.6],  # first at the top, without the wide margins of the default
        ticksuffix=" ",
        showgrid=False,
    )
    figure.update_layout(
        legend={"orientation": "h", "y": 0, "yanchor": "top", "x": 0, "xanchor": "left"}, margin={"t": 64}
    )
    return figure


def _dots(own: pd.DataFrame, group: str) -> go.Scatter:
    colour = colour_of_group(group)
    return go.Scatter(
        x=own["mean"],
        y=own["label"],
        name=own["named"].iloc[0],
        mode="markers",
        marker={"color": colour, "symbol": shape_of_group(group), "size": 11},
        error_x=interval_bar(own["low"], own["mean"], own["high"], colour),
        hovertext=own["hover"],
        hoverinfo="text",
        cliponaxis=False,
    )


def _told_at_end(risks: pd.DataFrame) -> go.Scatter:
    """The number beside the upper end of each interval."""
    return go.Scatter(
        x=risks["high"],
        y=risks["label"],
        text="  " + risks["told"],
        mode="text",
        textposition="middle right",
        textfont={"size": 12},
        hoverinfo="skip",
        showlegend=False,
    )


def state_over_hours(
    ahead: pd.DataFrame,
    so_far: pd.DataFrame,
    incidents: pd.DataFrame,
    checks: pd.DataFrame,
    now: float,
    clock: str,
    mark: tuple[float, str] | None = None,
) -> go.Figure:
    """A unit's chance of each state against hours: what was to be thought so far on the left of now, then the forecast.

    `ahead` and `so_far`: a column ``at`` (h on the axis) and ``<state>_mean``, ``_low``, ``_high`` in 0..1 for the
    states that the model knows; all-blank states are left out. `incidents` and `checks`: columns ``at``, ``number``
    (shown beside the mark), ``label`` and ``hover``. `now`: where today is on the axis. `clock`: what the axis
    counts. `mark`: an hour to point out, and its label.
    """
    figure = make_subplots(rows=2, cols=1, shared_xaxes=True, row_heights=[0.78, 0.22], vertical_spacing=0.02)
    known = [s for s in reversed(STATES) if f"{s}_mean" in ahead and ahead[f"{s}_mean"].notna().any()]
    for state in known:
        _add_state(figure, ahead, state, state)
    if len(so_far) and so_far["defective_mean"].notna().any():
        _add_state(figure, so_far, "defective", "defective, had it not failed")
    end = float(ahead["at"].max()) if len(ahead) else now
    quiet(figure, height=470)
    _add_events(figure, incidents, "water in", shape_of_incident, _sides(incidents, "top center", end))
    _add_events(figure, checks, "checks", shape_of_check, _sides(checks, "bottom center", end))
    add_upright(figure, now, "now ", "solid", side="right" if now > end / 10 else "left")
    if mark is not None and mark[0] <= end:
        add_upright(figure, mark[0], f" {mark[1]}", "dot", side="left")
    for state, y in apart({state: float(ahead[f"{state}_mean"].iloc[-1]) for state in known}).items():
        figure.add_annotation(x=end, y=y, text=state, xanchor="left", xshift=5, showarrow=False, row=1, col=1)
    figure.update_xaxes(range=[0, end], showgrid=False, nticks=7)
    figure.update_xaxes(title_text=clock, row=2, col=1)
    figure.update_yaxes(range=[0, 1], **PERCENT_TICKS, nticks=6, row=1, col=1)
    lanes = {"type": "category", "categoryorder": "array", "categoryarray": ["checks", "water in"]}
    figure.update_yaxes(**lanes, range=[-0.9, 1.8], showgrid=False, row=2, col=1)
    figure.update_layout(showlegend=False, margin={"r": 76, "t": 34}, hovermode="closest")
    return figure


def _add_state(figure: go.Figure, part: pd.DataFrame, state: str, told: str) -> None:
    """Line and 90 % band of one state over one part of the axis."""
    colour = COLOUR_OF_STATE[state]
    figure.add_traces(band(part["at"], part[f"{state}_low"], part[f"{state}_high"], colour, 0.16), rows=1, cols=1)
    figure.add_trace(
        go.Scatter(
            x=part["at"],
            y=part[f"{state}_mean"],
            name=told,
            mode="lines",
            line={"color": colour, "dash": DASH_OF_STATE[state], "width": 2.5},
            customdata=part[[f"{state}_low", f"{state}_high"]],
            hovertemplate=f"{told}, at %{{x:.0f}} h: %{{y:.0%}}{interval_told('.0%')}",
        ),
        row=1,
        col=1,
    )


def _add_events(
    figure: go.Figure,
    events: pd.DataFrame,
    lane: str,
    shape_of: Callable[[str], str],
    sides: list[str],
) -> None:
    """Numbered shapes on one lane of the lower axis; an empty lane says so."""
    if not len(events):
        figure.add_trace(
            go.Scatter(
                x=[0],
                y=[lane],
                mode="text",
                text=["  none recorded"],
                textposition="middle right",
                textfont={"size": 12},
                hoverinfo="skip",
            ),
            row=2,
            col=1,
        )
        return
    figure.add_trace(
        go.Scatter(
            x=events["at"],
            y=[lane] * len(events),
            mode="markers+text",
            marker={"symbol": [shape_of(label) for label in events["label"]], "size": 12, "color": NEUTRAL},
            text=[str(number) for number in events["number"]],
            textposition=sides,
            textfont={"size": 12},
            hovertext=events["hover"],
            hoverinfo="text",
            cliponaxis=False,
        ),
        row=2,
        col=1,
    )
    thin = {"color": faded(NEUTRAL, 0.35), "width": 1}
    for at in events["at"]:
        figure.add_shape(type="line", x0=at, x1=at, y0=0, y1=1, line=thin, layer="below", row=1, col=1)


def _sides(events: pd.DataFrame, usual: str, end: float) -> list[str]:
    """Where each event's number stands: `usual`, or to the right where the one before is too near for both."""
    sides: list[str] = []
    hours = list(events["at"])
    for before, at in zip([None, *hours[:-1]], hours, strict=False):
        near = before is not None and at - before < CROWDED * end
        sides.append("middle right" if near and sides[-1] == usual else usual)
    return sides
