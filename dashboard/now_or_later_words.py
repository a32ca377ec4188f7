"""Rebuild now or later, in sentences."""

from __future__ import annotations

from datetime import date, timedelta

import forecaster
from words import SPACE, amount_words, capital, day_words, hours_words, listed, money, percent, plain, share_of_draws

CAUTION = (
    "This compares costs; it is no leave to run anything. A unit that rattles when spun by hand or has milky oil does "
    "not run, and water in a cylinder means that the engine is not turned, whatever waiting would cost. A forecast is "
    "no inspection. Opening and refitting a unit: engine cold and stopped, battery off, hull aired. The maker's "
    "manual, local rules and a licensed mechanic come first."
)
COUNTED = (
    "Counted from today over two years: the job on its day, failing, an engine repair, lost rental days, and the units "
    "that follow this one under their best upkeep. Nothing of it is a bill: each is an average over what may happen."
)
BANDS = (
    "Lines: expected cost of rebuilding in a week, of checking in it (and rebuilding if it rattles), and of never "
    "opening it until it fails. Shaded bands, and the bar of never: 90 % interval. They overlap, since all ways share "
    "the units that follow; how sure the answer is stands in the sentence above, which compares the ways case by case. "
    "Grey: season."
)
NAME_OF_PRICE = {
    "rebuild": "Rebuild",
    "rebuild_in_season_extra": "Rush surcharge in season",
    "new_unit": "New unit",
    "engine_damage": "Engine repair",
    "check": "Check",
    "day_rate": "Rental income of a day",
    "core_lost": "Core lost at a failure",
    "engine_hit": "Engine hit at a failure",
    "rebuild_days": "Days lost to a rebuild",
    "failure_days": "Days lost to a failure",
    "check_days": "Days lost to a check",
}
CHANCES = ("core_lost", "engine_hit")


def instruction_lines(told: forecaster.NowOrLater) -> list[str]:
    """What is to be done with the unit, the same as on every other screen; the comparison of costs comes after it."""
    one = told.instruction
    if one is None:
        return []
    said = f"**{plain(told.unit_id)}: {plain(forecaster.instruction_in_words(one))}.**"
    why = "" if one.order in ("stop", "treat", "first", "leave") else f" {plain(capital(forecaster.why_so(one)))}."
    return [said + why]


def costs_beside(told: forecaster.NowOrLater) -> str:
    """That the sentence above compares costs alone, and why the instruction stands where they would say otherwise."""
    return plain(forecaster.beside_costs(told))


def likely(share: float, draws: int) -> str:
    """How often something is so among `draws` draws of the posterior."""
    return share_of_draws(share, least=1 / draws)


def answer(told: forecaster.NowOrLater, currency: str) -> str:
    """What the costs alone would do with the unit, what that saves, how sure it is, in one sentence."""
    unit = plain(told.unit_id)
    sure = f"{likely(told.chance_now_is_cheaper, told.n_draws)} likely that now is the cheaper one"
    if told.now_is_best:
        return (
            f"By costs alone, rebuild {unit} {before(told)}: {money(told.price_now, currency)} now against about "
            f"{amount_words(told.instead, currency)} {instead(told)}; {sure}."
        )
    saves = f"about {amount_words(told.saved.opposite, currency)} cheaper over two years than a rebuild now"
    when = _week(told.best)
    if told.best.action == "rebuild":
        return f"By costs alone, leave {unit} for now: a rebuild {when} is {saves}; {sure}."
    if told.best.action == "check":
        check = f"check {unit} {_when_checked(told, told.best)}, and rebuild it if it rattles"
        return f"By costs alone, {check}: {saves}; {sure}."
    return (
        f"By costs alone, do not plan a rebuild of {unit}: leaving it until it is noticed or fails is {saves}; {sure}."
    )


def before(told: forecaster.NowOrLater) -> str:
    """By when a rebuild is still "now"."""
    if told.now.week > 0:
        return f"{_week(told.now)}, before it runs again"
    if not told.seasons or told.runs_from is None:
        return "now"
    opens = told.seasons[0][0]
    if opens <= told.as_of or told.runs_from <= told.as_of:
        return "now"
    if told.runs_from + timedelta(days=6) >= opens:
        return f"before the season opens on {day_words(opens)}"
    return f"before it runs again in the week of {day_words(told.runs_from)}"


def _still_now(told: forecaster.NowOrLater, on: date | None) -> bool:
    return on is not None and (on <= told.as_of or (told.runs_from is not None and on <= told.runs_from))


def _when_checked(told: forecaster.NowOrLater, option: forecaster.Option) -> str:
    return before(told) if _still_now(told, option.on) else _week(option)


def instead(told: forecaster.NowOrLater) -> str:
    """The best of all else than rebuilding now, as what is done instead."""
    if told.later.action == "check":
        by_then = "instead" if before(told) == "now" else "by then"
        return f"if it is only checked {by_then if _still_now(told, told.later.on) else _week(told.later)}"
    return f"if it is rebuilt {_week(told.later)}" if told.later.action == "rebuild" else "if it is left until it fails"


def _week(option: forecaster.Option) -> str:
    return "" if option.on is None else f"in the week of {day_words(option.on)}"


def instead_explained(told: forecaster.NowOrLater) -> str:
    """How the two amounts of the answer are to be read."""
    if not told.now_is_best:
        return ""
    return "What both ways have in common is left out of these two amounts; the picture has the whole costs."


def figures(told: forecaster.NowOrLater, currency: str) -> list[str]:
    """Break-even price, value of a check, the season's triggers: each a sentence."""
    return [_break_even(told, currency), _check(told, currency), *_triggers(told)]


def _break_even(told: forecaster.NowOrLater, currency: str) -> str:
    if told.break_even.mean <= 0:
        return "**Break-even price:** a rebuild now would not pay even if it cost nothing."
    return (
        f"**Break-even price:** a rebuild now pays up to {amount_words(told.break_even, currency)}; here it costs "
        f"{money(told.prices.rebuild, currency)}."
    )


def _check(told: forecaster.NowOrLater, currency: str) -> str:
    when = _when_checked(told, told.best_check)
    if told.check_saves.mean > 0:
        saves = amount_words(told.check_saves, currency)
        return f"**Value of a check:** one {when} saves {saves} beside the best way without."
    more = amount_words(told.check_saves.opposite, currency)
    return f"**Value of a check:** none pays. The best, {when}, costs {more} more than the best way without."


def _triggers(told: forecaster.NowOrLater) -> list[str]:
    triggers = told.triggers
    acts = [
        f"{do} at {hours_words(hours)} since rebuild{_until(last)}"
        for do, hours, last in (
            ("check it", triggers.check_at_hours, triggers.check_until),
            ("rebuild it, even in season,", triggers.rebuild_at_hours, triggers.rebuild_until),
        )
        if hours is not None
    ]
    return [f"**If it runs on into the season:** {listed(acts)}."] if acts else []


def _until(last: date | None) -> str:
    return "" if last is None else f" if it gets there by {day_words(last)}"


def waiting_sentence(told: forecaster.NowOrLater, currency: str) -> str:
    """What waiting costs, in short."""
    waited = told.by_month
    dearest = waited.loc[waited["extra"].idxmax()]
    if dearest["extra"] <= 0:
        return "Putting the rebuild off costs nothing in any month of the two years."
    extra = forecaster.Amount(dearest["extra"], dearest["extra_low"], dearest["extra_high"])
    return (
        f"At most it costs {amount_words(extra, currency)} more than rebuilding now: put off to "
        f"{day_words(dearest['until'])}."
    )


def swing_sentence(swings: tuple[forecaster.Swing, ...], currency: str) -> str:
    """Which input moves the answer most."""
    top = swings[0]
    name = NAME_OF_PRICE[top.what].lower()
    ends = f"{money(top.low, currency)} or {money(top.high, currency)}"
    turns = " That turns the answer." if min(top.low, top.high) < 0 < max(top.low, top.high) else ""
    return f"Most: {name}. A quarter lower or higher, a rebuild now saves {ends}.{turns}"


def price_told(name: str, value: float, currency: str) -> str:
    """A price with its currency, a chance in percent, or lost days."""
    if name in CHANCES:
        return percent(value)
    return f"{value:g}{SPACE}days" if name.endswith("_days") else money(value, currency)


def changed_sentence(told: forecaster.NowOrLater, currency: str) -> str:
    """Which prices are not the fleet's own; empty where all are."""
    parts = [
        f"{NAME_OF_PRICE[name].lower()} {price_told(name, here, currency)} (the fleet's: "
        f"{price_told(name, own, currency)})"
        for name, (here, own) in told.changed.items()
    ]
    return f"What if: {listed(parts)}." if parts else ""
