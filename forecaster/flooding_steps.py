"""What to do after water, in the trade's order: reasons to stop, steps, cautions. Common practice, no source.

The maker's manual, a licensed mechanic and local rules come before all of it. No figure of the forecast enters here:
what is urgent and what is dangerous does not depend on chances.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from forecaster.flooding_facts import Flooding

When = Literal["now", "within a day", "before the next ride"]
WHENS: tuple[When, ...] = ("now", "within a day", "before the next ride")
RECENT_DAYS = 1  # people and a hull that may still be full of water are thought of on that day and the next
RECHECK_OIL_H = (1, 5, 10)  # engine hours after which the oil is looked at again
STANDS_LONG_DAYS = 7  # a wet engine that stands longer has begun to rust, whatever its hours say

NO_CRANKING = "Never crank an engine with water in a cylinder and its plugs in: it can bend or break what moves."
FUEL_VAPOUR = (
    "Fuel vapour collects in the hull: ventilate before any spark, and keep the battery off until it has aired."
)
HOT_AND_SPINNING = "Parts are hot and spin: engine off, stop cord out, everything cooled, before hands go near."
ON_LAND = "On land, run the engine only with cooling water, turned on and off in the order that its manual says."
WASTE_OIL = "Waste oil and oily water go to a collection point, not overboard."
NOISE = (
    "Noise when spun by hand, with hardly any play of the shaft, still means that the bearing will fail; a little "
    "bearing noise is normal."
)
MANUAL_FIRST = "The maker's manual, local rules and a licensed mechanic come before anything printed here."
CAUTIONS = (NO_CRANKING, FUEL_VAPOUR, HOT_AND_SPINNING, ON_LAND, WASTE_OIL, NOISE, MANUAL_FIRST)


@dataclass(frozen=True)
class Step:
    """One thing to do, by when, and those of ``CAUTIONS`` that belong to this very work."""

    when: When
    do: str
    cautions: tuple[str, ...] = ()


def reasons_to_stop(flooding: Flooding) -> tuple[str, ...]:
    """Why it must not be run as it is, the gravest first; empty where nothing says so.

    Water seen in a cylinder; run while it went under and not looked at since; a rattle; milky oil. "Looked at" means
    that no water was found in a cylinder and the supercharger was spun by hand.
    """
    reasons = []
    if flooding.water_in_cylinder == "yes":
        reasons.append(
            "there is water in a cylinder: it does not compress, and cranking it with the plugs in breaks things"
        )
    if _ran_under(flooding) and not _looked_at(flooding):
        reasons.append("the engine ran as it went under, and may have drawn in water: a mechanic must look at it first")
    if flooding.spin == "rattle":
        reasons.append(
            "the supercharger rattles when spun by hand: its bearing will fail, however little play there is"
        )
    if flooding.oil == "milky":
        reasons.append("the oil is milky: there is water in it, and rust starts if that is not dealt with at once")
    return tuple(reasons)


def _ran_under(flooding: Flooding) -> bool:
    """Whether it ran while it went under; only "0 minutes" says that it was never under."""
    return flooding.engine == "running" and flooding.under_minutes != 0


def _looked_at(flooding: Flooding) -> bool:
    return flooding.water_in_cylinder == "no" and flooding.spin != "not_done"


def cautions(flooding: Flooding, as_of: date) -> tuple[str, ...]:
    """What can hurt people, and what the figures do not know."""
    days = flooding.days_since(as_of)
    if days >= STANDS_LONG_DAYS and flooding.treated != "yes":
        standing = (
            f"It is {days} days since the water. Time standing still rusts too, and the figures count engine hours"
        )
        return (f"{standing} only: the risk may be higher than they say.", *CAUTIONS)
    return CAUTIONS


def steps_after(flooding: Flooding, as_of: date, to_log: str | None) -> tuple[Step, ...]:
    """What to do, in order, by when; ``WHENS`` is the order of the whens.

    `to_log`: how to write the incident down; None: it is written down. What can no longer matter is left out: nobody
    drains the hull of a craft that was treated, or was run since.
    """
    return (
        *(Step("now", *told) for told in _now(flooding, as_of)),
        *(Step("within a day", *told) for told in _within_a_day(flooding)),
        *(Step("before the next ride", *told) for told in _before_the_next_ride(flooding, to_log)),
    )


Told = tuple[str, tuple[str, ...]]  # what to do, and the cautions of this work


def _now(flooding: Flooding, as_of: date) -> list[Told]:
    untreated = flooding.treated != "yes"
    if not untreated and not reasons_to_stop(flooding):
        return []
    told: list[Told] = []
    if untreated and flooding.days_since(as_of) <= RECENT_DAYS:
        told.append(("People first: everybody out of the water, counted and warm. The craft can wait.", ()))
    air = (
        "Open the seat and all hatches and let the hull air before anything that can spark: fuel vapour collects in it."
    )
    told.append((air, (FUEL_VAPOUR,)))
    told.append(("Take the battery off, negative lead first.", ()))
    if _wet_inside(flooding):
        leave = "Leave the start button alone: all spark plugs come out before the engine is turned at all."
        told.append((leave, (NO_CRANKING,)))
    if untreated and not flooding.hours_run_since:
        drain = "Drain the hull: on land, bow up, drain plugs out. Catch water that has oil in it."
        told.append((drain, (WASTE_OIL,)))
    if _wet_inside(flooding):
        told.append((_cylinders(flooding), (NO_CRANKING, FUEL_VAPOUR, HOT_AND_SPINNING)))
    if flooding.spin == "rattle":
        opened = (
            "Take the supercharger off and have it opened: what turns in it and what seals it is renewed; housings and "
            "impeller are cleaned, inspected and used again if they are good."
        )
        told.append((opened, (HOT_AND_SPINNING, NOISE)))
    return told


def _wet_inside(flooding: Flooding) -> bool:
    """Whether there may be water in the cylinders: not looked for, and the engine neither treated nor run since."""
    if flooding.water_in_cylinder == "yes" or (_ran_under(flooding) and not _looked_at(flooding)):
        return True
    return flooding.water_in_cylinder == "unknown" and flooding.treated != "yes" and not flooding.hours_run_since


def _cylinders(flooding: Flooding) -> str:
    get_out = (
        "get the water out of them with the plugs out: hull aired, battery on for this alone, ignition and fuel off as "
        "the manual says, short turns of the starter, face and hands clear of the plug holes, until only air comes"
    )
    if _ran_under(flooding):
        return (
            "Have a licensed mechanic look into the cylinders before the engine is turned, since it ran as it went "
            f"under and a rod may be bent; only then {get_out}."
        )
    if flooding.water_in_cylinder == "yes":
        return f"There is water in the cylinders: {get_out}."
    return f"Look into the cylinders, and {get_out}."


def _within_a_day(flooding: Flooding) -> list[Told]:
    told: list[Told] = []
    rinse = "rinse the engine and the hull inside with fresh water, and flush the cooling as the manual says"
    if flooding.water in ("salt", "brackish"):
        told.append((f"{rinse.capitalize()}: salt goes on eating once the water is gone.", (ON_LAND,)))
    if flooding.water == "unknown":
        told.append((f"Unless it was fresh water: {rinse}.", (ON_LAND,)))
    if flooding.under_minutes != 0 and flooding.treated != "yes":
        told.append(("Look for water in the fuel and in the air intake, and drain it.", (FUEL_VAPOUR,)))
    told.extend((do, (HOT_AND_SPINNING, WASTE_OIL)) for do in _oil(flooding))
    if flooding.treated != "yes" or flooding.oil == "milky":
        told.append((_run_warm(flooding), (NO_CRANKING, FUEL_VAPOUR, ON_LAND)))
    intercooler = (
        "Take the intercooler's hoses off and drain it: water lies in it, with the oil that the breather leaves there."
    )
    told.append((intercooler, (HOT_AND_SPINNING, WASTE_OIL)))
    return told


def _oil(flooding: Flooding) -> list[str]:
    again = "and again after each short run, until it stays clear"
    if flooding.treated == "yes" and flooding.oil == "milky":
        return [
            f"The oil is milky although it was changed: change oil and filter before the engine runs, {again}, and "
            "find where the water comes in (intercooler, oil cooler, a seal)."
        ]
    if flooding.treated == "yes" and flooding.oil == "unknown":
        return ["Look at the oil: it must be clear. Milky means stop, and change it until it stays clear."]
    if flooding.treated == "yes":
        return []
    if flooding.treated == "unknown":
        return [f"Unless you know that it was done: change oil and filter before the engine runs, {again}."]
    return [f"Change oil and filter before the engine runs, {again}: milky oil has water in it."]


def _run_warm(flooding: Flooding) -> str:
    first = ["the oil is changed", "the plugs are back"]
    if flooding.spin == "rattle":
        first.insert(0, "the supercharger has been opened")
    if flooding.water_in_cylinder == "yes" or (_ran_under(flooding) and not _looked_at(flooding)):
        first.insert(0, "the cylinders are dry and the mechanic agrees")
    conditions = ", ".join(first[:-1]) + f" and {first[-1]}"
    return (
        f"Once {conditions}: run it warm, on cooling water as its manual says and no longer than that allows, to drive "
        "the rest of the water out."
    )


def _before_the_next_ride(flooding: Flooding, to_log: str | None) -> list[Told]:
    told: list[Told] = []
    if flooding.spin == "not_done":
        spin = (
            "Take the supercharger off the engine, cold and stopped, and spin it by hand: quiet or a little noise is "
            "normal, a rattle means do not run it."
        )
        told.append((spin, (HOT_AND_SPINNING, NOISE)))
    if flooding.spin in ("quiet", "slight"):
        refit = "Refit the supercharger as its manual says, if it is still off."
        told.append((refit, (HOT_AND_SPINNING, MANUAL_FIRST)))
    hours = ", ".join(str(h) for h in RECHECK_OIL_H[:-1]) + f" and {RECHECK_OIL_H[-1]}"
    told.append((f"Plan to look at the oil again after {hours} engine hours: milky means stop.", ()))
    if to_log is not None:
        told.append((to_log, ()))
    return told
