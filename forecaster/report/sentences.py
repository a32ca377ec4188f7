"""The answers as sentences: the first line of every face."""

from __future__ import annotations

from collections.abc import Sequence

from forecaster.forecast import FleetForecast, UnitForecast
from forecaster.life_model import Evidence
from forecaster.report.figures import counted, listed, percent_with_range
from forecaster.report.instruction_wording import CODE_WORDS

UNITS_NAMED = 8  # in one sentence

CAUTION = (
    "A forecast is no inspection: a unit that rattles when spun by hand, milky oil, or water in a cylinder means do "
    "not run it. The maker's manual, local rules and a licensed mechanic come first."
)


def headline(forecast: FleetForecast) -> str:
    """The answer in one sentence: which units must not run or be ridden unseen, and the unit most at risk."""
    units, total = forecast.units, counted(len(forecast.units), "unit")
    stops = [unit.unit_id for unit in units if any(one.stops for one in unit.unsafe)]
    first = [unit.unit_id for unit in units if unit.instruction == "look first"]
    told = []
    if stops:
        told.append(f"{len(stops)} of {total} must not run as {_are(stops)} ({named(stops)})")
    if first:
        told.append(f"look at {named(first)} before the next ride")
    answer = "; ".join(told) or f"nothing on record forbids any of {total} to run"
    return f"{forecast.as_of}: {answer}. {_most_at_risk(forecast)}"


def _are(units: Sequence[str]) -> str:
    return "it is" if len(units) == 1 else "they are"


def named(units: Sequence[str]) -> str:
    """Units by name, the first few, and how many more."""
    more = [f"{len(units) - UNITS_NAMED} more"] if len(units) > UNITS_NAMED else []
    return listed([*units[:UNITS_NAMED], *more])


def _most_at_risk(forecast: FleetForecast) -> str:
    top = forecast.units[0]
    return (
        f"Most at risk is {top.unit_id} on craft {top.craft_id}: {percent_with_range(top.fails_within)} to fail within "
        f"{forecast.hours:g} engine hours."
    )


def season_sentence(forecast: FleetForecast) -> str:
    """Which season "this season" means, and that it counts from the day of the forecast."""
    opens, closes = forecast.season
    if opens <= forecast.as_of:
        return f"This season: from {forecast.as_of} to its close on {closes}."
    return f"This season: the next one, {opens} to {closes}."


def evidence_sentence(evidence: Evidence, model: str) -> str:
    """What the forecast rests on, and whether that is mostly general experience."""
    sentence = (
        f"Learned from {counted(evidence.lives, 'life', 'lives')}, {evidence.failures:,} of them ended by a failed "
        f"bearing ({model} model)."
    )
    if evidence.mostly_prior:
        sentence += " Mostly general experience: these records add little to what is known of such units anywhere."
    return sentence


def advice_sentence(source: str) -> str:
    """Where it stands what to do with a unit of which the record alone decides nothing."""
    return (
        "What the records order stands beside each unit. What pays for the others is weighed for all together, within "
        f"budget and bench: see `forecaster plan {source}`."
    )


def reasons(unit: UnitForecast) -> list[str]:
    """What drives a unit's risk, its hours since rebuild first, and whether that is extrapolated."""
    return [*unit.because, *(["older than any life seen here: extrapolated"] if unit.beyond_seen else [])]


def unit_note(unit: UnitForecast) -> str:
    """What the record orders, if anything, and why: "do not run; rebuild: 118 h since rebuild; rattled 12 h ago"."""
    because = "; ".join(reasons(unit))
    if unit.instruction == "as planned":
        return because
    return f"{CODE_WORDS[unit.instruction]}: {because}"


WITHOUT_UNIT = (
    "Craft in service with no unit on them, so that nothing is forecast of them (enter in fittings.csv what sits on "
    "them now, or retired_on in craft.csv)"
)


def refused_sentence(refused: int, source: str) -> str:
    """How many rows were refused, and where to see them."""
    verb = "was" if refused == 1 else "were"
    return f"{counted(refused, 'row')} {verb} refused and not used: run `forecaster validate {source}` to see why."
