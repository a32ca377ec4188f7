"""The sentence that each screen opens with, and the line of evidence beneath it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import forecaster
from fleet_rows import Instructions
from words import SPACE, chance_words, count_words, day_words, hours_between, hours_words, plain

BAND_TOLD = "Line: best estimate. Shaded band: 90 % interval, which holds the true chance nine times in ten."
CAUTION = (
    "A forecast is no inspection. A unit that rattles when spun by hand, milky oil, or water in a cylinder means: do "
    "not run it. The maker's manual, local rules and a licensed mechanic come first."
)


def fleet_answer(
    units: Sequence[forecaster.UnitForecast],
    forecast: forecaster.FleetForecast,
    instructions: Instructions,
    among: str = "",
) -> str:
    """The fleet screen in one sentence: how many units to open, and which one first.

    `units`: those shown, highest risk first. `among`: what they were narrowed down to, for example "at North Pier".
    """
    place = f" {plain(among)}" if among else ""
    if not units:
        return f"No unit{place} is in service on {day_words(forecast.as_of)}."
    of_all = f"of {count_words(len(units), 'unit')}{place}"
    stops = sum(instructions[unit.unit_id].stops for unit in units)
    stopped = f"{stops} {of_all} must not run as {'it is' if stops == 1 else 'they are'}" if stops else ""
    if not all(instructions[unit.unit_id].weighed for unit in units):
        head = stopped or f"Nothing on record forbids any {of_all} to run"
        return f"{head}. {_highest_risk(units[0], forecast)}"
    opened, checked = (_to_do_soon(units, forecast, instructions, act) for act in ("rebuild", "check"))
    until = _when(forecast)
    if not opened and not checked:
        none = f"None {of_all} needs opening or a check {until}"
        return f"{stopped or none}. {_highest_risk(units[0], forecast)}"
    first = (opened or checked)[0]
    head = (
        f"{len(opened)} {of_all} should be opened {until}"
        if opened
        else f"{len(checked)} {of_all} should be checked {until}, none opened"
    )
    return (
        f"{head}; {plain(first.unit_id)} first: {chance_words(first.fails_within)} to fail within the next "
        f"{hours_words(forecast.hours)}."
    )


def _highest_risk(first: forecaster.UnitForecast, forecast: forecaster.FleetForecast) -> str:
    return (
        f"The highest risk: {plain(first.unit_id)}, {chance_words(first.fails_within)} to fail within the next "
        f"{hours_words(forecast.hours)}."
    )


def _to_do_soon(
    units: Sequence[forecaster.UnitForecast],
    forecast: forecaster.FleetForecast,
    instructions: Instructions,
    act: str,
) -> list[forecaster.UnitForecast]:
    """The units to open, or to check: off the season all, in season those that do not wait for its close."""
    in_season = forecast.season[0] <= forecast.as_of
    told = ((unit, instructions[unit.unit_id]) for unit in units)
    return [unit for unit, one in told if one.act == act and (one.at_once or not in_season)]


def _when(forecast: forecaster.FleetForecast) -> str:
    opens, closes = forecast.season
    if forecast.as_of < opens:
        return f"before the season opens on {day_words(opens)}"
    return f"now, in the season that closes on {day_words(closes)}"


def checks_also(
    units: Sequence[forecaster.UnitForecast], forecast: forecaster.FleetForecast, instructions: Instructions
) -> str:
    """How many more are to be checked, where some are to be opened, and how many wait for the close; else empty."""
    opened, checked = (_to_do_soon(units, forecast, instructions, act) for act in ("rebuild", "check"))
    waits = sum(instructions[unit.unit_id].week_of is not None for unit in units)
    told = []
    if opened and checked:
        more = count_words(len(checked), "more unit is", "more units are")
        told.append(f"{more} to be checked: spun by hand, off the engine.")
    if waits and forecast.season[0] <= forecast.as_of:
        told.append(f"{count_words(waits, 'unit is', 'units are')} planned for the weeks after the season.")
    return " ".join(told)


def evidence_line(evidence: forecaster.Evidence) -> str:
    """What stands behind the numbers."""
    return f"{learned_from(evidence)} Ranges in brackets hold 90{SPACE}% of what the records leave possible."


def learned_from(evidence: forecaster.Evidence) -> str:
    """How much was learned from."""
    return (
        f"Learned from {count_words(evidence.lives, 'life', 'lives')}, "
        f"{count_words(evidence.failures, 'failure')} among them."
    )


def mostly_general(evidence: forecaster.Evidence) -> str:
    """The caution where the records add little to what is believed of any fleet."""
    return (
        f"Mostly general experience: {count_words(evidence.failures, 'failure')} in "
        f"{count_words(evidence.lives, 'life', 'lives')} say little about this fleet yet. "
        "The forecast is what is believed of such units anywhere; it sharpens with every opening that is recorded."
    )


def unit_answer(unit: forecaster.UnitForecast, hours: float, season: tuple[date, date]) -> str:
    """One unit's risk in one sentence, within some hours and by the season's close."""
    return (
        f"{plain(unit.unit_id)}: {chance_words(unit.fails_within)} to fail within the next {hours_words(hours)}, "
        f"{chance_words(unit.fails_this_season)} within the {season_hours_words(unit)} expected until "
        f"{day_words(season[1])}."
    )


def season_hours_words(unit: forecaster.UnitForecast) -> str:
    """The engine hours expected of its craft until the season's close: "131 h (95–170 h)"."""
    bounds = hours_between(unit.season_hours_low, unit.season_hours_high)
    return f"{hours_words(unit.season_hours)} ({bounds})" if bounds else hours_words(unit.season_hours)


def hours_left_line(unit: forecaster.UnitForecast) -> str:
    """The distribution of the hours left, in words."""
    left = unit.hours_left
    return (
        f"Left alone, it has an even chance of failing within {hours_words(left.p50)}: 1 in 10 such units fail within "
        f"{hours_words(left.p10)}, 9 in 10 within {hours_words(left.p90)}."
    )


def reading_answer(reading: forecaster.Reading) -> str:
    """The data screen in one sentence: rows read, rows refused, problems."""
    used, refused = sum(reading.read.values()), sum(reading.refused_counts.values())
    if reading.stops_answer:
        stopping = count_words(forecaster.how_many(reading.stops_answer), "problem")
        head = f"The records cannot be used yet: {stopping} must be mended first"
    elif refused:
        head = f"{used:,}{SPACE}rows are in use; {count_words(refused, 'row was', 'rows were')} refused and kept"
    elif reading.problems:
        head = (
            f"All {used:,}{SPACE}rows are in use, with {count_words(forecaster.how_many(reading.problems), 'remark')}"
        )
    else:
        head = f"All {used:,}{SPACE}rows are in use; nothing was refused"
    return f"{head}."
