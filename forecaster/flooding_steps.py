"""What to do after water, in the trade's order: reasons to stop, steps, when to call a mechanic, cautions. As codes.

``forecaster.report.after_water_wording`` words them. No figure of the forecast enters here: what is urgent and what is
dangerous does not depend on chances. All of it is common practice of the trade, no source; the maker's manual, a
licensed mechanic and local rules come before it.

The laws, which hold for every combination of answers (``tests/test_after_water_laws.py``):

1. Nothing runs the engine before the plugs were out and the cylinders dry, the oil looked at and changed, and the
   supercharger spun by hand. Flushing the cooling counts as running: most engines need to run for it.
2. An engine that ran as it went under is not run before a mechanic has seen it and tested its compression, whatever the
   supercharger sounds like.
3. While a reason to stop stands, nothing says that it may be ridden, and a mechanic is named.
4. Salt water that was not treated never ends in "ride" without a look at the supercharger after some hours; of a
   fleet's craft, not while the water is just now (``forecaster.unsafe``): later the unit's instruction decides.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Literal, get_args

from forecaster.findings import says_nothing_of_rust
from forecaster.flooding_facts import Flooding

When = Literal["now", "within a day", "before the next ride"]
WHENS: tuple[When, ...] = get_args(When)
RECENT_DAYS = 1  # people, towing and a hull that may still be full are thought of on that day and the next
RECHECK_OIL_H = (1, 5, 10)  # engine hours after which the oil is looked at again
STANDS_WET_DAYS = 2  # an untreated engine that stood so long is for a mechanic
STANDS_LONG_DAYS = 7  # a wet engine that stands longer has begun to rust, whatever its hours say

StopCode = Literal["water_in_cylinder", "ran_under_water", "low_compression", "rattle", "milky_oil", "on_record"]
Order = Literal["stop", "do_not_start", "none"]
MechanicCode = Literal[
    "ran_under_water",
    "water_in_cylinder",
    "low_compression",
    "rattle",
    "milky_oil",
    "stood_wet",
    "will_not_turn",
    "fuel_smell",
    "unsure",
]
CautionCode = Literal[
    "standing_rusts",
    "no_cranking",
    "fuel_vapour",
    "hot_and_spinning",
    "on_land",
    "waste_oil",
    "noise",
    "manual_first",
]
StepCode = Literal[
    "people_first",
    "key_and_cord_out",
    "turn_upright",
    "tow_slowly",
    "air_the_hull",
    "battery_off",
    "plugs_out",
    "drain_the_hull",
    "call_mechanic",
    "look_into_cylinders",
    "clear_cylinders",
    "open_supercharger",
    "rinse",
    "drain_intercooler",
    "fuel_and_intake",
    "spin_by_hand",
    "look_at_oil",
    "change_oil",
    "change_oil_unless_done",
    "change_oil_again",
    "oil_not_today",
    "compression_test",
    "refit",
    "pre_oil",
    "not_run_today",
    "run_warm",
    "flush_cooling",
    "oil_after_run",
    "inhibit_rust",
    "spin_again",
    "recheck_oil",
    "plan_check",
    "open_before_ride",
    "fit_catch_can",
    "write_down",
    "log_in_water_csv",
]
STEPS: tuple[StepCode, ...] = get_args(StepCode)
# What to do before any question is asked, and what every untreated craft's steps begin with.
FIRST_STEPS: tuple[StepCode, ...] = ("people_first", "key_and_cord_out", "air_the_hull", "battery_off", "plugs_out")
AFLOAT: tuple[StepCode, ...] = ("turn_upright", "tow_slowly")
RUNS_ENGINE: tuple[StepCode, ...] = ("run_warm", "flush_cooling")

CAUTIONS: tuple[CautionCode, ...] = tuple(code for code in get_args(CautionCode) if code != "standing_rusts")
_AT_WORK: dict[StepCode, tuple[CautionCode, ...]] = {
    "air_the_hull": ("fuel_vapour",),
    "plugs_out": ("no_cranking",),
    "drain_the_hull": ("waste_oil",),
    "look_into_cylinders": ("no_cranking", "fuel_vapour", "hot_and_spinning"),
    "clear_cylinders": ("no_cranking", "fuel_vapour", "hot_and_spinning"),
    "open_supercharger": ("hot_and_spinning", "noise"),
    "drain_intercooler": ("hot_and_spinning", "waste_oil"),
    "fuel_and_intake": ("fuel_vapour",),
    "spin_by_hand": ("hot_and_spinning", "noise"),
    "change_oil": ("hot_and_spinning", "waste_oil"),
    "change_oil_unless_done": ("hot_and_spinning", "waste_oil"),
    "change_oil_again": ("hot_and_spinning", "waste_oil"),
    "compression_test": ("no_cranking", "fuel_vapour"),
    "refit": ("hot_and_spinning", "manual_first"),
    "not_run_today": ("no_cranking",),
    "run_warm": ("no_cranking", "fuel_vapour", "on_land"),
    "flush_cooling": ("on_land",),
    "oil_after_run": ("hot_and_spinning", "waste_oil"),
    "inhibit_rust": ("fuel_vapour", "hot_and_spinning"),
    "spin_again": ("hot_and_spinning", "noise"),
    "open_before_ride": ("hot_and_spinning",),
}


@dataclass(frozen=True)
class Stop:
    """A reason why it must not be run as it is. `found`: what the unit's record says, in words, for "on_record" alone.

    `fact`: the field of ``Flooding`` that says so; empty for what is on record.
    """

    code: StopCode
    found: str = ""

    @property
    def fact(self) -> str:
        """The field of ``Flooding`` that says so; empty for what is on record."""
        return {
            "water_in_cylinder": "water_in_cylinder",
            "ran_under_water": "engine",
            "low_compression": "compression",
            "rattle": "spin",
            "milky_oil": "oil",
        }.get(self.code, "")


@dataclass(frozen=True)
class Step:
    """One thing to do, by when. `after_h`: engine hours until then, for "plan_check" alone."""

    code: StepCode
    when: When
    after_h: float | None = None

    @property
    def cautions(self) -> tuple[CautionCode, ...]:
        """The cautions that belong to this very work."""
        return _AT_WORK.get(self.code, ())


@dataclass(frozen=True)
class MechanicCall:
    """A reason to call a mechanic now, and whether what is told says that it is so here."""

    code: MechanicCode
    applies: bool


def reasons_to_stop(flooding: Flooding) -> tuple[Stop, ...]:
    """Why it must not be run as it is, the gravest first; empty where nothing that is told says so.

    Water seen in a cylinder; run while it went under, and no mechanic has found its compression good since; low
    compression; a rattle; milky oil.
    """
    so = {
        "water_in_cylinder": flooding.water_in_cylinder == "yes",
        "ran_under_water": flooding.ran_under and flooding.compression == "unknown",
        "low_compression": flooding.compression == "low",
        "rattle": flooding.spin == "rattle",
        "milky_oil": flooding.oil == "milky",
    }
    return tuple(Stop(code) for code in get_args(StopCode) if so.get(code, False))


def order_of(flooding: Flooding, stops: tuple[Stop, ...]) -> Order:
    """What is to be said before anything else: stop, do not start it before the steps are done, or nothing.

    What has run for hours since is past being dried; its risk is what the figures say.
    """
    if stops:
        return "stop"
    just_now = (flooding.hours_run_since or 0.0) <= RECHECK_OIL_H[-1]
    return "do_not_start" if flooding.treated != "yes" and just_now else "none"


def may_ride(flooding: Flooding, stops: tuple[Stop, ...]) -> bool:
    """Whether "ride" may be an answer at all: never while it must stop, nor after salt water that was not treated.

    Water of which nobody knows the kind counts as salt, and a treatment of which nobody knows as none.
    """
    return not stops and (flooding.treated == "yes" or flooding.water == "fresh")


def mechanic_calls(flooding: Flooding, as_of: date) -> tuple[MechanicCall, ...]:
    """When to call a mechanic now: what is so here first, then what may yet turn out so."""
    stood = flooding.treated == "no" and flooding.days_since(as_of) >= STANDS_WET_DAYS
    so = {stop.code for stop in reasons_to_stop(flooding)}
    applies = {
        **dict.fromkeys(get_args(MechanicCode), False),
        **{code: code in so for code in ("water_in_cylinder", "low_compression", "rattle", "milky_oil")},
        "ran_under_water": flooding.ran_under,
        "stood_wet": stood,
    }
    calls = [MechanicCall(code, applies[code]) for code in get_args(MechanicCode)]
    return tuple(sorted(calls, key=lambda call: not call.applies))


def cautions(flooding: Flooding, as_of: date) -> tuple[CautionCode, ...]:
    """What can hurt people, and what the figures do not know."""
    stands = flooding.days_since(as_of) >= STANDS_LONG_DAYS and flooding.treated != "yes"
    return ("standing_rusts", *CAUTIONS) if stands else CAUTIONS


Log = Literal["logged", "log_in_water_csv", "write_down"]


def steps_after(
    flooding: Flooding,
    as_of: date,
    *,
    log: Log = "write_down",
    opens: bool = False,
    check_after_h: float | None = None,
    catch_can: str = "unknown",
) -> tuple[Step, ...]:
    """What to do, in order, by when; ``WHENS`` is the order of the whens.

    `log`: whether the incident is written down already, and where else it goes. `opens`: whether the advice is to open
    the supercharger; `check_after_h`: or to check it after so many engine hours. `catch_can`: yes, no or unknown, as
    craft.csv says. What can no longer matter is left out: nobody drains the hull of a craft that was run since.
    """
    rattles = flooding.spin == "rattle"
    return (
        *(Step(code, "now") for code in _now(flooding, as_of)),
        *(Step(code, "within a day") for code in _within_a_day(flooding)),
        *(Step(code, "before the next ride") for code in _before_the_next_ride(flooding, as_of)),
        *([Step("plan_check", "before the next ride", check_after_h)] if check_after_h is not None else []),
        *(Step(code, "before the next ride") for code in ("open_before_ride", "pre_oil") if opens and not rattles),
        *([Step("fit_catch_can", "before the next ride")] if catch_can == "no" else []),
        *([] if log == "logged" else [Step(log, "before the next ride")]),
    )


def _now(flooding: Flooding, as_of: date) -> Iterator[StepCode]:
    untreated, stops = flooding.treated != "yes", reasons_to_stop(flooding)
    if not untreated and not stops:
        return
    recent = untreated and flooding.days_since(as_of) <= RECENT_DAYS
    if recent:
        yield "people_first"
    yield "key_and_cord_out"
    if recent and not flooding.hours_run_since:
        yield from AFLOAT
    yield "air_the_hull"
    yield "battery_off"
    looks = _cylinders_to_look_into(flooding)
    if looks or flooding.water_in_cylinder == "yes":
        yield "plugs_out"
    if untreated and not flooding.hours_run_since:
        yield "drain_the_hull"
    if stops:
        yield "call_mechanic"
    if looks:
        yield "look_into_cylinders"
    if flooding.water_in_cylinder == "yes" or (looks and not flooding.hours_run_since):
        yield "clear_cylinders"
    if flooding.spin == "rattle":
        yield "open_supercharger"


def _cylinders_to_look_into(flooding: Flooding) -> bool:
    """Whether nobody has looked into the cylinders of an engine that is to be run warm, or that ran under water."""
    untested = flooding.ran_under and flooding.compression == "unknown"
    return flooding.water_in_cylinder == "unknown" and (runs_engine(flooding) or untested)


def _within_a_day(flooding: Flooding) -> Iterator[StepCode]:
    untreated, runs = flooding.treated != "yes", runs_engine(flooding)
    tested = flooding.ran_under and flooding.compression == "unknown"
    if flooding.water != "fresh":
        yield "rinse"
    if flooding.under_minutes != 0 and untreated:
        yield "fuel_and_intake"
    yield "drain_intercooler"
    if flooding.spin == "not_done":
        yield "spin_by_hand"
    yield from _oil(flooding)
    if tested:
        yield "compression_test"
    if flooding.spin == "rattle":
        yield "pre_oil"
    elif flooding.spin != "not_done":
        yield "refit"
    if not runs:
        return
    if tested or flooding.spin == "rattle" or flooding.water_in_cylinder == "yes" or flooding.compression == "low":
        yield "not_run_today"
    yield "run_warm"
    if flooding.water != "fresh":
        yield "flush_cooling"
    yield "oil_after_run"
    yield "inhibit_rust"


def runs_engine(flooding: Flooding) -> bool:
    """Whether it is to be run warm: not treated for certain, or wet again."""
    return flooding.treated != "yes" or flooding.oil == "milky" or flooding.water_in_cylinder == "yes"


def _oil(flooding: Flooding) -> Iterator[StepCode]:
    if flooding.oil == "unknown":
        yield "look_at_oil"
    if flooding.treated == "yes" and (flooding.oil == "milky" or flooding.water_in_cylinder == "yes"):
        yield "change_oil_again"
        yield "oil_not_today"
    elif flooding.treated != "yes":
        # Milky oil is changed whatever was done, and so is oil into which a wet cylinder may have leaked.
        wet = flooding.oil == "milky" or flooding.water_in_cylinder == "yes"
        yield "change_oil" if flooding.treated == "no" or wet else "change_oil_unless_done"
        yield "oil_not_today"


def _before_the_next_ride(flooding: Flooding, as_of: date) -> Iterator[StepCode]:
    if says_nothing_of_rust(flooding.days_since(as_of), flooding.spin):
        yield "spin_again"
    yield "recheck_oil"
