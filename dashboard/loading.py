"""What is kept between two drawings of a screen, and how the dashboard finds its fleet.

The only cached functions. They are keyed by the content of the source, so that a saved spreadsheet shows at the next
drawing, and by what was asked, for the latest questions. A change of the horizon never learns anew: the fleet keeps its
fitted models.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import streamlit as st

import forecaster
import link
from words import told

SOURCE_VARIABLE = "FORECASTER_SOURCE"
SAMPLE = "sample"  # the only fleet that a link can name: a link must never open a folder of somebody's machine
RECEIVED = "received fleet"  # in the session: the fleet that this viewer uploaded, and nobody else's
KEPT_FLEETS = 4
KEPT_ANSWERS = 64
KEPT_PAPERS = 8
WEIGHED_AT_ONCE = 150  # units: more take longer than a reader waits, and are weighed when asked for


@dataclass(frozen=True)
class Loaded:
    """A fleet and the key of its content, under which everything asked of it is kept."""

    fleet: forecaster.Fleet
    content: str


BY_CONTENT: dict[str | type, Callable[[Any], str]] = {Loaded: lambda loaded: loaded.content}
PlanChoice = tuple[tuple[str, float | date | tuple[date, ...]], ...]
PlanEdits = tuple[tuple[str, forecaster.PlanEdit], ...]
PAPER_KINDS = ("pdf", "xlsx", "ics", "csv")


@dataclass(frozen=True)
class PaperFiles:
    """A paper ready to be taken along: its files by kind, their name without the ending, its answer."""

    name: str
    answer: str
    files: dict[str, bytes]


@dataclass(frozen=True)
class LaidOut:
    """An uploaded fleet in a temporary folder of its own, deleted when it is let go or the server ends."""

    folder: forecaster.UploadFolder
    source: str

    @classmethod
    def of(cls, received: forecaster.ReceivedFleet) -> LaidOut:
        """Its files written where nobody else writes."""
        folder = forecaster.UploadFolder()
        return cls(folder, str(received.lay_out(folder.path)))


def chosen_source() -> str | None:
    """The source to show: the sample where the viewer or a link asks for it, else the viewer's own; else None."""
    return str(forecaster.sample_fleet_folder()) if link.wanted("fleet") == [SAMPLE] else own_source()


def own_source() -> str | None:
    """The source that this viewer uploaded, else the one that the command named; None where there is neither."""
    received = received_fleet()
    if received is not None:
        # anew where a weak network ended the session's cache
        return _laid_out(received.content, lambda: LaidOut.of(received)).source
    return named_source()


def named_source() -> str | None:
    """The source that the command named; None where it named none."""
    return os.environ.get(SOURCE_VARIABLE, "").strip() or None


def received_fleet() -> forecaster.ReceivedFleet | None:
    """What this viewer uploaded; None where nothing."""
    found = st.session_state.get(RECEIVED)
    return found if isinstance(found, forecaster.ReceivedFleet) else None


def take_in(found: forecaster.ReadApart, folder: forecaster.UploadFolder, today: date) -> None:
    """Show the fleet of an upload that was laid out in `folder` and read: nothing of it is read a second time."""
    received, source = found.received, str(found.source)
    assert received is not None, "files were received"
    st.session_state[RECEIVED] = received
    _laid_out(received.content, lambda: LaidOut(folder, source))
    _reading(source, today, forecaster.content_of(source), found.reading)


def forget_received() -> None:
    """Delete the files that this viewer uploaded, now."""
    st.session_state.pop(RECEIVED, None)
    _laid_out.clear()  # of this session alone


def is_sample(source: str | None) -> bool:
    """Whether a source is the invented fleet that ships with the program."""
    return source is not None and Path(source) == forecaster.sample_fleet_folder()


def is_invented(source: str | None) -> bool:
    """Whether the records are those of the sample, wherever their files lie: nobody may take them for true."""
    return source is not None and forecaster.content_of(source) == forecaster.content_of(
        str(forecaster.sample_fleet_folder())
    )


def load(source: str, today: date) -> Loaded:
    """The fleet of a source as it is on disk now. Raises ForecasterError where it cannot be asked."""
    content = forecaster.content_of(source)
    return Loaded(_fleet(source, today, content), content)


def load_reading(source: str, today: date) -> forecaster.Reading:
    """What was read, with every problem, also where problems stop all answers."""
    return _reading(source, today, forecaster.content_of(source))


def date_format(source: str | None, today: date) -> forecaster.DateFormat:
    """How a fleet writes days; as usual where none is open, or it cannot be read."""
    if source is None:
        return forecaster.FleetSettings().date_format
    return _date_format(source, today, forecaster.content_of(source))


def risks(loaded: Loaded, as_of: date, hours: float, model: str) -> forecaster.FleetForecast:
    """The fleet's forecast as far as its first sentence needs it: see ``Fleet.risks``."""
    return _risks(loaded, as_of, float(hours), model)  # 50 and 50.0 are the same question


def forecast(loaded: Loaded, as_of: date, hours: float, model: str) -> forecaster.FleetForecast:
    """The fleet's forecast; the first of a fleet that is asked for has its next answers prepared meanwhile."""
    found = _forecast(loaded, as_of, float(hours), model)
    if as_of == date.today():
        forecaster.PREPARATIONS.begin_with(loaded.fleet, loaded.content, as_of)
    return found


@st.cache_resource(max_entries=KEPT_ANSWERS, hash_funcs=BY_CONTENT, show_spinner="Working out the curve ...")
def curve(
    loaded: Loaded, unit_id: str, as_of: date, model: str, hours_ahead: float | None = None
) -> forecaster.UnitCurve:
    """One unit's chances along its hours."""
    return loaded.fleet.curve(unit_id, as_of, model=model, hours_ahead=hours_ahead)


@st.cache_resource(max_entries=KEPT_ANSWERS, hash_funcs=BY_CONTENT, show_spinner="Learning from the records ...")
def evidence(loaded: Loaded, as_of: date, model: str) -> forecaster.Evidence:
    """How much stands behind a life model."""
    return loaded.fleet.fit(as_of, model).evidence


@st.cache_resource(max_entries=KEPT_ANSWERS, hash_funcs=BY_CONTENT, show_spinner="Counting the lives ...")
def survival(loaded: Loaded, as_of: date) -> forecaster.SurvivalEvidence:
    """Bearings not failed by age, counted and by the two-stage model."""
    return loaded.fleet.survival(as_of)


@st.cache_resource(max_entries=KEPT_ANSWERS, hash_funcs=BY_CONTENT, show_spinner="Learning from the records ...")
def learned(loaded: Loaded, as_of: date) -> tuple[forecaster.Learned, ...]:
    """The two-stage model's parameters, before and after the records."""
    return loaded.fleet.learned(as_of)


@st.cache_resource(max_entries=KEPT_ANSWERS, hash_funcs=BY_CONTENT, show_spinner="Working out the service lives ...")
def service_lives(loaded: Loaded, as_of: date) -> tuple[forecaster.ServiceLife, ...]:
    """How long fresh units last."""
    return loaded.fleet.service_lives(as_of)


@st.cache_resource(max_entries=KEPT_ANSWERS, hash_funcs=BY_CONTENT, show_spinner="Laying out its lives ...")
def timeline(loaded: Loaded, unit_id: str, as_of: date) -> forecaster.UnitTimeline:
    """One unit's lives on the hour axis."""
    return loaded.fleet.timeline(unit_id, as_of)


def now_or_later(loaded: Loaded, unit_id: str, as_of: date, prices: Mapping[str, float]) -> forecaster.NowOrLater:
    """Rebuild one unit now or later; `prices` in place of the fleet's. What all units share is worked out first."""
    _wait_for("decisions", loaded, as_of)
    _decisions(loaded, as_of)
    if loaded.fleet.plans_for_one_unit(as_of):
        _wait_for("decided", loaded, as_of)
    planned = decided_if_known(loaded, as_of) is not None or None  # of a large fleet only where the plan is there
    return _now_or_later(loaded, unit_id, as_of, tuple(sorted(prices.items())), planned)


def swings(loaded: Loaded, unit_id: str, as_of: date, prices: Mapping[str, float]) -> tuple[forecaster.Swing, ...]:
    """What moves that answer most; see ``now_or_later``."""
    return _swings(loaded, unit_id, as_of, tuple(sorted(prices.items())))


def after_water(loaded: Loaded, craft_id: str, flooding: forecaster.Flooding, as_of: date) -> forecaster.AfterWater:
    """What to do about a craft of the fleet after water."""
    return _after_water(loaded, craft_id, flooding, flooding.model_dump_json(), as_of)


@st.cache_resource(max_entries=KEPT_ANSWERS, hash_funcs=BY_CONTENT, show_spinner="Learning how slip falls ...")
def slip(loaded: Loaded, as_of: date, hours: float) -> forecaster.FleetSlip:
    """Clutch slip of each unit in service."""
    return loaded.fleet.slip(as_of, hours)


def after_water_alone(
    flooding: forecaster.Flooding,
    as_of: date,
    hours_since_rebuild: float | None,
    parts: str,
    settings: forecaster.FleetSettings,
) -> forecaster.AfterWater:
    """What to do about a craft of which no records are kept."""
    told = flooding.model_dump_json(), settings.model_dump_json()
    return _after_water_alone(flooding, settings, told, as_of, hours_since_rebuild, parts)


@st.cache_resource(max_entries=KEPT_ANSWERS, hash_funcs=BY_CONTENT, show_spinner=False)
def plan(loaded: Loaded, as_of: date, limits: PlanChoice) -> forecaster.PlanAnswer:
    """The off-season plan within `limits`, (name, value) as ``Fleet.plan`` takes them; shows how far it has come."""
    place = st.empty()
    if not limits:
        _wait_for("decided", loaded, as_of)
    answer = loaded.fleet.plan(as_of, place.caption, **dict(limits))
    place.empty()
    return answer


def plan_by_hand(
    loaded: Loaded, as_of: date, limits: PlanChoice, edits: Mapping[str, forecaster.PlanEdit]
) -> forecaster.PlanByHand:
    """That plan changed by hand."""
    plan(loaded, as_of, limits)  # tells how far it has come, where the fleet does not know it yet
    return _plan_by_hand(loaded, as_of, limits, tuple(sorted(edits.items())))


@st.cache_resource(max_entries=KEPT_PAPERS, hash_funcs=BY_CONTENT, show_spinner=False)
def paper_files(
    loaded: Loaded, as_of: date, hours: float, owner: str | None, limits: PlanChoice, edits: PlanEdits
) -> PaperFiles:
    """The paper of the fleet (`owner` None) or of one owner, with the plan within `limits` as changed by `edits`.

    Shows how far it has come while it is made.
    """
    place = st.empty()
    paper = loaded.fleet.report(as_of, owner, hours=hours, progress=place.caption, edits=dict(edits), **dict(limits))
    place.caption("Setting it out ...")
    files = {kind: paper.file(kind) for kind in PAPER_KINDS}
    place.empty()
    return PaperFiles(paper.name, paper.answer, files)


@dataclass(frozen=True)
class Decided:
    """What is to be done with each unit, by unit_id, and what of it falls in the week."""

    instructions: Mapping[str, forecaster.Instruction]
    week: forecaster.ThisWeek


@st.cache_resource(max_entries=KEPT_ANSWERS, hash_funcs=BY_CONTENT, show_spinner=False)
def on_record(loaded: Loaded, as_of: date) -> Decided:
    """What the records alone order; at once."""
    return Decided(loaded.fleet.instructions_on_record(as_of), loaded.fleet.noted_this_week(as_of))


def decided(loaded: Loaded, as_of: date, limits: PlanChoice = (), edits: PlanEdits = ()) -> Decided:
    """What is to be done with each unit, by the plan as asked; shows how far it has come while units are weighed."""
    found = _decided(loaded, as_of, limits, edits)
    known = _known()
    known[loaded.content, as_of, limits, edits] = found
    for oldest in list(known)[:-KEPT_ANSWERS]:
        known.pop(oldest, None)  # another viewer's page may have let go of it meanwhile
    return found


def decided_if_known(loaded: Loaded, as_of: date, limits: PlanChoice = (), edits: PlanEdits = ()) -> Decided | None:
    """The same where it was worked out already, for this viewer or another; else None, at once."""
    if not limits and not edits and forecaster.PREPARATIONS.have("decided", loaded.content, as_of):
        return decided(loaded, as_of)
    return _known().get((loaded.content, as_of, limits, edits))


@st.cache_resource(max_entries=KEPT_ANSWERS, hash_funcs=BY_CONTENT, show_spinner=False)
def instructions_by(
    loaded: Loaded, as_of: date, limits: PlanChoice, edits: PlanEdits
) -> Mapping[str, forecaster.Instruction]:
    """What is to be done with each unit by a plan within `limits`, changed by hand."""
    return loaded.fleet.instructions(as_of, edits=dict(edits), **dict(limits))


@st.cache_resource(max_entries=KEPT_ANSWERS, hash_funcs=BY_CONTENT, show_spinner=False)
def backtest(loaded: Loaded, as_of: date, hours: float, every: str) -> forecaster.Backtest:
    """How past forecasts fared; shows how far it has come while it is worked out."""
    bar = st.progress(0.0)

    def progress(done: int, of: int, doing: str) -> None:
        bar.progress(done / max(of, 1), f"Looking back: {told(doing)} ...")

    found = loaded.fleet.backtest(as_of, hours, every=every, progress=progress)
    bar.empty()
    return found


@st.cache_resource(max_entries=KEPT_FLEETS, show_spinner="Reading the records ...")
def _fleet(_source: str, today: date, content: str) -> forecaster.Fleet:
    ready = forecaster.PREPARATIONS.fleet(content, today)
    reading = _reading(_source, today, content, None if ready is None else ready.reading)
    return ready or forecaster.fleet_of(reading)


@st.cache_resource(max_entries=KEPT_FLEETS, show_spinner="Reading the records ...")
def _reading(_source: str, today: date, content: str, _read: forecaster.Reading | None = None) -> forecaster.Reading:
    """`_read`: what was read already. A stranger's files are read in a process of their own."""
    if _read is not None:
        return _read
    read = forecaster.read_apart if forecaster.is_uploaded(_source) else forecaster.read_fleet
    return read(_source, today)


@st.cache_resource(max_entries=KEPT_FLEETS, show_spinner=False)
def _date_format(_source: str, today: date, content: str) -> forecaster.DateFormat:
    try:
        return _fleet(_source, today, content).settings.date_format
    except forecaster.DataStopsAnswer:
        return _reading(_source, today, content).records.settings.date_format
    except forecaster.ForecasterError:
        return forecaster.FleetSettings().date_format


# Of this session alone: another upload replaces it, and the end of the session removes it.
@st.cache_resource(scope="session", max_entries=1, show_spinner=False, on_release=lambda laid: laid.folder.remove())
def _laid_out(content: str, _lay_out: Callable[[], LaidOut]) -> LaidOut:
    return _lay_out()


@st.cache_data(show_spinner=False)
def templates() -> dict[str, bytes]:
    """Files to begin a fleet with, by their names: a folder's as a ZIP, a workbook, and each CSV file."""
    return {
        "my_fleet.zip": forecaster.template_folder(),
        "my_fleet.xlsx": forecaster.template_workbook(),
        **{table.file: forecaster.template_table(name) for name, table in forecaster.TABLES.items()},
    }


@st.cache_resource(max_entries=KEPT_ANSWERS, hash_funcs=BY_CONTENT, show_spinner="Working out the forecast ...")
def _risks(loaded: Loaded, as_of: date, hours: float, model: str) -> forecaster.FleetForecast:
    _wait_to_stand(loaded, as_of, hours, model, "risks")
    return loaded.fleet.risks(as_of, hours=hours, model=model)


@st.cache_resource(max_entries=KEPT_ANSWERS, hash_funcs=BY_CONTENT, show_spinner="Looking further ahead ...")
def _forecast(loaded: Loaded, as_of: date, hours: float, model: str) -> forecaster.FleetForecast:
    _wait_to_stand(loaded, as_of, hours, model, "forecast")
    return loaded.fleet.forecast(as_of, hours=hours, model=model)


@st.cache_resource(max_entries=KEPT_FLEETS, hash_funcs=BY_CONTENT, show_spinner="Weighing the weeks ahead ...")
def _decisions(loaded: Loaded, as_of: date) -> forecaster.Decisions:
    shared = loaded.fleet.decisions(as_of)
    _ = shared.scatter  # seconds once, so that no price that is moved later waits for it
    return shared


# No spinner: a price that is moved is answered sooner than a spinner would show.
@st.cache_resource(max_entries=KEPT_ANSWERS, hash_funcs=BY_CONTENT, show_spinner=False)
def _now_or_later(
    loaded: Loaded, unit_id: str, as_of: date, prices: tuple[tuple[str, float], ...], planned: bool | None
) -> forecaster.NowOrLater:
    return loaded.fleet.now_or_later(unit_id, as_of, planned, **dict(prices))


@st.cache_resource(max_entries=KEPT_ANSWERS, hash_funcs=BY_CONTENT, show_spinner=False)
def _swings(
    loaded: Loaded, unit_id: str, as_of: date, prices: tuple[tuple[str, float], ...]
) -> tuple[forecaster.Swing, ...]:
    place = st.empty()

    def progress(what: str) -> None:
        # Every word lets Streamlit break off here, so that the next price moved need not wait for the whole second.
        place.caption(f"Trying each price lower and higher: {what.replace('_', ' ')} ...")

    found = loaded.fleet.decisions(as_of).swings(unit_id, progress, **dict(prices))
    place.empty()
    return found


@st.cache_resource(max_entries=KEPT_ANSWERS, hash_funcs=BY_CONTENT, show_spinner="Working out what to do ...")
def _after_water(
    loaded: Loaded, craft_id: str, _flooding: forecaster.Flooding, told: str, as_of: date
) -> forecaster.AfterWater:
    return loaded.fleet.after_water(craft_id, _flooding, as_of)


@st.cache_resource(max_entries=KEPT_ANSWERS, show_spinner="Working out what to do ...")
def _after_water_alone(
    _flooding: forecaster.Flooding,
    _settings: forecaster.FleetSettings,
    told: tuple[str, str],
    as_of: date,
    hours_since_rebuild: float | None,
    parts: str,
) -> forecaster.AfterWater:
    return forecaster.flooded_alone(_flooding, as_of, hours_since_rebuild, parts, settings=_settings)


@st.cache_resource(max_entries=KEPT_ANSWERS, hash_funcs=BY_CONTENT, show_spinner=False)
def _plan_by_hand(loaded: Loaded, as_of: date, limits: PlanChoice, edits: PlanEdits) -> forecaster.PlanByHand:
    return loaded.fleet.plan_with(dict(edits), as_of, **dict(limits))


@st.cache_resource(max_entries=KEPT_ANSWERS, hash_funcs=BY_CONTENT, show_spinner=False)
def _decided(loaded: Loaded, as_of: date, limits: PlanChoice, edits: PlanEdits) -> Decided:
    place, changed, wish = st.empty(), dict(edits), dict(limits)
    if not limits:
        _wait_for("decided", loaded, as_of)
    found = Decided(
        loaded.fleet.instructions(as_of, place.caption, edits=changed, **wish),
        loaded.fleet.this_week(as_of, edits=changed, **wish),
    )
    place.empty()
    return found


def _wait_to_stand(loaded: Loaded, as_of: date, hours: float, model: str, piece: forecaster.Piece) -> None:
    """Until `piece` is here of a fleet that is being prepared, or for another horizon all that it follows from."""
    if model == forecaster.DEFAULT_MODEL:
        usual = hours == forecaster.DEFAULT_HOURS
        # Nothing is told: it is here as soon as a word of it.
        forecaster.PREPARATIONS.wait(piece if usual else "standing", loaded.content, as_of, lambda _: None)


def _wait_for(piece: forecaster.Piece, loaded: Loaded, as_of: date) -> None:
    """Until a piece of a fleet that is being prepared is here, told how far it has come."""
    place = st.empty()
    forecaster.PREPARATIONS.wait(piece, loaded.content, as_of, place.caption)
    place.empty()


@st.cache_resource(show_spinner=False)
def _known() -> dict[tuple[str, date, PlanChoice, PlanEdits], Decided]:
    return {}
