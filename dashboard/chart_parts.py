"""What the pictures are put together from, so that the same thing looks alike in each of them."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd
import plotly.graph_objects as go

from palette import NEUTRAL, faded
from words import SPACE

PERCENT_TICKS = {  # "20 %", as the text writes it
    "tickformat": ".0%",
    "labelalias": {f"{n}%": f"{n}{SPACE}%" for n in range(101)},
}
LEGEND_BELOW = {"orientation": "h", "y": 0, "yref": "container", "yanchor": "bottom", "x": 0, "xanchor": "left"}
LABEL_GAP = 0.08  # least distance between direct labels, as a share of the axis: one line of text

# No zooming or dragging: a finger that scrolls the page over a chart must not change it. The picture can be saved.
CHART_CONFIG = {
    "displaylogo": False,
    "scrollZoom": False,
    "doubleClick": False,
    "modeBarButtons": [["toImage"]],
    "toImageButtonOptions": {"format": "png", "scale": 2, "filename": "forecast"},
}


def quiet(figure: go.Figure, height: int) -> None:
    """The common calm: no zoom, no frames, transparent ground, margins that fit a phone."""
    figure.update_layout(
        height=height,
        margin={"l": 8, "r": 8, "t": 8, "b": 8},
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        font={"size": 13},
        dragmode=False,
        hoverlabel={"align": "left"},
    )
    calm = {"fixedrange": True, "automargin": True, "zeroline": False, "ticks": "", "tickfont": {"size": 12}}
    figure.update_xaxes(**calm, title_font={"size": 13})
    figure.update_yaxes(**calm)


def title_above(figure: go.Figure, text: str) -> None:
    """What the upright axis counts, above it, where a phone has the width for it."""
    figure.update_layout(
        title={
            "text": text,
            "font": {"size": 13},
            "x": 0,
            "y": 1,
            "yanchor": "top",
            "yref": "container",
            "pad": {"t": 8},
        }
    )


def band(
    x: pd.Series, low: pd.Series, high: pd.Series, colour: str, opacity: float, shape: str = "linear"
) -> list[go.Scatter]:
    """The two edges of an interval along a line, with the band between them; `shape`: of the edges, as of the line."""
    edge = {
        "x": x,
        "mode": "lines",
        "line": {"width": 0, "shape": shape},
        "hoverinfo": "skip",
        "showlegend": False,
    }
    return [
        go.Scatter(y=low, **edge),
        go.Scatter(y=high, fill="tonexty", fillcolor=faded(colour, opacity), **edge),
    ]


def interval_bar(low: pd.Series, middle: pd.Series, high: pd.Series, colour: str) -> dict[str, object]:
    """The bar from the low to the high end of intervals around their marks."""
    return {
        "type": "data",
        "symmetric": False,
        "array": high - middle,
        "arrayminus": middle - low,
        "color": faded(colour, 0.6),
        "thickness": 2.5,
        "width": 0,
    }


def interval_told(digits: str) -> str:
    """The last line of a hover: the ends of the interval, from the first two of ``customdata``, as `digits` formats."""
    return f"<br>90 % interval %{{customdata[0]:{digits}}} to %{{customdata[1]:{digits}}}<extra></extra>"


def add_upright(figure: go.Figure, at: object, label: str, dash: str, side: str) -> None:
    """A line over the whole height with its label above it; `side`: the end of the label that stands at the line."""
    figure.add_shape(
        type="line",
        xref="x",
        yref="paper",
        x0=at,
        x1=at,
        y0=0,
        y1=1,
        line={"color": NEUTRAL, "width": 2, "dash": dash},
    )
    figure.add_annotation(
        x=at,
        xref="x",
        xanchor=side,
        y=1,
        yref="paper",
        yanchor="bottom",
        text=label,
        showarrow=False,
    )


def rows_in_words(figure: go.Figure, labels: Iterable[str]) -> None:
    """An upright axis of one row a label, from 0 at the top, with its words above each row instead of beside it."""
    told = list(labels)
    for place, label in enumerate(told):
        figure.add_annotation(
            x=0, xref="paper", xanchor="left", y=place - 0.22, yanchor="middle", text=label, showarrow=False
        )
    figure.update_yaxes(range=[len(told) - 0.35, -0.5], visible=False)


def apart(heights: dict[str, float]) -> dict[str, float]:
    """Label heights in 0..1 moved apart to at least LABEL_GAP, keeping their order and the axis."""
    ordered = sorted(heights, key=lambda state: heights[state])
    placed: dict[str, float] = {}
    floor = LABEL_GAP / 2
    for state in ordered:
        placed[state] = max(heights[state], floor)
        floor = placed[state] + LABEL_GAP
    ceiling = 1.0 - LABEL_GAP / 2
    for state in reversed(ordered):
        placed[state] = min(placed[state], ceiling)
        ceiling = placed[state] - LABEL_GAP
    return placed
