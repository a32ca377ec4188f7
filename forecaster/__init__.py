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
    from forecaster.fleet import DEFAULT_HOURS, Fleet, open_fleet
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
    from forecaster.plan_by_hand import PlanEdit
    from forecaster.plan_changes import MOST_NOTE, PlanChanges, change_in_text, changes_file, text_of_change
    from forecaster.plan_days import OffSeason
    from forecaster.plan_problem import PlannedAction
    from forecaster.prices import Prices
    from forecaster.problems import Problem, Reading, how_many
    from forecaster.reading import read_fleet
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
    from forecaster.service_life import ServiceLife
    from forecaster.settings import FleetSettings, read_settings
    from forecaster.simulate import SimulatedFleet, simulate_fleet
    from forecaster.slip import FleetSlip, HoursToLimit, SlipLimits
    from forecaster.teardown import TeardownAdvice, advise_teardown
    from forecaster.templates import template_folder, template_table, template_workbook
    from forecaster.this_week import ThisWeek
    from forecaster.unit_curve import UnitCurve
    from forecaster.unit_timeline import UnitTimeline
    from forecaster.usage_forecast import HoursAhead, ReachingDates, UsageForecast
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
    "learned": ("Learned",),
    "service_life": ("ServiceLife",),
    "errors": ("DataStopsAnswer", "ForecasterError", "ModelError", "SettingsError", "SourceError", "WrongUsage"),
    "fleet": ("DEFAULT_HOURS", "Fleet", "open_fleet"),
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
    "plan_by_hand": ("PlanEdit",),
    "plan_changes": ("MOST_NOTE", "PlanChanges", "change_in_text", "changes_file", "text_of_change"),
    "plan_days": ("OffSeason",),
    "plan_problem": ("PlannedAction",),
    "prices": ("Prices",),
    "problems": ("Problem", "Reading", "how_many"),
    "reading": ("read_fleet",),
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
    "settings": ("FleetSettings", "read_settings"),
    "simulate": ("SimulatedFleet", "simulate_fleet"),
    "slip": ("FleetSlip", "HoursToLimit", "SlipLimits"),
    "teardown": ("TeardownAdvice", "advise_teardown"),
    "templates": ("template_folder", "template_table", "template_workbook"),
    "this_week": ("ThisWeek",),
    "unit_curve": ("UnitCurve",),
    "unit_timeline": ("UnitTimeline",),
    "usage_forecast": ("HoursAhead", "ReachingDates", "UsageForecast"),
    "waiting": ("Option",),
    "writing": ("write_fleet",),
    "written_days": ("DATE_FORMATS", "DateFormat", "written_day", "written_day_of_year", "written_text"),
    "zip_folders": ("ReceivedFile",),
}
_ROOM_OF = {name: room for room, names in _ROOMS.items() for name in names}

__all__ = [
    "DATE_FORMATS",
    "DEFAULT_HOURS",
    "DEFAULT_MODEL",
    "GAINS_TOO_LITTLE",
    "LEGEND_WORDS",
    "MODELS",
    "MOST_NOTE",
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
    "PlanAnswer",
    "PlanByHand",
    "PlanChanges",
    "PlanEdit",
    "PlannedAction",
    "Prices",
    "Problem",
    "ReachingDates",
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
    "UsageForecast",
    "WaterWords",
    "WordedCall",
    "WordedStep",
    "WrongUsage",
    "advise_teardown",
    "beside_costs",
    "build_histories",
    "change_in_text",
    "changes_file",
    "dashboard_app",
    "finding_of",
    "first_steps",
    "flooded_alone",
    "flooding_of",
    "how_many",
    "instruction_in_words",
    "job_price",
    "legend_group",
    "open_fleet",
    "quote_lines",
    "quote_notes",
    "read_fleet",
    "read_settings",
    "receive",
    "received_folder",
    "sample_fleet_folder",
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
