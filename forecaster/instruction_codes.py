"""What is to be done with a unit, as codes; and what of it the record alone decides.

A code is made of an order, by when and how gravely, and of an act, what is done with the supercharger. Faces word
codes (``forecaster.report.instruction_wording``); nothing is decided by words.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Literal

from forecaster.unsafe import Unsafe

Act = Literal["leave", "check", "rebuild"]
LEAST_FIRST: tuple[Act, ...] = ("leave", "check", "rebuild")
Order = Literal[
    "stop",  # it must not run as it is
    "treat",  # it must not be started before the water in it was dealt with
    "first",  # before its next ride
    "now",  # in season: its hours have come
    "soon",  # in season: its hours are expected to come within seven days
    "week",  # in its week of the plan
    "leave",
    "unweighed",  # nothing on record decides; the plan was not asked
]
GRAVEST_FIRST: tuple[Order, ...] = ("stop", "treat", "first", "now", "soon", "week", "leave", "unweighed")
Code = Literal[
    "stop, rebuild",
    "stop, check",
    "stop",  # by the record alone: what then, the plan decides
    "treat, rebuild",
    "treat, check",
    "treat",
    "rebuild first",
    "check first",
    "look first",  # by the record alone: at least looked at
    "rebuild now",
    "check now",
    "rebuild soon",
    "check soon",
    "rebuild",
    "check",
    "leave",
    "as planned",  # by the record alone: nothing on it decides
]


def code_of(order: Order, act: Act | None) -> Code:
    """The code of an order with an act; `act` None: the record alone was asked, and more may come of the plan.

    Raises KeyError for an order that has no such act.
    """
    return _CODES[order, act]


_CODES: dict[tuple[Order, Act | None], Code] = {
    ("stop", "rebuild"): "stop, rebuild",
    ("stop", "check"): "stop, check",
    ("stop", None): "stop",
    ("treat", "rebuild"): "treat, rebuild",
    ("treat", "check"): "treat, check",
    ("treat", "leave"): "treat",
    ("treat", None): "treat",
    ("first", "rebuild"): "rebuild first",
    ("first", "check"): "check first",
    ("first", None): "look first",
    ("now", "rebuild"): "rebuild now",
    ("now", "check"): "check now",
    ("soon", "rebuild"): "rebuild soon",
    ("soon", "check"): "check soon",
    ("week", "rebuild"): "rebuild",
    ("week", "check"): "check",
    ("leave", "leave"): "leave",
    ("unweighed", None): "as planned",
}


def most(acts: Collection[Act]) -> Act:
    """The act that does most; "leave" where there is none."""
    return max(acts, key=LEAST_FIRST.index, default="leave")


def order_on_record(unsafe: Collection[Unsafe]) -> Order:
    """What the record orders by itself, the gravest of it."""
    asked = {one.asks for one in unsafe}
    return next((order for order in GRAVEST_FIRST if order in asked), "unweighed")


def act_on_record(unsafe: Collection[Unsafe]) -> Act | None:
    """What the record alone settles about the work: a rebuild, to which nothing can add; None: more may be asked."""
    return "rebuild" if most([one.act for one in unsafe]) == "rebuild" else None


def code_on_record(unsafe: Collection[Unsafe]) -> Code:
    """Both as a code."""
    return code_of(order_on_record(unsafe), act_on_record(unsafe))
