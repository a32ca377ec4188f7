"""Invented fleets with a known truth: to test against, to teach with, to try the forecaster out.

``simulate_fleet`` draws a fleet's operations, plays its seasons under a world's law and an owner's policy, and has its
people write it down; ``write_simulated`` makes a fleet folder of it. The same arguments give the same fleet.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from forecaster.caretaking import FixedHours, Policy
from forecaster.errors import WrongUsage
from forecaster.fleet_in_play import FleetInPlay
from forecaster.fleet_notes import fleet_notes, rows_noted
from forecaster.operations import HOURS_A_SEASON, draw_operations
from forecaster.ranges import CRAFT_INVENTED, FIRST_DAY, LAST_DAY, SEASONS_INVENTED, SEED, NumberRange
from forecaster.reading import files_of
from forecaster.record_keeping import write_down
from forecaster.records import TABLES, FleetRecords
from forecaster.season_play import SeasonPlay
from forecaster.settings import SETTINGS_FILE, FleetSettings, read_settings
from forecaster.truth import Truth, truth_of
from forecaster.worlds import WORLDS, World
from forecaster.writing import fleet_files
from forecaster.written_files import check_places, undo_killed, write_files

DEFAULT_WORLD = "rust_at_incident"
FIRST_YEAR = 2024
NOTES_FILE, TRUTH_FILE = "README.md", "truth.json"
TRUTH_NOTE = "The truth behind an invented fleet. Ages are engine hours since new or rebuilt."
FLEET_FILES = (*(table.file for table in TABLES.values()), SETTINGS_FILE)
A_SEASON = NumberRange("a number of engine hours", 1.0, 1_000.0)
SPREAD = NumberRange("a spread", 0.0, 1.0)
STREAMS = 7  # craft, usage, water, meter days; nature, the policy, the workshop


@dataclass(frozen=True)
class SimulatedFleet:
    """An invented fleet: what its people recorded, what was true, and the arguments that draw it again."""

    records: FleetRecords
    truth: Truth
    as_of: date  # the end of the last season's month: the day after which nothing is known
    craft: int
    seasons: int
    seed: int
    world: World
    first_year: int
    untidy: bool
    policy: Policy
    hours_a_season: float = HOURS_A_SEASON
    season_spread: float = 0.0


def simulate_fleet(
    craft: int = 28,
    seasons: int = 3,
    seed: int = 1,
    world: str | World = DEFAULT_WORLD,
    first_year: int = FIRST_YEAR,
    untidy: bool = True,
    policy: Policy | None = None,
    settings: FleetSettings | None = None,
    hours_a_season: float = HOURS_A_SEASON,
    season_spread: float = 0.0,
) -> SimulatedFleet:
    """An invented fleet of so many craft and rental seasons, its records and its truth.

    `world`: a name of ``worlds.WORLDS`` or a law of one's own. `policy`: who decides about the units; the usual fixed
    hours unless given. `hours_a_season`: engine hours that a craft is usually ridden; `season_spread`: sd of the log by
    which seasons differ for all craft. `untidy`: with the blanks and unknowns of real books; without, every cell is
    recorded. Other policies for the same seed meet the same customers and incidents. WrongUsage where the numbers make
    no fleet.
    """
    CRAFT_INVENTED.asked(craft, "craft")
    SEASONS_INVENTED.asked(seasons, "seasons")
    SEED.asked(seed, "seed")
    A_SEASON.asked(hours_a_season, "hours_a_season")
    SPREAD.asked(season_spread, "season_spread")
    years = NumberRange("a year", FIRST_DAY.year, LAST_DAY.year - seasons, whole=True)
    years.asked(first_year, "first_year")
    law = World.named(world) if isinstance(world, str) else world
    settings = settings if settings is not None else read_settings("")
    craft_rng, usage, water, meters, nature, will, bench = (
        np.random.default_rng(stream) for stream in np.random.SeedSequence(seed).spawn(STREAMS)
    )
    streams = (craft_rng, usage, water, meters)
    operations = draw_operations(craft, seasons, first_year, settings.season, streams, hours_a_season, season_spread)

    def books(fleet: FleetInPlay, until: date) -> FleetRecords:
        return write_down(fleet, until, settings, seed, untidy)

    policy = policy if policy is not None else FixedHours()
    play = SeasonPlay(operations, law, policy, settings, (nature, will, bench), books)
    fleet = play.run()
    as_of = date.fromordinal(operations.last_day)
    return SimulatedFleet(
        records=books(fleet, as_of),
        truth=truth_of(fleet),
        as_of=as_of,
        craft=craft,
        seasons=seasons,
        seed=seed,
        world=law,
        first_year=first_year,
        untidy=untidy,
        policy=policy,
        hours_a_season=hours_a_season,
        season_spread=season_spread,
    )


def write_simulated(fleet: SimulatedFleet, folder: str | Path, truth: bool = False, force: bool = False) -> list[Path]:
    """Write an invented fleet's folder: its CSV files, fleet.toml, README.md, and truth.json where asked for.

    The files written. Raises WrongUsage as ``check_invented``, and SourceError where the folder cannot be written.
    """
    folder = Path(folder)
    check_invented(folder, truth, force)
    notes = fleet_notes(fleet.records, fleet.as_of, _how_to_draw(fleet, folder.name))
    contents = {**fleet_files(fleet.records), NOTES_FILE: notes.encode()}
    if truth:
        contents[TRUTH_FILE] = (json.dumps(_told(fleet), indent=1, allow_nan=False) + "\n").encode()
    placed = {folder / name: content for name, content in contents.items()}
    return write_files(placed, force=force, gone=_gone(folder, truth))


def check_invented(folder: str | Path, truth: bool = False, force: bool = False) -> None:
    """Refuse a folder to which ``write_simulated`` would not write: asked before the fleet is drawn.

    Raises WrongUsage where a file is in the way, unless told to write over it by `force`. A fleet there is only written
    over where it is an invented one that is as it was drawn; any other may be somebody's records, `force` or not. A
    truth.json of the fleet before goes with it.
    """
    folder = Path(folder)
    names = [*FLEET_FILES, NOTES_FILE, *([TRUTH_FILE] if truth else [])]
    undo_killed([folder / NOTES_FILE])
    there = [file for file in files_of(folder) if file.is_file()] if folder.is_dir() else []
    altered = _not_as_drawn(folder, there)
    if altered:
        raise WrongUsage(
            f"{folder} holds a fleet that `simulate` did not draw, or not as it is now ({altered}). It is never "
            "written over, not even with --force. Name another folder."
        )
    check_places([folder / name for name in names], force=force, gone=_gone(folder, truth))


def _not_as_drawn(folder: Path, there: Sequence[Path]) -> str:
    """What of the fleet in a folder may be somebody's own; nothing where all is as it was drawn, or none is there."""
    if not there:
        return ""
    noted = rows_noted(_beginning_of(folder / NOTES_FILE))
    if not noted:
        return f"{there[0].name} is there, and no {NOTES_FILE} says that it is invented"
    for file in there:
        if file.name in noted and (rows := _rows_of(file)) != noted[file.name]:
            return f"{file.name} has {rows:,} rows, and {NOTES_FILE} tells of {noted[file.name]:,}"
    return ""


def _rows_of(file: Path) -> int:
    """How many rows a CSV file has below its header; -1 where it cannot be read."""
    try:
        with file.open("rb") as lines:
            return sum(1 for _ in lines) - 1
    except OSError:
        return -1


def _beginning_of(file: Path) -> str:
    """As much of a file as our notes are long; blank where it cannot be read."""
    if not file.is_file():
        return ""
    try:
        with file.open("rb") as text:
            return text.read(20_000).decode("utf-8", errors="replace")
    except OSError:
        return ""


def _gone(folder: Path, truth: bool) -> list[Path]:
    """A truth.json that tells of the fleet before: beside another it would not be true."""
    return [folder / TRUTH_FILE] if not truth and TRUTH_NOTE in _beginning_of(folder / TRUTH_FILE) else []


def _how_to_draw(fleet: SimulatedFleet, folder: str) -> str:
    """The command that draws the fleet again; the Python call where the command cannot say it."""
    world = fleet.world.name if WORLDS.get(fleet.world.name) == fleet.world else None
    usual = fleet.first_year == FIRST_YEAR and fleet.untidy and fleet.policy == FixedHours()
    usual = usual and fleet.hours_a_season == HOURS_A_SEASON and fleet.season_spread == 0.0
    if world and usual and fleet.records.settings == read_settings(""):
        law = "" if world == DEFAULT_WORLD else f" --world {world}"
        return f"forecaster simulate {folder} --craft {fleet.craft} --seasons {fleet.seasons} --seed {fleet.seed}{law}"
    return (
        f"simulate_fleet(craft={fleet.craft}, seasons={fleet.seasons}, seed={fleet.seed}, "
        f"world={(world or fleet.world)!r}, first_year={fleet.first_year}, untidy={fleet.untidy}, "
        f"policy={fleet.policy!r}, settings={fleet.records.settings!r}, hours_a_season={fleet.hours_a_season}, "
        f"season_spread={fleet.season_spread})"
    )


def _told(fleet: SimulatedFleet) -> dict[str, Any]:
    """What truth.json holds: the law, and each life, stretch, incident and check as it truly was."""
    truth = fleet.truth
    tables = {name: getattr(truth, name) for name in ("lives", "stretches", "incidents", "checks")}
    return {
        "note": TRUTH_NOTE,
        "as_of": fleet.as_of.isoformat(),
        "world": asdict(fleet.world),
        **{name: [_plain(row) for row in table.to_dict("records")] for name, table in tables.items()},
    }


def _plain(row: dict[Any, Any]) -> dict[str, Any]:
    """A row as JSON can hold it: ISO days, hours to the hundredth, null for what did not happen."""
    plain: dict[str, Any] = {}
    for name, cell in row.items():
        if isinstance(cell, pd.Timestamp):
            plain[str(name)] = cell.date().isoformat()
        elif isinstance(cell, float):
            plain[str(name)] = None if np.isnan(cell) else round(cell, 4 if name == "slip_per_hour" else 2)
        else:
            plain[str(name)] = cell
    return plain
