"""The data contract: what one row of each file of a fleet folder holds.

Each record is a frozen pydantic model that checks itself, used where one record is entered at a time. Whole files
are checked by vectorised pandas (``forecaster.reading``) against `TABLES`, which is derived from the same models,
so that the contract is written once.

Words: a *craft* is one hull with its engine, a *unit* one supercharger. A *life* is the run of a unit from new, or
from a rebuild that renewed its rotating parts, until it is opened or fails.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal, get_args, get_origin

import pandas as pd
from annotated_types import Ge
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints, model_validator

from forecaster.column_ranges import (
    BEARING_HOURS,
    BOOST_KPA,
    METER_HOURS,
    MONEY,
    SHAFT_PLAY_MM,
    SLIP_LB_FT,
    TREATMENT_HOURS,
    WATER_PPM,
    ColumnRange,
)
from forecaster.ranges import day_on_record, measured
from forecaster.settings import FleetSettings

Identifier = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80)]


def _within(limits: ColumnRange) -> Any:
    return Field(ge=limits.least, le=limits.most, allow_inf_nan=False)


Day = Annotated[date, AfterValidator(day_on_record)]
Hours = Annotated[float, Field(ge=0, allow_inf_nan=False), AfterValidator(measured)]
BearingHours = Annotated[float, _within(BEARING_HOURS), AfterValidator(measured), BEARING_HOURS]
MeterHours = Annotated[float, _within(METER_HOURS), AfterValidator(measured), METER_HOURS]
TreatmentHours = Annotated[float, _within(TREATMENT_HOURS), AfterValidator(measured), TREATMENT_HOURS]
Slip = Annotated[float, _within(SLIP_LB_FT), AfterValidator(measured), SLIP_LB_FT]
ShaftPlay = Annotated[float, _within(SHAFT_PLAY_MM), AfterValidator(measured), SHAFT_PLAY_MM]
Boost = Annotated[float, _within(BOOST_KPA), AfterValidator(measured), BOOST_KPA]
WaterInOil = Annotated[float, _within(WATER_PPM), AfterValidator(measured), WATER_PPM]
Money = Annotated[float, _within(MONEY), AfterValidator(measured), MONEY]
YesNo = Literal["yes", "no"]
YesNoUnknown = Literal["yes", "no", "unknown"]
Water = Literal["salt", "fresh", "brackish", "unknown"]
Parts = Literal["oem", "aftermarket", "unknown"]
Oil = Literal["clear", "milky", "unknown"]
Metal = Literal["good", "corroded", "rubbed", "scored", "destroyed", "unknown"]


class Record(BaseModel):
    """One row: frozen, strict about its columns, blank cells given as None."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


class Craft(Record):
    """One hull with its engine (craft.csv)."""

    craft_id: Identifier = Field(description="unique name of the craft")
    name: str | None = Field(None, description="what people call it")
    base: str | None = Field(None, description="where it is rented out")
    owner: str | None = Field(None, description="whose it is; groups the customers of a rebuilder")
    model_year: int | None = Field(None, ge=1950, le=2100, description="model year")
    water: Water = Field("unknown", description="water it is used in")
    cooling: Literal["open", "closed", "unknown"] = Field("unknown", description="engine cooling circuit")
    catch_can: YesNoUnknown = Field("unknown", description="oil catch can on the crankcase breather")
    tune: Literal["stock", "tuned", "unknown"] = Field("unknown", description="tuned: more boost than stock")
    in_service_on: Day | None = Field(None, description="first day in the fleet")
    retired_on: Day | None = Field(None, description="last day in the fleet")
    day_rate: Money | None = Field(
        None, description="rental income of one in-season day", json_schema_extra={"unit": "money"}
    )

    @model_validator(mode="after")
    def _retired_after_service(self) -> Craft:
        _in_order(self.in_service_on, self.retired_on, "in_service_on", "retired_on")
        return self


class Fitting(Record):
    """One period that a unit sat on a craft (fittings.csv)."""

    unit_id: Identifier = Field(description="the supercharger")
    craft_id: Identifier = Field(description="the craft it sat on")
    fitted_on: Day = Field(description="day it was fitted")
    hours_at_fitting: BearingHours | None = Field(
        None,
        description="hours since new or since the last rebuild on that day; 0 = fresh; blank = unknown",
        json_schema_extra={"unit": "h"},
    )
    removed_on: Day | None = Field(None, description="day it came off; blank = still fitted")
    parts: Parts = Field("unknown", description="its rotating parts, where no rebuild row tells")

    @model_validator(mode="after")
    def _removed_after_fitted(self) -> Fitting:
        _in_order(self.fitted_on, self.removed_on, "fitted_on", "removed_on")
        return self


class Reading(Record):
    """One reading of a craft's engine-hour meter (hours.csv)."""

    craft_id: Identifier = Field(description="the craft")
    read_on: Day = Field(description="day of the reading")
    meter: MeterHours = Field(description="what the meter showed", json_schema_extra={"unit": "h"})
    new_meter: YesNo = Field("no", description="yes: first reading after the meter was changed")


class Incident(Record):
    """One time that water got in (water.csv)."""

    craft_id: Identifier = Field(description="the craft")
    happened_on: Day = Field(description="day it happened")
    kind: Literal["swamped", "capsized", "submerged", "leak", "ingestion"] = Field(
        description="leak: intercooler or seal leak found"
    )
    water: Water = Field("unknown", description="the water that got in")
    oil: Oil = Field("unknown", description="what the oil looked like afterwards")
    treated: YesNoUnknown = Field(
        "unknown", description="yes: oil changed until clear, and the engine run warm to dry it"
    )
    treated_within_h: TreatmentHours | None = Field(
        None,
        description="clock hours from the incident to the treatment; prompt means within 24 h",
        json_schema_extra={"unit": "clock hours"},
    )


class Rebuild(Record):
    """One time that a unit was opened (rebuilds.csv)."""

    unit_id: Identifier = Field(description="the supercharger")
    opened_on: Day = Field(description="day it was opened")
    reason: Literal["scheduled", "check", "symptom", "water", "failure", "other"] = Field(
        description=(
            "why. check: a planned look found it noisy; symptom: noise or lost boost noticed in use; "
            "failure: it failed in use"
        )
    )
    bearing: Literal["sound", "rough", "rusted", "failed", "unknown"] = Field(description="the finding")
    impeller: Metal = Field("unknown", description="state of the impeller")
    front_housing: Metal = Field("unknown", description="state of the front housing")
    outcome: Literal["rebuilt", "replaced", "scrapped", "closed"] = Field(
        description=(
            "rebuilt: rotating parts renewed, a new life starts; closed: put back as it was, its life goes on; "
            "replaced or scrapped: this unit ends here"
        )
    )
    parts: Parts = Field("unknown", description="parts fitted, for the life that starts")
    hours: BearingHours | None = Field(
        None,
        description="hours in this life as stated by the customer; used only where the log cannot tell",
        json_schema_extra={"unit": "h"},
    )
    slip_found: Slip | None = Field(None, description="clutch slip moment before", json_schema_extra={"unit": "lb·ft"})
    slip_set: Slip | None = Field(None, description="clutch slip moment after", json_schema_extra={"unit": "lb·ft"})
    cost: Money | None = Field(None, description="what it cost", json_schema_extra={"unit": "money"})


class Check(Record):
    """One look at a unit that was not opened (checks.csv)."""

    unit_id: Identifier = Field(description="the supercharger")
    checked_on: Day = Field(description="day of the check")
    spin: Literal["quiet", "slight", "rattle", "not_done"] = Field(
        "not_done", description="unit off the engine, spun by hand"
    )
    shaft_play_mm: ShaftPlay | None = Field(None, description="play of the shaft", json_schema_extra={"unit": "mm"})
    boost_kpa: Boost | None = Field(None, description="boost measured", json_schema_extra={"unit": "kPa"})
    slip: Slip | None = Field(None, description="clutch slip moment", json_schema_extra={"unit": "lb·ft"})
    oil: Oil = Field("unknown", description="what the oil looked like")
    oil_water_ppm: WaterInOil | None = Field(
        None, description="water in the oil, from a laboratory report", json_schema_extra={"unit": "ppm"}
    )


def _in_order(first: date | None, second: date | None, first_name: str, second_name: str) -> None:
    if first is not None and second is not None and second < first:
        raise ValueError(f"{second_name} ({second}) must not be before {first_name} ({first})")


Kind = Literal["text", "date", "number", "whole", "code"]


@dataclass(frozen=True)
class Column:
    """What a column of the contract holds, derived from a record's field."""

    name: str
    kind: Kind
    required: bool
    codes: tuple[str, ...] = ()
    blank: Any = None  # what a blank cell stands for; codes mostly say "unknown"
    minimum: float | None = None
    maximum: float | None = None
    limits: ColumnRange | None = None  # of a number: beyond which figures it is asked about
    unit: str = ""
    meaning: str = ""


@dataclass(frozen=True)
class Table:
    """One file of the fleet folder: its name, its record, its columns in the contract's order."""

    name: str
    record: type[Record]
    needed: bool  # craft and fittings: without them there is no fleet
    key: tuple[str, ...] = field(default=())  # columns that together must be unique

    @property
    def file(self) -> str:
        """The file's name in a fleet folder, for example ``hours.csv``."""
        return f"{self.name}.csv"

    @cached_property
    def columns(self) -> dict[str, Column]:
        """Columns by name, in the contract's order."""
        return {name: _column(self.record, name) for name in self.record.model_fields}


def _column(record: type[Record], name: str) -> Column:
    info = record.model_fields[name]
    kind, codes = _kind_of(info.annotation)
    limits = {type(m).__name__: m for m in info.metadata}
    for inner in _inner_metadata(info.annotation):
        limits.setdefault(type(inner).__name__, inner)
    extra = info.json_schema_extra if isinstance(info.json_schema_extra, dict) else {}
    return Column(
        name=name,
        kind=kind,
        required=info.is_required(),
        codes=codes,
        blank=None if info.is_required() else info.default,
        minimum=getattr(limits.get("Ge"), "ge", None),
        maximum=getattr(limits.get("Le"), "le", None),
        limits=limits.get("ColumnRange"),
        unit=str(extra.get("unit", "")),
        meaning=info.description or "",
    )


def _kind_of(annotation: Any) -> tuple[Kind, tuple[str, ...]]:
    """Kind of cell and its codes, from a field's annotation; ``X | None`` counts as X."""
    if get_origin(annotation) is Literal:
        return "code", tuple(get_args(annotation))
    simple: dict[Any, Kind] = {str: "text", date: "date", float: "number", int: "whole"}
    if annotation in simple:
        return simple[annotation], ()
    for part in get_args(annotation):
        if part is type(None) or isinstance(part, (StringConstraints, Ge)):
            continue
        return _kind_of(part)
    raise TypeError(f"no kind of cell for {annotation!r}")


def _inner_metadata(annotation: Any) -> list[Any]:
    """Limits inside ``Annotated`` parts of a union, for example of ``Hours | None``."""
    found: list[Any] = []
    for part in get_args(annotation):
        if get_origin(part) is Annotated:
            for extra in get_args(part)[1:]:
                found.extend(getattr(extra, "metadata", [extra]))
    return found


TABLES: dict[str, Table] = {
    table.name: table
    for table in (
        Table("craft", Craft, needed=True, key=("craft_id",)),
        Table("fittings", Fitting, needed=True, key=("unit_id", "craft_id", "fitted_on")),
        Table("hours", Reading, needed=False),
        Table("water", Incident, needed=False),
        Table("rebuilds", Rebuild, needed=False),
        Table("checks", Check, needed=False),
    )
}


@dataclass(frozen=True)
class FleetRecords:
    """A fleet's accepted records: one frame a file, columns in the contract's order, one row a record.

    Every frame's index is named ``row`` and holds the line as a spreadsheet numbers it (the header is row 1).
    Dtypes: text and codes object (a blank text is None, a blank code what the contract says it stands for),
    dates ``datetime64[ns]``, numbers float64, whole numbers ``Int64``; blank is NaT / NaN / NA.
    ``files``: where they were read from, over which nothing is ever written.
    ``held_back``: by table, rows that are asked about and from which nothing is learned about other units.
    """

    craft: pd.DataFrame
    fittings: pd.DataFrame
    hours: pd.DataFrame
    water: pd.DataFrame
    rebuilds: pd.DataFrame
    checks: pd.DataFrame
    settings: FleetSettings = field(default_factory=FleetSettings)
    name: str = "fleet"
    files: tuple[Path, ...] = ()
    held_back: Mapping[str, frozenset[int]] = field(default_factory=dict)

    def table(self, name: str) -> pd.DataFrame:
        """The frame of one table by the contract's name; KeyError where there is no such table."""
        if name not in TABLES:
            raise KeyError(name)
        frame: pd.DataFrame = getattr(self, name)
        return frame


def empty_frame(table: str) -> pd.DataFrame:
    """A frame of no rows with the contract's columns and dtypes."""
    dtypes = {"text": "object", "code": "object", "date": "datetime64[ns]", "number": "float64", "whole": "Int64"}
    columns = {c.name: pd.Series(dtype=dtypes[c.kind]) for c in TABLES[table].columns.values()}
    return pd.DataFrame(columns, index=pd.Index([], name="row", dtype="int64"))
