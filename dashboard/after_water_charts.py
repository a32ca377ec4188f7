"""The picture of the risk after water: frames in, figures out, as in ``charts``."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from chart_parts import PERCENT_TICKS, apart, band, interval_told, quiet, title_above
from charts import LEAST_TOP
from palette import DASH_OF_SCENARIO, SHAPE_OF_SCENARIO, colour_of_scenario


def risk_after_water(rows: pd.DataFrame, names: dict[str, str]) -> go.Figure:
    """Chance of failing within some engine hours, a line with its 90 % band for each scenario.

    `rows`: columns ``scenario``, ``hours``, ``mean``, ``low``, ``high`` (chances in 0..1), ``now`` (whether that is so
    now). `names`: what each scenario is called, in the order to draw. Each has its own colour, dash and marker, and its
    name at its end.
    """
    figure = go.Figure()
    parts = {scenario: rows[rows["scenario"] == scenario] for scenario in names}
    for scenario, own in parts.items():
        figure.add_traces(band(own["hours"], own["low"], own["high"], colour_of_scenario(scenario), 0.12))
    for scenario, own in parts.items():
        figure.add_trace(_line(own, scenario, names[scenario]))
    top = min(1.0, max(LEAST_TOP, 1.08 * float(rows["high"].max())))
    end = float(rows["hours"].max())
    quiet(figure, height=430)
    last = {scenario: own.iloc[-1] for scenario, own in parts.items()}
    for scenario, y in apart({scenario: float(row["mean"]) / top for scenario, row in last.items()}).items():
        told = names[scenario]
        figure.add_annotation(
            x=end,
            y=y * top,
            text=f"<b>{told}</b>" if last[scenario]["now"] else told,
            align="left",
            xanchor="left",
            xshift=9,
            showarrow=False,
            font={"size": 12},
        )
    ticks = sorted(set(rows["hours"]))
    figure.update_xaxes(range=[0, 1.03 * end], tickvals=ticks, ticktext=[f"{hours:g}" for hours in ticks], tickangle=0)
    figure.update_xaxes(title_text="engine hours from now", showgrid=False)
    figure.update_yaxes(range=[0, top], **PERCENT_TICKS, nticks=6)
    title_above(figure, "Chance that the bearing fails")
    figure.update_layout(showlegend=False, margin={"r": 112, "t": 40}, hovermode="closest")
    return figure


def _line(own: pd.DataFrame, scenario: str, name: str) -> go.Scatter:
    colour = colour_of_scenario(scenario)
    return go.Scatter(
        x=own["hours"],
        y=own["mean"],
        name=name,
        mode="lines+markers",
        line={"color": colour, "dash": DASH_OF_SCENARIO[scenario], "width": 2.5},
        marker={"color": colour, "symbol": SHAPE_OF_SCENARIO[scenario], "size": 9},
        customdata=own[["low", "high"]],
        hovertemplate=f"{name}, within %{{x:.0f}} h: %{{y:.0%}}{interval_told('.0%')}",
        cliponaxis=False,
    )
