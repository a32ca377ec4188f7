"""The pictures of now or later: frames in, figures out, as in ``charts``."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import pandas as pd
import plotly.graph_objects as go

from chart_parts import (
    LEGEND_BELOW,
    apart,
    band,
    interval_bar,
    interval_told,
    quiet,
    rows_in_words,
    title_above,
)
from days import day_style
from palette import DASH_OF_STATE, LEARNED, NEUTRAL, SHAPE_OF_STATE, STATE_OF_ACTION, colour_of_state, faded
from words import day_words

NAMES = {"rebuild": "rebuild then", "check": "check then", "none": "never"}
SWING_HEIGHT = 46  # px an input: a line of words and a bar
LEAST_SPAN = 0.02  # of the cost: below, the axis would blow up what is the same


def cost_by_week(
    weeks: pd.DataFrame,
    never: tuple[float, float, float],
    seasons: Sequence[tuple[date, date]],
    best: tuple[str, date | None, float],
    currency: str,
) -> go.Figure:
    """Expected cost of each option against the week in which it is done, with its 90 % band.

    `weeks`: columns ``first_day``, and ``rebuild`` and ``check`` each with ``_low`` and ``_high`` (money). `never`:
    the same three of leaving it. `seasons`: first and last day of each, shaded and named. `best`: action, day (None:
    none) and cost of the cheapest option, which gets a mark. The first week is now.
    """
    figure = go.Figure()
    days = weeks["first_day"]
    first, end = days.iloc[0], days.iloc[-1] + timedelta(days=7)
    curves = {
        action: tuple(weeks[f"{action}{part}"] for part in ("", "_low", "_high")) for action in NAMES if action in weeks
    }
    curves["none"] = tuple(pd.Series(value, index=weeks.index) for value in never)
    for action, (_, low, high) in curves.items():
        if action == "none":  # the same in every week: a bar at its end says it, where a band would hide the others
            continue
        figure.add_traces(band(days, low, high, colour_of_state(STATE_OF_ACTION[action]), 0.12))
    for action, (mean, low, high) in curves.items():
        figure.add_trace(_line(days, mean, low, high, action))
    bottom = min(float(low.min()) for _, low, _ in curves.values())
    top = max(float(high.max()) for _, _, high in curves.values())
    room = max(top - bottom, LEAST_SPAN * abs(top), 1.0)
    axis = (bottom - 0.06 * room, top + 0.06 * room)
    quiet(figure, height=440)
    _add_interval_at_end(figure, end, never)
    _shade(figure, seasons, first.date(), end.date())
    _mark_now(figure, first)
    _mark_best(figure, best, first, end)
    height = axis[1] - axis[0]
    ends = {action: (float(mean.iloc[-1]) - axis[0]) / height for action, (mean, _, _) in curves.items()}
    for action, y in apart(ends).items():
        figure.add_annotation(
            x=end, y=axis[0] + y * height, text=NAMES[action], xanchor="left", xshift=9, showarrow=False
        )
    title_above(figure, f"Expected cost over two years, {currency}")
    figure.update_xaxes(range=[first, end], tickformat=day_style().months, nticks=6, showgrid=False)
    figure.update_xaxes(title_text="week in which it is done")
    figure.update_yaxes(range=list(axis), tickformat=",.0f", nticks=6)
    figure.update_layout(showlegend=False, margin={"r": 88, "t": 60}, hovermode="closest")
    return figure


def _line(days: pd.Series, mean: pd.Series, low: pd.Series, high: pd.Series, action: str) -> go.Scatter:
    state = STATE_OF_ACTION[action]
    when = "" if action == "none" else f", week of %{{x|{day_style().hover}}}"
    return go.Scatter(
        x=days,
        y=mean,
        name=NAMES[action],
        mode="lines",
        line={"color": colour_of_state(state), "dash": DASH_OF_STATE[state], "width": 2.5},
        customdata=pd.DataFrame({"low": low, "high": high}),
        hovertemplate=f"{NAMES[action]}{when}: %{{y:,.0f}}{interval_told(',.0f')}",
    )


def _add_interval_at_end(figure: go.Figure, end: pd.Timestamp, never: tuple[float, float, float]) -> None:
    mean, low, high = never
    colour = colour_of_state(STATE_OF_ACTION["none"])
    figure.add_trace(
        go.Scatter(
            x=[end],
            y=[mean],
            mode="markers",
            marker={"symbol": SHAPE_OF_STATE[STATE_OF_ACTION["none"]], "size": 9, "color": colour},
            error_y=interval_bar(pd.Series([low]), pd.Series([mean]), pd.Series([high]), colour),
            hovertext=f"never: {mean:,.0f}<br>90 % interval {low:,.0f} to {high:,.0f}",
            hoverinfo="text",
            cliponaxis=False,
        )
    )


def _shade(figure: go.Figure, seasons: Sequence[tuple[date, date]], first: date, end: date) -> None:
    for opens, closes in seasons:
        begin, stop = max(opens, first), min(closes, end)
        figure.add_shape(
            type="rect",
            x0=begin,
            x1=stop,
            y0=0,
            y1=1,
            yref="paper",
            fillcolor=faded(NEUTRAL, 0.13),
            line={"width": 0},
            layer="below",
        )
        figure.add_annotation(
            x=begin + (stop - begin) / 2,
            y=1,
            yref="paper",
            yanchor="bottom",
            text=season_name(opens, closes),
            showarrow=False,
        )


def season_name(opens: date, closes: date) -> str:
    """A season by its year, or years."""
    return f"season {opens.year}" if opens.year == closes.year else f"season {opens.year}/{closes:%y}"


def _mark_now(figure: go.Figure, now: pd.Timestamp) -> None:
    line = {"color": NEUTRAL, "width": 2}
    figure.add_shape(type="line", x0=now, x1=now, y0=0, y1=1, yref="paper", line=line)
    figure.add_annotation(
        x=now, y=1, yref="paper", xanchor="left", yanchor="top", xshift=3, text="now", showarrow=False
    )


def _mark_best(figure: go.Figure, best: tuple[str, date | None, float], first: pd.Timestamp, end: pd.Timestamp) -> None:
    """The cheapest option: its shape with a ring, and its day; never has none, and is marked at the end."""
    action, on, cost = best
    state = STATE_OF_ACTION[action]
    at = end if on is None else pd.Timestamp(on)
    told = "never" if on is None else day_words(on)
    figure.add_trace(
        go.Scatter(
            x=[at],
            y=[cost],
            mode="markers",
            marker={
                "symbol": SHAPE_OF_STATE[state],
                "size": 14,
                "color": colour_of_state(state),
                "line": {"width": 2, "color": NEUTRAL},
            },
            hovertext=f"least cost: {told}",
            hoverinfo="text",
            cliponaxis=False,
        )
    )
    early = at <= first + (end - first) / 2
    figure.add_annotation(
        x=at,
        y=cost,
        text=f"<b>best: {told}</b>",
        xanchor="left" if early else "right",
        yanchor="top",
        yshift=-9,
        xshift=6 if early else -6,
        showarrow=False,
    )


def what_moves_it(rows: pd.DataFrame, as_priced: float, currency: str) -> go.Figure:
    """What a rebuild now saves, with each price or chance a quarter lower (hollow) and higher (filled), greatest first.

    `rows`: columns ``label``, ``low``, ``high`` (money) and ``hover`` (HTML). `as_priced`: the saving with none moved.
    Left of the line at 0 waiting is cheaper.
    """
    figure = go.Figure()
    places = [place + 0.18 for place in range(len(rows))]
    for place, low, high in zip(places, rows["low"], rows["high"], strict=True):
        bar = {"color": faded(LEARNED, 0.55), "width": 7}
        figure.add_shape(type="line", x0=low, x1=high, y0=place, y1=place, line=bar, layer="below")
    looks = (("a quarter lower", "low", "circle-open"), ("a quarter higher", "high", "circle"))
    for name, column, symbol in looks:
        figure.add_trace(
            go.Scatter(
                x=rows[column],
                y=places,
                name=name,
                mode="markers",
                marker={"symbol": symbol, "color": LEARNED, "size": 11, "line": {"width": 2, "color": LEARNED}},
                hovertext=rows["hover"],
                hoverinfo="text",
                cliponaxis=False,
            )
        )
    quiet(figure, height=SWING_HEIGHT * len(rows) + 120)
    values = [*rows["low"], *rows["high"], as_priced, 0.0]
    room = max(max(values) - min(values), 1.0)
    figure.update_xaxes(range=[min(values) - 0.06 * room, max(values) + 0.06 * room], tickformat=",.0f", nticks=6)
    figure.update_xaxes(title_text=f"a rebuild now saves, {currency}")
    for at, dash, width in ((as_priced, "dot", 1.5), (0.0, "solid", 2)):
        line = {"color": NEUTRAL, "width": width, "dash": dash}
        for place in places:  # row by row, so that no line runs through the words
            figure.add_shape(type="line", x0=at, x1=at, y0=place - 0.2, y1=place + 0.3, line=line, layer="below")
    rows_in_words(figure, rows["label"])
    figure.update_layout(legend=LEGEND_BELOW, margin={"b": 84})
    return figure
