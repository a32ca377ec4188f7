"""The picture of a unit's lives: frames in, figures out, as in ``charts``."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from chart_parts import LEGEND_BELOW, quiet
from palette import (
    NEUTRAL,
    SHAPE_OF_END,
    SHAPE_OF_TREATMENT,
    STATE_OF_CHECK,
    STATE_OF_END,
    STATE_OF_TREATMENT,
    colour_of_state,
    faded,
    shape_of_check,
)

LANE_HEIGHT = 84  # px a life: a line of words, its water, its bar and its checks
LEGEND_LINE = 20  # px; a phone shows two entries a line
# Places in a lane, from its middle, downwards.
WORDS_AT, WATER_AT, BAR_AT, LOOKS_AT = -0.38, -0.12, 0.1, 0.32
SHAPE_OF_OTHER_END = "line-ns-open"


def lives_over_hours(
    lives: pd.DataFrame,
    water: pd.DataFrame,
    looks: pd.DataFrame,
    readings: pd.DataFrame,
    water_names: dict[str, str],
    clock: str,
) -> go.Figure:
    """A unit's lives as bars against hours, the latest at the top, with what happened on the way.

    `lives`: columns ``lane``, ``label``, ``from_h``, ``to_h``, ``goes_on``, ``age_known``, ``seen``, ``end`` (its end
    as the legend names it) and ``hover``. `water`: ``lane``, ``at_h``, ``treatment``, ``hover``. `looks`: ``lane``,
    ``at_h``, ``label``, ``hover``. `readings`: ``lane``, ``at_h``, ``hover``. `water_names`: treatments as the legend
    names them. `clock`: what the axis counts.
    """
    figure = go.Figure()
    for life in lives.to_dict("records"):
        _add_bar(figure, life)
    named = 0
    if len(readings):
        _add_marks(figure, readings, BAR_AT, "meter reading", "line-ns-open", NEUTRAL, 7)
        named += 1
    for treatment, name in water_names.items():
        own = water[water["treatment"] == treatment]
        if len(own):
            colour = colour_of_state(STATE_OF_TREATMENT.get(treatment))
            _add_marks(figure, own, WATER_AT, name, SHAPE_OF_TREATMENT[treatment], colour, 12)
            named += 1
    for label in dict.fromkeys(looks["label"]):
        colour = colour_of_state(STATE_OF_CHECK.get(label))
        _add_marks(figure, looks[looks["label"] == label], LOOKS_AT, label, shape_of_check(label), colour, 11)
        named += 1
    ended = lives[~lives["goes_on"]]
    for end in dict.fromkeys(ended["end"]):
        own = ended[ended["end"] == end].assign(at_h=lambda rows: rows["to_h"])
        seen = str(own["seen"].iloc[0])
        shape = SHAPE_OF_END.get(seen, SHAPE_OF_OTHER_END)
        _add_marks(figure, own, BAR_AT, f"opened: {end}", shape, colour_of_state(STATE_OF_END.get(seen)), 14)
        named += 1
    _mark_now(figure, lives[lives["goes_on"]])
    below = 62 + LEGEND_LINE * -(-named // 2)
    quiet(figure, height=LANE_HEIGHT * len(lives) + below + 20)
    longest = max(float(lives["to_h"].max()), 1.0)
    figure.update_xaxes(range=[-0.02 * longest, 1.06 * longest], nticks=7, title_text=clock)
    figure.update_yaxes(range=[len(lives) - 0.45, -0.6], visible=False)
    figure.update_layout(legend=LEGEND_BELOW, margin={"b": below, "t": 8, "r": 40}, hovermode="closest")
    return figure


def _add_bar(figure: go.Figure, life: dict[object, object]) -> None:
    """One life: what is recorded as a bar, hours before the record as dots, and its words above."""
    lane = float(str(life["lane"]))
    where = {"y0": lane + BAR_AT, "y1": lane + BAR_AT, "layer": "below"}
    if life["age_known"] and float(str(life["from_h"])) > 0:
        dotted = {"color": NEUTRAL, "width": 2, "dash": "dot"}
        figure.add_shape(type="line", x0=0, x1=life["from_h"], line=dotted, **where)
    bar = {"color": faded(NEUTRAL, 0.45), "width": 5}
    figure.add_shape(type="line", x0=life["from_h"], x1=life["to_h"], line=bar, **where)
    figure.add_annotation(
        x=0,
        xref="paper",
        xanchor="left",
        y=lane + WORDS_AT,
        yanchor="middle",
        text=life["label"],
        font={"size": 12},
        showarrow=False,
    )


def _add_marks(
    figure: go.Figure, events: pd.DataFrame, at: float, name: str, shape: str, colour: str, size: int
) -> None:
    figure.add_trace(
        go.Scatter(
            x=events["at_h"],
            y=events["lane"] + at,
            name=name,
            mode="markers",
            marker={"symbol": shape, "color": colour, "size": size, "line": {"width": 1.5, "color": colour}},
            hovertext=events["hover"],
            hoverinfo="text",
            cliponaxis=False,
        )
    )


def _mark_now(figure: go.Figure, going_on: pd.DataFrame) -> None:
    """Where today is in the life that goes on."""
    for lane, to_h in zip(going_on["lane"], going_on["to_h"], strict=True):
        line = {"color": NEUTRAL, "width": 2}
        figure.add_shape(type="line", x0=to_h, x1=to_h, y0=lane + WATER_AT - 0.1, y1=lane + LOOKS_AT + 0.1, line=line)
        figure.add_annotation(
            x=to_h, y=lane + BAR_AT, text="now", xanchor="left", yanchor="middle", xshift=4, showarrow=False
        )
