"""The public door: everything that a notebook, the command line or the dashboard needs, by name.

    from datetime import date
    from forecaster import open_fleet

    fleet = open_fleet("sample_fleet", today=date(2026, 11, 1))
    fleet.forecast(as_of=date(2026, 11, 1)).units[0]

A room is imported when the first of its names is used, so that asking for help is instant.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # for editors and type checkers; the table below is what runs
    from forecaster.amounts import Amount
    from forecaster.backtest import Backtest
    from forecaster.decisions import Decisions, Swing
    from forecaster.errors import DataStopsAnswer, ForecasterError, ModelError, SettingsError, SourceError, WrongUsage
    from forecaster.evidence import SurvivalEvidence
    from forecaster.fleet import DEFAULT_HOURS, Fleet, fleet_of, open_fleet
    from forecaster.fleet_prices import range_of_price
    from forecaster.flooded_craft import flooded_alone
    from forecaster.flooding import AfterWater
    from forecaster.flooding_facts import Flooding, flooding_of
    from forecaster.forecast import Chance, FleetForecast, HoursLeft, UnitForecast
    from forecaster.histories import build_histories
    from forecaster.installed import dashboard_app, sample_fleet_folder
    from forecaster.instruction import Instruction
    from forecaster.learned import Learned
    from forecaster.life_model import Evidence, FittedLifeModel
    from forecaster.lives import CraftWithoutUnit, Histories, Remark
    from forecaster.model_names import DEFAULT_MODEL, MODELS
    from forecaster.now_or_later import NowOrLater
    from forecaster.off_season import PlanByHand
    from forecaster.opened_unit import Finding, finding_of
    from forecaster.paper.paper import Paper
    from forecaster.paper.water_sheet import water_sheet
    from forecaster.plan_answer import PlanAnswer, RuleBeside, Saving
    from forecaster.plan_changes import MOST_NOTE, PlanChanges, change_in_text, changes_file, text_of_change
    from forecaster.plan_days import OffSeason
    from forecaster.plan_problem import PlanEdit, PlannedAction
    from forecaster.preparing import HORIZONS, PREPARATIONS, Piece
    from forecaster.prices import Prices
    from forecaster.problems import Problem, Reading, how_many
    from forecaster.ranges import (
        A_WEEK,
        BUDGET,
        DAYS_BACK,
        ENGINE_HOURS,
        HORIZON_HOURS,
        KITS,
        LEAD_WEEKS,
        PLAY_LIMIT_MM,
        SHAFT_PLAY_MM,
        SLIP_FOUND,
        SPARE_UNITS,
        refuse_day,
    )
    from forecaster.reading import read_fleet
    from forecaster.reading_apart import ReadApart, get_ready_to_read, read_apart, receive_apart
    from forecaster.rebuilds_to_come import NumberOfUnits
    from forecaster.received_files import ReceivedFleet, receive, received_folder
    from forecaster.records import TABLES, FleetRecords
    from forecaster.report.after_water_wording import (
        WaterWords,
        WordedCall,
        WordedStep,
        first_steps,
        stops_by_fact,
        words_after_water,
    )
    from forecaster.report.bench_sentences import (
        job_price,
        quote_lines,
        quote_notes,
        slip_headline,
        teardown_headline,
        teardown_parts,
    )
    from forecaster.report.instruction_wording import (
        LEGEND_WORDS,
        beside_costs,
        instruction_in_words,
        legend_group,
        what_to_do,
        what_waiting_costs,
        why_so,
    )
    from forecaster.report.plan_text import GAINS_TOO_LITTLE
    from forecaster.report.teardown_sentences import slip_sentence, teardown_reasons, teardown_steps
    from forecaster.safe_cells import as_given, csv_for_people, shown_table
    from forecaster.service_life import ServiceLife
    from forecaster.settings import FleetSettings, read_settings
    from forecaster.simulate import SimulatedFleet, simulate_fleet
    from forecaster.slip import FleetSlip, HoursToLimit, SlipLimits
    from forecaster.source_content import content_of
    from forecaster.teardown import TeardownAdvice, advise_teardown
    from forecaster.templates import template_folder, template_table, template_workbook
    from forecaster.this_week import ThisWeek
    from forecaster.unit_curve import UnitCurve
    from forecaster.unit_timeline import UnitTimeline
    from forecaster.upload_folders import UploadFolder, is_uploaded
    from forecaster.usage_forecast import HoursAhead, ReachingDates, UsageForecast
    from forecaster.visible_texts import visible
    from forecaster.waiting import Option
    from forecaster.writing import write_fleet
    from forecaster.written_days import (
        DATE_FORMATS,
        DateFormat,
        written_day,
        written_day_of_year,
        written_text,
    )
    from forecaster.zip_folders import ReceivedFile

__version__ = "0.1.0"

_ROOMS = {
    "amounts": ("Amount",),
    "backtest": ("Backtest",),
    "decisions": ("Decisions", "Swing"),
    "evidence": ("SurvivalEvidence",),
    "fleet_prices": ("range_of_price",),
    "learned": ("Learned",),
    "service_life": ("ServiceLife",),
    "errors": ("DataStopsAnswer", "ForecasterError", "ModelError", "SettingsError", "SourceError", "WrongUsage"),
    "fleet": ("DEFAULT_HOURS", "Fleet", "fleet_of", "open_fleet"),
    "flooded_craft": ("flooded_alone",),
    "flooding": ("AfterWater",),
    "flooding_facts": ("Flooding", "flooding_of"),
    "forecast": ("Chance", "FleetForecast", "HoursLeft", "UnitForecast"),
    "histories": ("build_histories",),
    "instruction": ("Instruction",),
    "installed": ("dashboard_app", "sample_fleet_folder"),
    "life_model": ("Evidence", "FittedLifeModel"),
    "lives": ("CraftWithoutUnit", "Histories", "Remark"),
    "model_names": ("DEFAULT_MODEL", "MODELS"),
    "now_or_later": ("NowOrLater",),
    "opened_unit": ("Finding", "finding_of"),
    "off_season": ("PlanByHand",),
    "paper.paper": ("Paper",),
    "paper.water_sheet": ("water_sheet",),
    "plan_answer": ("PlanAnswer", "RuleBeside", "Saving"),
    "plan_changes": ("MOST_NOTE", "PlanChanges", "change_in_text", "changes_file", "text_of_change"),
    "plan_days": ("OffSeason",),
    "plan_problem": ("PlanEdit", "PlannedAction"),
    "preparing": ("HORIZONS", "PREPARATIONS", "Piece"),
    "prices": ("Prices",),
    "ranges": (
        "A_WEEK",
        "BUDGET",
        "DAYS_BACK",
        "ENGINE_HOURS",
        "HORIZON_HOURS",
        "KITS",
        "LEAD_WEEKS",
        "PLAY_LIMIT_MM",
        "SHAFT_PLAY_MM",
        "SLIP_FOUND",
        "SPARE_UNITS",
        "refuse_day",
    ),
    "problems": ("Problem", "Reading", "how_many"),
    "reading": ("read_fleet",),
    "reading_apart": ("ReadApart", "get_ready_to_read", "read_apart", "receive_apart"),
    "rebuilds_to_come": ("NumberOfUnits",),
    "received_files": ("ReceivedFleet", "receive", "received_folder"),
    "records": ("TABLES", "FleetRecords"),
    "report.after_water_wording": (
        "WaterWords",
        "WordedCall",
        "WordedStep",
        "first_steps",
        "stops_by_fact",
        "words_after_water",
    ),
    "report.bench_sentences": (
        "job_price",
        "quote_lines",
        "quote_notes",
        "slip_headline",
        "teardown_headline",
        "teardown_parts",
    ),
    "report.plan_text": ("GAINS_TOO_LITTLE",),
    "report.instruction_wording": (
        "LEGEND_WORDS",
        "beside_costs",
        "instruction_in_words",
        "legend_group",
        "what_to_do",
        "what_waiting_costs",
        "why_so",
    ),
    "report.teardown_sentences": ("slip_sentence", "teardown_reasons", "teardown_steps"),
    "safe_cells": ("as_given", "csv_for_people", "shown_table"),
    "settings": ("FleetSettings", "read_settings"),
    "simulate": ("SimulatedFleet", "simulate_fleet"),
    "slip": ("FleetSlip", "HoursToLimit", "SlipLimits"),
    "source_content": ("content_of",),
    "teardown": ("TeardownAdvice", "advise_teardown"),
    "templates": ("template_folder", "template_table", "template_workbook"),
    "this_week": ("ThisWeek",),
    "unit_curve": ("UnitCurve",),
    "unit_timeline": ("UnitTimeline",),
    "upload_folders": ("UploadFolder", "is_uploaded"),
    "usage_forecast": ("HoursAhead", "ReachingDates", "UsageForecast"),
    "visible_texts": ("visible",),
    "waiting": ("Option",),
    "writing": ("write_fleet",),
    "written_days": ("DATE_FORMATS", "DateFormat", "written_day", "written_day_of_year", "written_text"),
    "zip_folders": ("ReceivedFile",),
}
_ROOM_OF = {name: room for room, names in _ROOMS.items() for name in names}

__all__ = [
    "A_WEEK",
    "BUDGET",
    "DATE_FORMATS",
    "DAYS_BACK",
    "DEFAULT_HOURS",
    "DEFAULT_MODEL",
    "ENGINE_HOURS",
    "GAINS_TOO_LITTLE",
    "HORIZONS",
    "HORIZON_HOURS",
    "KITS",
    "LEAD_WEEKS",
    "LEGEND_WORDS",
    "MODELS",
    "MOST_NOTE",
    "PLAY_LIMIT_MM",
    "PREPARATIONS",
    "SHAFT_PLAY_MM",
    "SLIP_FOUND",
    "SPARE_UNITS",
    "TABLES",
    "AfterWater",
    "Amount",
    "Backtest",
    "Chance",
    "CraftWithoutUnit",
    "DataStopsAnswer",
    "DateFormat",
    "Decisions",
    "Evidence",
    "Finding",
    "FittedLifeModel",
    "Fleet",
    "FleetForecast",
    "FleetRecords",
    "FleetSettings",
    "FleetSlip",
    "Flooding",
    "ForecasterError",
    "Histories",
    "HoursAhead",
    "HoursLeft",
    "HoursToLimit",
    "Instruction",
    "Learned",
    "ModelError",
    "NowOrLater",
    "NumberOfUnits",
    "OffSeason",
    "Option",
    "Paper",
    "Piece",
    "PlanAnswer",
    "PlanByHand",
    "PlanChanges",
    "PlanEdit",
    "PlannedAction",
    "Prices",
    "Problem",
    "ReachingDates",
    "ReadApart",
    "Reading",
    "ReceivedFile",
    "ReceivedFleet",
    "Remark",
    "RuleBeside",
    "Saving",
    "ServiceLife",
    "SettingsError",
    "SimulatedFleet",
    "SlipLimits",
    "SourceError",
    "SurvivalEvidence",
    "Swing",
    "TeardownAdvice",
    "ThisWeek",
    "UnitCurve",
    "UnitForecast",
    "UnitTimeline",
    "UploadFolder",
    "UsageForecast",
    "WaterWords",
    "WordedCall",
    "WordedStep",
    "WrongUsage",
    "advise_teardown",
    "as_given",
    "beside_costs",
    "build_histories",
    "change_in_text",
    "changes_file",
    "content_of",
    "csv_for_people",
    "dashboard_app",
    "finding_of",
    "first_steps",
    "fleet_of",
    "flooded_alone",
    "flooding_of",
    "get_ready_to_read",
    "how_many",
    "instruction_in_words",
    "is_uploaded",
    "job_price",
    "legend_group",
    "open_fleet",
    "quote_lines",
    "quote_notes",
    "range_of_price",
    "read_apart",
    "read_fleet",
    "read_settings",
    "receive",
    "receive_apart",
    "received_folder",
    "refuse_day",
    "sample_fleet_folder",
    "shown_table",
    "simulate_fleet",
    "slip_headline",
    "slip_sentence",
    "stops_by_fact",
    "teardown_headline",
    "teardown_parts",
    "teardown_reasons",
    "teardown_steps",
    "template_folder",
    "template_table",
    "template_workbook",
    "text_of_change",
    "visible",
    "water_sheet",
    "what_to_do",
    "what_waiting_costs",
    "why_so",
    "words_after_water",
    "write_fleet",
    "written_day",
    "written_day_of_year",
    "written_text",
]


def __getattr__(name: str) -> Any:
    """A public name, importing its room on first use; what is not public raises AttributeError."""
    if name not in _ROOM_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_ROOM_OF[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """The public names, for completion in a notebook."""
    return sorted([*__all__, "__version__"])
