"""A field for a number, typed with a decimal comma or a decimal point: what cannot be read for certain is refused.

A browser's own field for numbers leaves out what it does not know: on an English one 0,05 becomes 5, and 13,5 becomes
135. So this is a field for text, read here. Nothing is cut off, left out or rounded: a text is the number that it says,
or it is refused beneath the field with what to write instead. The link tells what the field holds.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal

import streamlit as st

import link
from told_wrong import refuse_field, say_at_top
from words import plain

MOST_DIGITS = 12  # in one number, all told: floats keep 15, and no field needs more than an amount with its cents
LONGEST_TOLD = 30  # characters of a text that are repeated in a refusal
WIDE = 320  # CSS px: a refusal can be read in it
MINUS = "\u2212"

_NUMBER = re.compile(r"(?P<minus>-?)(?P<whole>[0-9]*)(?P<sign>[.,]?)(?P<decimals>[0-9]*)")
_TWO_WAYS = re.compile(r"-?[1-9][0-9]{0,2}[.,][0-9]{3}")  # the sign may part decimals, or thousands
_SIGN_LOST = re.compile(r"-?0+[1-9][0-9]*")  # nobody writes 05: a sign may be missing


class NotRead(ValueError):
    """A text that is no number for certain; the message says why, and what to write instead."""


def read_number(
    typed: str, limits: tuple[float, float], *, example: float = 13.5, whole: bool = False, needed: str = ""
) -> float | None:
    """The number that a text says; None where it is blank.

    `limits`: the least and the most that it may be. `example`: of such a number. `needed`: the limits in words.

    Raises NotRead where the text is no number, could be two, has more digits than are kept, or is beyond the limits.
    """
    text = typed.strip()
    if not text:
        return None
    found = _NUMBER.fullmatch(text.replace(MINUS, "-"))
    said = f"\u201c{text if len(text) <= LONGEST_TOLD else f'{text[: LONGEST_TOLD - 1]}…'}\u201d"
    if found is None or not (found["whole"] or found["decimals"]):
        raise NotRead(f"{said} {_why_none(text, number_text(example))}")
    if why := _why_two(found, limits):
        raise NotRead(f"{said} {why}")
    if found["sign"] and not found["decimals"]:
        sign = "comma" if found["sign"] == "," else "point"
        raise NotRead(f"{said} has no digits after its {sign}. Write {found['whole']} if that is all.")
    if len(found["whole"] + found["decimals"]) > MOST_DIGITS:
        raise NotRead(f"{said} has more than {MOST_DIGITS} digits. Write it with fewer.")
    number = float(found[0].replace(",", "."))
    if whole and not number.is_integer():
        raise NotRead(f"{said} is not a whole number. Write one without decimals, such as {number_text(example)}.")
    least, most = limits
    if number < least or (found["minus"] and least >= 0) or number > most:
        raise NotRead(f"{said} is {'too high' if number > most else 'too low'}: {needed or range_words(limits)}.")
    return number


def _why_two(found: re.Match[str], limits: tuple[float, float]) -> str:
    """Why a number may have been meant for another, and how to write each that is possible; else empty."""
    whole, decimals = found["whole"], found["decimals"]
    if _TWO_WAYS.fullmatch(found[0]):
        large, small = f"{whole}{decimals}", f"{whole}.{decimals}0"
    elif _SIGN_LOST.fullmatch(found[0]):
        large, small = whole.lstrip("0"), f"0.{whole[1:]}"
    else:
        return ""
    large, small = f"{found['minus']}{large}", f"{found['minus']}{small}"
    if limits[0] <= float(large) <= limits[1]:
        return f"can be read in two ways. Write {large} for the large number, or {small} for the small one."
    return f"can be read in two ways. Write {small} if that is meant."


def _why_none(text: str, example: str) -> str:
    if re.fullmatch(r"[-0-9.,]+", text) and sum(map(text.count, ".,")) > 1:
        return "has more than one point or comma. Write one at most, before the decimals, such as 1234.5."
    if re.fullmatch(r"[-0-9.,\s]+", text) and len(text.split()) > 1:
        return "has a space in it. Write the number without spaces."
    return f"is not a number. Write it in digits alone, such as {example}."


def range_words(limits: tuple[float, float]) -> str:
    """The limits of a number as a refusal tells them."""
    least, most = map(number_text, limits)
    return f"a number from {least} to {most} is needed" if math.isfinite(limits[1]) else f"{least} or more is needed"


def number_text(number: float) -> str:
    """A number as a field and a link hold it: no exponent, no rounding, and the same number when it is read again."""
    digits = format(Decimal(repr(float(number))), "f")
    digits = digits.rstrip("0").rstrip(".") if "." in digits else digits
    return f"{digits}0" if _TWO_WAYS.fullmatch(digits) else digits


def number_field(
    name: str,
    asks: str,
    limits: tuple[float, float],
    step: float,
    key: str,
    *,
    usual: float | None = None,
    blank: str | None = None,
    none_in_link: str = "",
    needed: str = "",
    explained: str | None = None,
    width: int | None = None,
) -> float | None:
    """A number within `limits`; None where the field is blank, for which `blank` stands, or where it is refused.

    A refused field is kept in ``told_wrong``: a screen must ask there before it answers. `name`: in the link, which is
    read as if its text had been typed. `step`: what such a number is counted in; an int: whole numbers only. `usual`:
    what the field holds where the link tells nothing. `none_in_link`: by which the link tells a blank field. `needed`:
    the limits in words. `width`: in CSS px; None: all there is.
    """
    if new := key not in st.session_state:
        st.session_state[key] = _first_text(name, usual, none_in_link)
    typed, number, why = str(st.session_state[key] or ""), None, ""
    try:
        number = read_number(typed, limits, example=5 * step, whole=isinstance(step, int), needed=needed)
    except NotRead as refused:
        why = str(refused)
        refuse_field(name, asks, typed, why)
        if new and link.wanted(name):
            say_at_top(f"The link tells {plain(f'{name}={typed}')}, which cannot be used.")
    with st.container(width="stretch" if width is None else max(width, WIDE) if why else width, gap="xsmall"):
        st.text_input(asks, key=key, placeholder=blank, help=explained, autocomplete="off")
        if why:
            st.error(plain(why))
    return number


def _first_text(name: str, usual: float | None, none_in_link: str) -> str:
    told = link.first(name)
    if told is None:
        return "" if usual is None else number_text(usual)
    return "" if told == none_in_link else told
