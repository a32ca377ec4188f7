"""What is kept between two drawings of a screen, and how the dashboard finds its fleet.

The only cached functions. They are keyed by the content of the source, so that a saved spreadsheet shows at the next
drawing, and by what was asked. A change of the horizon never learns anew: the fleet keeps its fitted models.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import date
from hashlib import blake2b
from pathlib import Path

import streamlit as st

import forecaster
import link

SOURCE_VARIABLE = "FORECASTER_SOURCE"
SAMPLE = "sample"  # the only fleet that a link can name: a link must never open a folder of somebody's machine
KEPT_FLEETS = 4
KEPT_ANSWERS = 64
FLEET_FILES = {".csv", ".toml"}


@dataclass(frozen=True)
class Loaded:
    """A fleet and the key of its content, under which everything asked of it is kept."""

    fleet: forecaster.Fleet
    content: str


def chosen_source() -> str | None:
    """The source that the command named, or the sample fleet where the viewer or a link asked for it; else None."""
    named = os.environ.get(SOURCE_VARIABLE, "").strip()
    if named:
        return named
    return str(forecaster.sample_fleet_folder()) if link.wanted("fleet") == [SAMPLE] else None


def is_sample(source: str | None) -> bool:
    """Whether a source is the invented fleet that ships with the program."""
    return source is not None and Path(source) == forecaster.sample_fleet_folder()


def content_of(source: str) -> str:
    """A digest of the bytes of a fleet folder's files, or of a workbook; the source alone where there is nothing."""
    place = Path(source)
    files = sorted(f for f in place.iterdir() if f.suffix.lower() in FLEET_FILES) if place.is_dir() else [place]
    digest = blake2b(source.encode(), digest_size=16)
    for file in files:
        if file.is_file():
            digest.update(file.name.encode())
            digest.update(file.read_bytes())
    return digest.hexdigest()


def load(source: str, today: date) -> Loaded:
    """The fleet of a source as it is on disk now. Raises ForecasterError where it cannot be asked."""
    content = content_of(source)
    return Loaded(_fleet(source, today, content), content)


def load_reading(source: str, today: date) -> forecaster.Reading:
    """What was read, with every problem, also where problems stop all answers."""
    return _reading(source, today, content_of(source))


def forecast(loaded: Loaded, as_of: date, hours: float, model: str) -> forecaster.FleetForecast:
    """The fleet's forecast; kept for the latest questions."""
    return _forecast(loaded.fleet, loaded.content, as_of, hours, model)


def curve(
    loaded: Loaded, unit_id: str, as_of: date, model: str, hours_ahead: float | None = None
) -> forecaster.UnitCurve:
    """One unit's chances along its hours; kept for the latest questions."""
    return _curve(loaded.fleet, loaded.content, unit_id, as_of, model, hours_ahead)


def evidence(loaded: Loaded, as_of: date, model: str) -> forecaster.Evidence:
    """How much stands behind a life model."""
    return _evidence(loaded.fleet, loaded.content, as_of, model)


def survival(loaded: Loaded, as_of: date) -> forecaster.SurvivalEvidence:
    """Bearings not failed by age, counted and by the two-stage model."""
    return _survival(loaded.fleet, loaded.content, as_of)


def learned(loaded: Loaded, as_of: date) -> tuple[forecaster.Learned, ...]:
    """The two-stage model's parameters, before and after the records."""
    return _learned(loaded.fleet, loaded.content, as_of)


def service_lives(loaded: Loaded, as_of: date) -> tuple[forecaster.ServiceLife, ...]:
    """How long fresh units last."""
    return _service_lives(loaded.fleet, loaded.content, as_of)


def backtest(loaded: Loaded, as_of: date, hours: float, every: str) -> forecaster.Backtest:
    """How past forecasts fared; shows how far it has come while it is worked out."""
    return _backtest(loaded.fleet, loaded.content, as_of, hours, every)


@st.cache_resource(max_entries=KEPT_FLEETS, show_spinner="Reading the records ...")
def _fleet(source: str, today: date, content: str) -> forecaster.Fleet:
    return forecaster.open_fleet(source, today=today)


@st.cache_resource(max_entries=KEPT_FLEETS, show_spinner="Reading the records ...")
def _reading(source: str, today: date, content: str) -> forecaster.Reading:
    return forecaster.read_fleet(source, today=today)


@st.cache_resource(max_entries=KEPT_ANSWERS, show_spinner="Working out the forecast ...")
def _forecast(
    _asked: forecaster.Fleet, content: str, as_of: date, hours: float, model: str
) -> forecaster.FleetForecast:
    return _asked.forecast(as_of, hours=hours, model=model)


@st.cache_resource(max_entries=KEPT_ANSWERS, show_spinner="Working out the curve ...")
def _curve(
    _asked: forecaster.Fleet, content: str, unit_id: str, as_of: date, model: str, hours_ahead: float | None
) -> forecaster.UnitCurve:
    return _asked.curve(unit_id, as_of, model=model, hours_ahead=hours_ahead)


@st.cache_resource(max_entries=KEPT_ANSWERS, show_spinner="Learning from the records ...")
def _evidence(_asked: forecaster.Fleet, content: str, as_of: date, model: str) -> forecaster.Evidence:
    return _asked.fit(as_of, model).evidence


@st.cache_resource(max_entries=KEPT_ANSWERS, show_spinner="Counting the lives ...")
def _survival(_asked: forecaster.Fleet, content: str, as_of: date) -> forecaster.SurvivalEvidence:
    return _asked.survival(as_of)


@st.cache_resource(max_entries=KEPT_ANSWERS, show_spinner="Learning from the records ...")
def _learned(_asked: forecaster.Fleet, content: str, as_of: date) -> tuple[forecaster.Learned, ...]:
    return _asked.learned(as_of)


@st.cache_resource(max_entries=KEPT_ANSWERS, show_spinner="Working out the service lives ...")
def _service_lives(_asked: forecaster.Fleet, content: str, as_of: date) -> tuple[forecaster.ServiceLife, ...]:
    return _asked.service_lives(as_of)


@st.cache_resource(max_entries=KEPT_ANSWERS, show_spinner=False)
def _backtest(_asked: forecaster.Fleet, content: str, as_of: date, hours: float, every: str) -> forecaster.Backtest:
    bar = st.progress(0.0)

    def progress(done: int, of: int, doing: str) -> None:
        bar.progress(done / max(of, 1), f"Looking back: {doing} ...")

    told = _asked.backtest(as_of, hours, every=every, progress=progress)
    bar.empty()
    return told
