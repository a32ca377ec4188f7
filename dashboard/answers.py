"""The sentence that each screen opens with, and the line of evidence beneath it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import forecaster
from palette import STATE_OF_ADVICE
from words import SPACE, chance_words, count_words, day_words, hours_between, hours_words, plain

BAND_TOLD = "Line: best estimate. Shaded band: 90 % interval, which holds the true chance nine times in ten."
CAUTION = (
    "A forecast is no inspection. A unit that rattles when spun by hand, milky oil, or water in a cylinder means: do "
    "not run it. The maker's manual, local rules and a licensed mechanic come first."
)


def fleet_answer(units: Sequence[forecaster.UnitForecast], forecast: forecaster.FleetForecast, among: str = "") -> str:
    """The fleet screen in one sentence: how many units to open, and which one first.

    `units`: those shown, highest risk first. `among`: what they were narrowed down to, for example "at North Pier".
    """
    place = f" {plain(among)}" if among else ""
    if not units:
        return f"No unit{place} is in service on {day_words(forecast.as_of)}."
    opened = [u for u in units if STATE_OF_ADVICE.get(u.advice) == "failed"]
    checked = [u for u in units if STATE_OF_ADVICE.get(u.advice) == "defective"]
    first = (opened or checked or list(units))[0]
    of_all = f"of {count_words(len(units), 'unit')}{place}"
    until = _when(forecast)
    if opened:
        head = f"{len(opened)} {of_all} should be opened {until}"
    elif checked:
        head = f"{len(checked)} {of_all} should be checked {until}, none opened"
    else:
        return (
            f"None {of_all} needs opening or a check {until}. The highest risk: {plain(first.unit_id)}, "
            f"{chance_words(first.fails_within)} to fail within the next {hours_words(forecast.hours)}."
        )
    return (
        f"{head}; {plain(first.unit_id)} first: {chance_words(first.fails_within)} to fail within the next "
        f"{hours_words(forecast.hours)}."
    )


def _when(forecast: forecaster.FleetForecast) -> str:
    opens, closes = forecast.season
    if forecast.as_of < opens:
        return f"before the season opens on {day_words(opens)}"
    return f"now, in the season that closes on {day_words(closes)}"


def checks_also(units: Sequence[forecaster.UnitForecast]) -> str:
    """How many more are worth a check, where some are to be opened; else empty."""
    kinds = [STATE_OF_ADVICE.get(u.advice) for u in units]
    checks = kinds.count("defective")
    if not checks or "failed" not in kinds:
        return ""
    told = count_words(checks, "more unit is", "more units are")
    return f"{told} worth a check: spun by hand, off the engine."


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
    """One unit in one sentence: the risk, the season's risk, what to do."""
    return (
        f"{plain(unit.unit_id)}: {chance_words(unit.fails_within)} to fail within the next {hours_words(hours)}, "
        f"{chance_words(unit.fails_this_season)} within the {season_hours_words(unit)} expected until "
        f"{day_words(season[1])}. Advice: {unit.advice}."
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
        stopping = count_words(len(reading.stops_answer), "problem")
        head = f"The records cannot be used yet: {stopping} must be mended first"
    elif refused:
        head = f"{used:,}{SPACE}rows are in use; {count_words(refused, 'row was', 'rows were')} refused and kept"
    elif reading.problems:
        head = f"All {used:,}{SPACE}rows are in use, with {count_words(len(reading.problems), 'remark')}"
    else:
        head = f"All {used:,}{SPACE}rows are in use; nothing was refused"
    return f"{head}."
