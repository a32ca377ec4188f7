"""Invented fleets with a known truth: to test against, to teach with, to try the forecaster out.

``simulate_fleet`` draws a fleet's operations, plays its seasons under a world's law and an owner's policy, and has its
people write it down; ``write_simulated`` makes a fleet folder of it. The same arguments give the same fleet.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from forecaster.caretaking import FixedHours, Policy
from forecaster.fleet_in_play import FleetInPlay
from forecaster.fleet_notes import fleet_notes
from forecaster.operations import HOURS_A_SEASON, draw_operations
from forecaster.ranges import CRAFT_INVENTED, FIRST_DAY, LAST_DAY, SEASONS_INVENTED, SEED, NumberRange
from forecaster.record_keeping import write_down
from forecaster.records import FleetRecords
from forecaster.season_play import SeasonPlay
from forecaster.settings import FleetSettings, read_settings
from forecaster.truth import Truth, truth_of
from forecaster.worlds import WORLDS, World
from forecaster.writing import write_fleet

DEFAULT_WORLD = "rust_at_incident"
FIRST_YEAR = 2024
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


def write_simulated(fleet: SimulatedFleet, folder: str | Path, truth: bool = False) -> None:
    """Write an invented fleet's folder: its CSV files, fleet.toml and README.md; truth.json only where asked for.

    Files of these names are written over; nothing else in the folder is touched.
    """
    folder = Path(folder)
    write_fleet(fleet.records, folder)
    notes = fleet_notes(fleet.records, fleet.as_of, _how_to_draw(fleet, folder.name))
    (folder / "README.md").write_text(notes, encoding="utf-8", newline="\n")
    if truth:
        text = json.dumps(_told(fleet), indent=1, allow_nan=False)
        (folder / "truth.json").write_text(text + "\n", encoding="utf-8", newline="\n")


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
        "note": "The truth behind an invented fleet. Ages are engine hours since new or rebuilt.",
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
