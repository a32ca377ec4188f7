"""The pictures of the off-season plan: frames in, figures out, as in ``charts``."""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd
import plotly.graph_objects as go

from chart_parts import add_upright, band, interval_told, quiet, title_above
from days import day_style
from palette import LEARNED, NEUTRAL, STATE_OF_ACTION, colour_of_state, faded
from words import day_of_year_words

DAY_MS = 86_400_000
CHECK_HEIGHT = 1 / 3  # of a place: a check takes one only if the unit rattles
BLOCK_GAP = 0.06  # of a place, between blocks one above another
ROW_PX, LEAST_PX, MOST_PX = 58, 200, 760
TICKS = 6  # Mondays named along the axis: as many as a phone has room for
PATTERN = {"rebuild": "", "check": "/"}


def bench_by_week(work: pd.DataFrame, weeks: pd.DataFrame, later: list[date], opens: date, ready_by: date) -> go.Figure:
    """Weeks along, bench places up, one labelled block a unit.

    `work`: columns ``label``, ``week`` (Monday), ``action``, ``by_hand`` and ``hover`` (HTML), in the order to stack.
    `weeks`: ``week``, ``places`` and ``closed`` of each week of the plan. `later`: Mondays after it, drawn where there
    is work in them. `opens`: the season's first day, marked; `ready_by` too, where it is another.
    """
    figure = go.Figure()
    stacked = _stacked(work)
    for action in PATTERN:
        own = stacked[stacked["action"] == action]
        figure.add_trace(_blocks(own, action))
    top = max(
        float(weeks["places"].max()), float((stacked["base"] + stacked["height"]).max()) if len(stacked) else 0, 1
    )
    _add_places(figure, weeks)
    for closed in weeks.loc[weeks["closed"], "week"]:
        _add_closed(figure, closed)
    first = weeks["week"].iloc[0] - pd.Timedelta(days=1)
    used = [pd.Timestamp(day) for day in later if len(work) and (work["week"] >= pd.Timestamp(day)).any()]
    end = max([weeks["week"].iloc[-1], *used]) + pd.Timedelta(days=8)
    end = max(end, pd.Timestamp(opens) + pd.Timedelta(days=3)) if opens - ready_by <= timedelta(days=21) else end
    for day, told in {opens: "season opens", **({ready_by: "ready by"} if ready_by != opens else {})}.items():
        at = pd.Timestamp(day)
        if first <= at <= end:
            late = at > first + (end - first) / 2
            add_upright(figure, at, f"{told} {day_of_year_words(day)}", "solid", side="right" if late else "left")
    quiet(figure, height=int(min(max(ROW_PX * top + 150, LEAST_PX), MOST_PX)))
    apart = max(1, round((end - first).days / 7 / TICKS)) * 7 * DAY_MS
    figure.update_xaxes(range=[first, end], tickformat=day_style().axis, tick0=weeks["week"].iloc[0], dtick=apart)
    figure.update_xaxes(showgrid=False)
    figure.update_xaxes(title_text="week, by its Monday")
    figure.update_yaxes(range=[0, top + 0.15], title_text="bench places", tickformat="d", dtick=max(1, round(top / 8)))
    below = {"orientation": "h", "y": 1, "yref": "container", "yanchor": "top", "x": 0, "xanchor": "left"}
    figure.update_layout(barmode="overlay", bargap=0, legend=below, margin={"t": 62}, hovermode="closest")
    return figure


def _stacked(work: pd.DataFrame) -> pd.DataFrame:
    """Each block's height, and where it stands on those before it in its week."""
    height = work["action"].map({"rebuild": 1.0, "check": CHECK_HEIGHT}).astype(float)
    base = height.groupby(work["week"]).cumsum() - height
    return work.assign(height=height, base=base)


def _blocks(own: pd.DataFrame, action: str) -> go.Bar:
    colour = colour_of_state(STATE_OF_ACTION[action])
    return go.Bar(
        x=own["week"],
        y=own["height"] - BLOCK_GAP,
        base=own["base"] + BLOCK_GAP / 2,
        offset=0.25 * DAY_MS,
        width=[6.5 * DAY_MS] * len(own),
        name=f"{action} (dark edge: changed by hand)" if own["by_hand"].any() else action,
        text=own["label"],
        textposition="inside",
        insidetextanchor="middle",
        insidetextfont={"size": 12},
        constraintext="inside",
        marker={
            "color": faded(colour, 0.32 if action == "rebuild" else 0.16),
            "pattern": {"shape": PATTERN[action], "fgcolor": faded(colour, 0.6), "size": 6, "solidity": 0.25},
            "line": {
                "color": [NEUTRAL if changed else colour for changed in own["by_hand"]],
                "width": [4 if changed else 1.5 for changed in own["by_hand"]],
            },
        },
        hovertext=own["hover"],
        hoverinfo="text",
        showlegend=True,
    )


def _add_places(figure: go.Figure, weeks: pd.DataFrame) -> None:
    """The bench's places as a line of steps."""
    ends = [*weeks["week"], weeks["week"].iloc[-1] + pd.Timedelta(days=7)]
    figure.add_trace(
        go.Scatter(
            x=ends,
            y=[*weeks["places"], weeks["places"].iloc[-1]],
            mode="lines",
            name="bench places",
            line={"color": NEUTRAL, "width": 2, "dash": "dot", "shape": "hv"},
            hoverinfo="skip",
        )
    )


def _add_closed(figure: go.Figure, monday: pd.Timestamp) -> None:
    end = monday + pd.Timedelta(days=7)
    figure.add_shape(
        type="rect", x0=monday, x1=end, y0=0, y1=1, yref="paper", fillcolor=faded(NEUTRAL, 0.2), line={"width": 0}
    )
    figure.add_annotation(
        x=monday + pd.Timedelta(days=3.5), y=0.5, yref="paper", text="closed", textangle=-90, showarrow=False
    )


def rules_beside(rules: pd.DataFrame, best: float | None, currency: str) -> go.Figure:
    """What each rule "every unit past N hours" costs more than the plan, against N, with its 90 % band.

    `rules`: columns ``hours``, ``rebuilds``, ``more``, ``low``, ``high`` (money); a row without hours is left out.
    `best`: the N that costs least, pointed out.
    """
    figure = go.Figure()
    known = rules[rules["hours"].notna()]
    figure.add_traces(band(known["hours"], known["low"], known["high"], LEARNED, 0.18))
    figure.add_trace(
        go.Scatter(
            x=known["hours"],
            y=known["more"],
            mode="lines+markers",
            line={"color": LEARNED, "width": 2},
            marker={"symbol": "diamond", "size": 8, "color": LEARNED},
            customdata=known[["low", "high", "rebuilds"]],
            hovertemplate="every unit past %{x:.0f} h: %{customdata[2]:.0f} rebuilds"
            f"<br>costs %{{y:,.0f}} more than the plan{interval_told(',.0f')}",
            cliponaxis=False,
        )
    )
    quiet(figure, height=320)
    figure.add_hline(y=0, line={"color": NEUTRAL, "width": 2})
    title_above(figure, f"The rule costs more than the plan, {currency}")
    if best is not None and len(known):
        cost = float(known.loc[(known["hours"] - best).abs().idxmin(), "more"])
        early = best <= (known["hours"].min() + known["hours"].max()) / 2
        figure.add_annotation(
            x=best,
            y=cost,
            text=f"<b>best rule: {best:.0f} h</b>",
            xanchor="left" if early else "right",
            ax=14 if early else -14,
            ay=-28,
            arrowcolor=NEUTRAL,
        )
    figure.update_xaxes(title_text="N, engine hours since rebuild", nticks=7)
    figure.update_yaxes(tickformat=",.0f", nticks=6)
    figure.update_layout(showlegend=False, margin={"t": 44})
    return figure
