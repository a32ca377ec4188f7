"""The answers as sentences: the first line of every face."""

from __future__ import annotations

from collections import Counter

from forecaster.forecast import FleetForecast, UnitForecast
from forecaster.life_model import Evidence
from forecaster.report.figures import counted, listed, percent_with_range

CAUTION = (
    "A forecast is no inspection: a unit that rattles when spun by hand, milky oil, or water in a cylinder means do "
    "not run it. The maker's manual, local rules and a licensed mechanic come first."
)


def headline(forecast: FleetForecast) -> str:
    """The answer in one sentence: how many units to rebuild, to check and to leave, and the unit most at risk."""
    number = Counter(unit.advice for unit in forecast.units)
    total = len(forecast.units)
    told = []
    for first_word, done in (("rebuild", "rebuilt"), ("check", "checked")):
        for advice in sorted(a for a in number if a.split()[0] == first_word):
            told.append((number[advice], f"be {done} {advice.removeprefix(first_word).strip()}"))
    left = total - sum(count for count, _ in told)
    if not told:
        answer = f"none of the {counted(total, 'unit')} needs work now; all can be left running"
    else:
        count, first = told[0]
        parts = [f"{count} of {counted(total, 'unit')} should {first}"]
        parts += [f"{count} should {words}" for count, words in told[1:]]
        parts += [f"{left} can be left running"] if left else []
        answer = listed(parts)
    return f"{forecast.as_of}: {answer}. {_most_at_risk(forecast)}"


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
    """What the advice weighs, and what the plan weighs besides."""
    return (
        "The advice is what costs least for each unit alone until the season's close; "
        f"`forecaster plan {source}` weighs budget, bench and weeks as well."
    )


def reasons(unit: UnitForecast) -> list[str]:
    """What drives a unit's risk, its hours since rebuild first, and whether that is extrapolated."""
    return [*unit.because, *(["older than any life seen here: extrapolated"] if unit.beyond_seen else [])]


def unit_note(unit: UnitForecast) -> str:
    """What to do with a unit, and why: "check before the season: 118 h since rebuild; swamped, untreated, 14 h ago"."""
    because = reasons(unit)
    return f"{unit.advice}: {'; '.join(because)}" if because else unit.advice


WITHOUT_UNIT = (
    "Craft in service with no unit on them, so that nothing is forecast of them (enter in fittings.csv what sits on "
    "them now, or retired_on in craft.csv)"
)


def refused_sentence(refused: int, source: str) -> str:
    """How many rows were refused, and where to see them."""
    verb = "was" if refused == 1 else "were"
    return f"{counted(refused, 'row')} {verb} refused and not used: run `forecaster validate {source}` to see why."
