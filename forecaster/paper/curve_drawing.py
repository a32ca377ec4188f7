"""One unit's chances over its engine hours, drawn for paper: vector, black and grey, read without colour.

Left of "now", the chance that its bearing was defective, as the records told it then; right of it, the chance that it
has failed, with its 90 % band, and the chance that it is defective.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from forecaster.paper.typeface import BOLD, REGULAR, shown
from forecaster.unit_curve import UnitCurve

SIZE = 7.0  # points, of the smallest words
LEFT, RIGHT, BOTTOM, TOP = 34.0, 8.0, 30.0, 16.0  # points around the picture, for its words
BAND, INK, PALE = 0.80, 0.0, 0.55  # grey levels: 0 black, 1 white
STEPS = (1, 2, 2.5, 5, 10)
TICKS = 6


@dataclass(frozen=True)
class _Scale:
    """From hours and shares to points on paper."""

    first: float
    last: float
    top: float  # greatest share drawn
    width: float
    height: float

    def x(self, hours: float) -> float:
        share = (hours - self.first) / max(self.last - self.first, 1e-9)
        return LEFT + share * (self.width - LEFT - RIGHT)

    def y(self, chance: float) -> float:
        return BOTTOM + min(chance, self.top) / self.top * (self.height - BOTTOM - TOP)


def curve_drawing(curve: UnitCurve, width: float, height: float) -> Any:
    """A reportlab Drawing of `width` by `height` points; hours count from the last rebuild where its age is known."""
    from reportlab.graphics.shapes import Drawing

    known = math.isfinite(curve.now_age)
    start = curve.now_age - curve.now_hours if known else 0.0
    now = start + curve.now_hours
    ahead = curve.ahead.assign(at=now + curve.ahead["hours_ahead"])
    past = curve.so_far.assign(at=start + curve.so_far["observed_hours"])
    scale = _Scale(start, float(ahead["at"].iloc[-1]), _top(ahead, past), width, height)
    drawing = Drawing(width, height)
    _axes(drawing, scale, "Engine hours since rebuild (h)" if known else "Engine hours in the record (h)")
    _band(drawing, scale, ahead)
    _line(drawing, scale, ahead, "failed_mean", thick=1.6)
    for part in (past, ahead):
        if len(part) and part["defective_mean"].notna().all():
            _line(drawing, scale, part, "defective_mean", thick=1.0, dashed=True)
    _now(drawing, scale, now)
    _events(drawing, scale, curve, start)
    return drawing


def _top(ahead: pd.DataFrame, past: pd.DataFrame) -> float:
    """The least round share that holds everything drawn."""
    highest = [float(ahead["failed_high"].max()), float(ahead["defective_mean"].max()), 0.05]
    if len(past):
        highest.append(float(past["defective_mean"].max()))
    most = float(np.nanmax(highest))
    return next(top for top in (0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0) if top >= min(most, 1.0) - 1e-9)


def _axes(drawing: Any, scale: _Scale, hours_title: str) -> None:
    left, right, low = LEFT, scale.width - RIGHT, BOTTOM
    for share in np.linspace(0.0, scale.top, 5 if scale.top < 0.99 else 6):
        at = scale.y(float(share))
        _stroke(drawing, [left, at, right, at], 0.3, 0.85)
        _words(drawing, left - 3, at - SIZE / 3, f"{100 * share:.3g}", anchor="end")
    for hours in _ticks(scale.first, scale.last):
        at = scale.x(hours)
        _stroke(drawing, [at, low, at, low - 3], 0.6, INK)
        _words(drawing, at, low - 4 - SIZE, f"{hours:,.0f}", anchor="middle")
    _stroke(drawing, [left, low, right, low], 0.8, INK)
    _stroke(drawing, [left, low, left, scale.height - TOP], 0.8, INK)
    _words(drawing, (left + right) / 2, 3, hours_title, anchor="middle")
    _upright(drawing, SIZE, (low + scale.height - TOP) / 2, "Chance (%)")


def _ticks(first: float, last: float) -> list[float]:
    span = max(last - first, 1e-9)
    unit = 10 ** math.floor(math.log10(span / TICKS))
    step = next(s * unit for s in STEPS if span / (s * unit) <= TICKS)
    return [float(t) for t in np.arange(math.ceil(first / step), math.floor(last / step) + 1) * step]


def _band(drawing: Any, scale: _Scale, ahead: pd.DataFrame) -> None:
    from reportlab.graphics.shapes import Polygon

    upper = [(scale.x(h), scale.y(p)) for h, p in zip(ahead["at"], ahead["failed_high"], strict=True)]
    lower = [(scale.x(h), scale.y(p)) for h, p in zip(ahead["at"], ahead["failed_low"], strict=True)]
    points = [coordinate for point in (*upper, *reversed(lower)) for coordinate in point]
    drawing.add(Polygon(points, fillColor=_grey(BAND), strokeColor=None))


def _line(drawing: Any, scale: _Scale, part: pd.DataFrame, column: str, thick: float, dashed: bool = False) -> None:
    points = [p for h, c in zip(part["at"], part[column], strict=True) for p in (scale.x(h), scale.y(c))]
    _stroke(drawing, points, thick, INK, dashed=dashed)


def _now(drawing: Any, scale: _Scale, now: float) -> None:
    at, top = scale.x(now), scale.height - TOP
    _stroke(drawing, [at, BOTTOM, at, top], 0.8, PALE)
    _words(drawing, at, top + 3, "now", anchor="middle", bold=True)


def _events(drawing: Any, scale: _Scale, curve: UnitCurve, start: float) -> None:
    """Water as a triangle that points down, looks as a circle, on the hour axis."""
    from reportlab.graphics.shapes import Circle, Polygon

    for hours in curve.incidents["observed_hours"]:
        x, y, r = scale.x(start + float(hours)), BOTTOM, 3.2
        points = [x - r, y + 2 * r, x + r, y + 2 * r, x, y]
        drawing.add(Polygon(points, fillColor=_grey(INK), strokeColor=_grey(1.0), strokeWidth=0.4))
    for hours in curve.checks["observed_hours"]:
        x, y, r = scale.x(start + float(hours)), BOTTOM, 2.6
        drawing.add(Circle(x, y + r, r, fillColor=_grey(1.0), strokeColor=_grey(INK), strokeWidth=0.9))


def legend_drawing(width: float) -> Any:
    """What the lines, the band and the marks mean, on one line of the page."""
    from reportlab.graphics.shapes import Circle, Drawing, Polygon, Rect

    drawing = Drawing(width, SIZE + 6)
    middle, at = (SIZE + 6) / 2, 0.0

    def told(words: str, before: float) -> None:
        nonlocal at
        _words(drawing, at + before + 3, middle - SIZE / 3, words)
        at += before + 3 + _width(words) + 14

    drawing.add(Rect(at, middle - 4, 20, 8, fillColor=_grey(BAND), strokeColor=None))
    _stroke(drawing, [at, middle, at + 20, middle], 1.6, INK)
    told("has failed, with its 90 % band", 20)
    _stroke(drawing, [at, middle, at + 20, middle], 1.0, INK, dashed=True)
    told("is defective, not yet failed", 20)
    drawing.add(Polygon([at, middle + 3.2, at + 6.4, middle + 3.2, at + 3.2, middle - 3.2], fillColor=_grey(INK)))
    told("water got in", 6.4)
    drawing.add(Circle(at + 2.6, middle, 2.6, fillColor=_grey(1.0), strokeColor=_grey(INK), strokeWidth=0.9))
    told("checked or opened", 5.2)
    return drawing


def _width(words: str) -> float:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return float(stringWidth(words, REGULAR, SIZE))


def _grey(level: float) -> Any:
    from reportlab.lib.colors import Color

    return Color(level, level, level)


def _stroke(drawing: Any, points: list[float], thick: float, level: float, dashed: bool = False) -> None:
    from reportlab.graphics.shapes import PolyLine

    dash = [3, 2] if dashed else None
    drawing.add(PolyLine(points, strokeColor=_grey(level), strokeWidth=thick, strokeDashArray=dash, strokeLineJoin=1))


def _words(drawing: Any, x: float, y: float, text: str, anchor: str = "start", bold: bool = False) -> None:
    from reportlab.graphics.shapes import String

    font = BOLD if bold else REGULAR
    drawing.add(String(x, y, shown(text), fontName=font, fontSize=SIZE, textAnchor=anchor))


def _upright(drawing: Any, x: float, y: float, text: str) -> None:
    from reportlab.graphics.shapes import Group, String

    turned = Group(String(0, 0, text, fontName=REGULAR, fontSize=SIZE, textAnchor="middle"))
    turned.translate(x, y)
    turned.rotate(90)
    drawing.add(turned)
