"""The pictures of the evidence: frames in, figures out, as in ``charts``."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from chart_parts import (
    LEGEND_BELOW,
    PERCENT_TICKS,
    band,
    interval_bar,
    interval_told,
    quiet,
    rows_in_words,
    title_above,
)
from palette import LEARNED, NEUTRAL

PARAMETER_HEIGHT = 62  # px a parameter: a line of words and a pair of intervals
ROUND = [digit * 10.0**power for power in range(-2, 6) for digit in (1, 2, 5)]  # ticks of a logarithmic axis
QUARTERS = [0, 25, 50, 75, 100]
LEAST_SHARE = 0.2  # the calibration axes reach at least 20 %


def survival_curves(counted: pd.DataFrame, modelled: pd.DataFrame, at_risk: pd.DataFrame) -> go.Figure:
    """Share of bearings not failed against hours: counted as a step line, by the model as a curve; 90 % bands.

    `counted` and `modelled`: columns ``hours``, ``survival``, ``low``, ``high`` (shares in 0..1; blank limits are left
    out). `at_risk`: columns ``hours`` and ``n_at_risk``, the numbers written beneath.
    """
    figure = make_subplots(rows=2, cols=1, shared_xaxes=True, row_heights=[0.86, 0.14], vertical_spacing=0.02)
    told = (
        (counted, "counted (Kaplan-Meier)", NEUTRAL, "hv", "solid"),
        (modelled, "by the two-stage model", LEARNED, "linear", "dash"),
    )
    for curve, name, colour, shape, dash in told:
        known = curve.dropna(subset=["low", "high"])
        figure.add_traces(band(known["hours"], known["low"], known["high"], colour, 0.16, shape), rows=1, cols=1)
        figure.add_trace(
            go.Scatter(
                x=curve["hours"],
                y=curve["survival"],
                name=name,
                mode="lines",
                line={"color": colour, "shape": shape, "dash": dash, "width": 2.5},
                customdata=curve[["low", "high"]].astype(object).where(curve[["low", "high"]].notna(), None),
                hovertemplate=f"{name}, by %{{x:.0f}} h: %{{y:.0%}} not failed{interval_told('.0%')}",
            ),
            row=1,
            col=1,
        )
    figure.add_trace(
        go.Scatter(
            x=at_risk["hours"],
            y=["at risk"] * len(at_risk),
            text=[str(number) for number in at_risk["n_at_risk"]],
            mode="text",
            textfont={"size": 12},
            hoverinfo="skip",
            showlegend=False,
            cliponaxis=False,
        ),
        row=2,
        col=1,
    )
    quiet(figure, height=430)
    end = max(float(part["hours"].max()) for part in (counted, modelled) if len(part))
    figure.update_xaxes(range=[-0.02 * end, 1.02 * end], showgrid=False, nticks=7)
    figure.update_xaxes(title_text="engine hours since rebuild", row=2, col=1)
    figure.update_yaxes(range=[0, 1.02], **PERCENT_TICKS, nticks=6, row=1, col=1)
    figure.update_yaxes(type="category", showgrid=False, row=2, col=1)
    figure.update_layout(legend=LEGEND_BELOW, margin={"b": 74}, hovermode="closest")
    return figure


def calibration(groups: pd.DataFrame) -> go.Figure:
    """Of units given about the same chance, did about that share fail? Each group a mark with its 90 % interval.

    `groups`: columns ``model`` (as it is to be named), ``mean_forecast``, ``observed``, ``observed_low``,
    ``observed_high`` (shares in 0..1) and ``hover``. On the diagonal, forecasts came true; groups whose share that
    failed cannot be known are left out. The first model is drawn filled, another one hollow.
    """
    known = groups.dropna(subset=["observed"])
    figure = go.Figure()
    highest = known[["mean_forecast", "observed_high"]].max().max() if len(known) else 0.0
    top = min(1.0, max(LEAST_SHARE, 1.08 * float(highest)))
    figure.add_trace(
        go.Scatter(
            x=[0, top],
            y=[0, top],
            name="as forecast",
            mode="lines",
            line={"color": NEUTRAL, "width": 1.5, "dash": "dot"},
            hoverinfo="skip",
        )
    )
    looks = (("circle", LEARNED), ("diamond-open", NEUTRAL))
    for model, (symbol, colour) in zip(known["model"].unique(), looks, strict=False):
        own = known[known["model"] == model]
        figure.add_trace(
            go.Scatter(
                x=own["mean_forecast"],
                y=own["observed"],
                name=model,
                mode="markers",
                marker={"symbol": symbol, "color": colour, "size": 11, "line": {"width": 2, "color": colour}},
                error_y=interval_bar(own["observed_low"], own["observed"], own["observed_high"], colour),
                hovertext=own["hover"],
                hoverinfo="text",
                cliponaxis=False,
            )
        )
    quiet(figure, height=400)
    title_above(figure, "Share that failed")
    figure.update_xaxes(range=[0, top], **PERCENT_TICKS, nticks=6, title_text="chance that was forecast")
    figure.update_yaxes(range=[0, top], **PERCENT_TICKS, nticks=6)
    figure.update_layout(legend=LEGEND_BELOW, margin={"t": 36, "b": 84})
    return figure


def before_and_after(rows: pd.DataFrame, unit: str) -> go.Figure:
    """Parameters of one unit: what was believed before (hollow) above what the records made of it (filled).

    `rows`: columns ``label``, ``prior``, ``prior_low``, ``prior_high``, ``posterior``, ``low``, ``high`` and ``hover``
    (HTML). `unit`: "%" is drawn from 0 to 100; "h", "x" and "" on a logarithmic axis, the last two with a line at 1.
    """
    figure = go.Figure()
    places = range(len(rows))
    looks = (
        ("before the records", "prior", "prior_low", "prior_high", 0.1, "circle-open", NEUTRAL),
        ("learned", "posterior", "low", "high", 0.36, "circle", LEARNED),
    )
    for name, mid, low, high, below, symbol, colour in looks:
        figure.add_trace(
            go.Scatter(
                x=rows[mid],
                y=[place + below for place in places],
                name=name,
                mode="markers",
                marker={"symbol": symbol, "color": colour, "size": 11, "line": {"width": 2, "color": colour}},
                error_x=interval_bar(rows[low], rows[mid], rows[high], colour),
                hovertext=rows["hover"],
                hoverinfo="text",
                cliponaxis=False,
            )
        )
    quiet(figure, height=PARAMETER_HEIGHT * len(rows) + 84)
    if unit == "%":
        figure.update_xaxes(range=[-4, 104], tickvals=QUARTERS, ticktext=[f"{tick} %" for tick in QUARTERS])
    else:
        suffix = {"h": " h", "x": " ×"}.get(unit, "")
        figure.update_xaxes(type="log", tickvals=ROUND, ticktext=[f"{tick:,g}{suffix}" for tick in ROUND])
    for place in places if unit in ("x", "") else ():
        dotted = {"color": NEUTRAL, "width": 1.5, "dash": "dot"}
        figure.add_shape(type="line", x0=1, x1=1, y0=place - 0.05, y1=place + 0.5, line=dotted, layer="below")
    rows_in_words(figure, rows["label"])
    figure.update_layout(legend=LEGEND_BELOW, margin={"b": 64})
    return figure
