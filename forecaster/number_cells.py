"""Numbers of one column: plain numbers with a decimal point; anything that needs a guess is refused.

A decimal comma is read, with a notice, only where the file itself is written that way (columns parted by semicolons
or tabs). A point or comma before exactly three digits may part thousands there: it is read only where another cell
of the column shows that the same sign marks decimals.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from itertools import compress

import numpy as np

from forecaster.cells import ColumnNotice, Fault, ParsedTexts, blanks
from forecaster.ranges import NEAREST_TO_0
from forecaster.records import Column
from forecaster.shown_values import shortened

_PLAIN = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+")
_MAYBE_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2}([.,])[0-9]{3}")
_GROUPED = re.compile(r"[+-]?[0-9]{1,3}(?:[ .,'’\u00a0\u202f][0-9]{3})+(?:[.,][0-9]+)?")
_CLOCK = re.compile(r"([0-9]{1,6}):([0-5][0-9])(?::([0-5][0-9])(?:\.[0-9]+)?)?")
_WITH_EXTRAS = re.compile(r"[^0-9+.,-]*([+-]?[0-9]+(?:[.,][0-9]+)?)[^0-9]*")
_PLAIN_CHARACTERS = frozenset("0123456789.")


def plain_number(value: float) -> str:
    """A number as people write it: no exponent, no trailing zeros, no -0, and exactly the same when read again."""
    return np.format_float_positional(value + 0.0, trim="-")


def parse_numbers(texts: Sequence[str], column: Column, decimal_comma: bool = False) -> ParsedTexts:
    """Numbers (float64, NaN where blank or at fault) of distinct texts, within the column's limits.

    `decimal_comma` says that the file is one whose numbers may have decimal commas.
    """
    parsed = ParsedTexts(np.full(len(texts), math.nan), blanks(texts))
    numbers = [text.strip() for text in texts]
    decimal_signs = _decimal_signs(numbers) if decimal_comma else frozenset(".")
    quick = None if decimal_comma else _all_plain(numbers)
    if quick is not None:
        parsed.values = quick
    doubtful = np.flatnonzero(~np.isfinite(parsed.values) & ~parsed.blank).tolist()
    for position in doubtful:
        found = _read(numbers[position], column, decimal_signs, decimal_comma)
        if isinstance(found, Fault):
            parsed.faults[position] = found
        else:
            parsed.values[position] = found
    parsed.values += 0.0  # a cell "-0" is 0
    _check_limits(parsed, column)
    commas = [n for position, n in enumerate(numbers) if "," in n and position not in parsed.faults]
    if commas:
        meant = plain_number(float(commas[0].replace(",", ".")))
        parsed.notices.append(
            ColumnNotice(
                commas[0],
                f"numbers are written with a decimal comma: {commas[0]} was read as {meant}",
                "If that is wrong, write numbers with a decimal point and no sign between thousands.",
            )
        )
    return parsed


def _all_plain(numbers: Sequence[str]) -> np.ndarray | None:
    """All numbers in one go where each text is blank or digits with a point, as in most files; None otherwise.

    pandas' own parser is quicker still, and off by one in the last binary digit for some texts.
    """
    if not _PLAIN_CHARACTERS.issuperset("".join(numbers)):
        return None
    try:
        return np.array([float(number) if number else math.nan for number in numbers])
    except ValueError:  # more than one point
        return None


def _decimal_signs(numbers: Sequence[str]) -> frozenset[str]:
    """Which of point and comma some number of the column shows to mark decimals."""
    signs = set()
    for sign, pattern in ((".", _PLAIN), (",", _DECIMAL_COMMA)):
        shown = (n for n in numbers if sign in n and pattern.fullmatch(n) and not _MAYBE_THOUSANDS.fullmatch(n))
        if next(shown, None) is not None:
            signs.add(sign)
    return frozenset(signs)


def _read(text: str, column: Column, decimal_signs: frozenset[str], decimal_comma: bool) -> float | Fault:
    """One number, or why the text is none."""
    in_doubt = _MAYBE_THOUSANDS.fullmatch(text)
    if decimal_comma and in_doubt and decimal_signs != {in_doubt[1]}:
        return _thousands(text)
    if decimal_comma and _DECIMAL_COMMA.fullmatch(text):
        return _finite(float(text.replace(",", ".")))
    if _PLAIN.fullmatch(text):
        return _finite(float(text))
    return _why_none(text, column)


def _finite(value: float) -> float | Fault:
    return value if math.isfinite(value) else Fault("this is larger than any number can be", "Correct the number.")


def _why_none(text: str, column: Column) -> Fault:
    if match := _CLOCK.fullmatch(text):
        hours = int(match[1]) + int(match[2]) / 60 + int(match[3] or 0) / 3600
        return Fault(
            "this is a time of day or a duration, not a number",
            f"Type decimal hours: {plain_number(round(hours, 3))} if {text} means hours and minutes.",
        )
    if _GROUPED.fullmatch(text):
        return _thousands(text)
    if _DECIMAL_COMMA.fullmatch(text):
        pointed = shortened(text.replace(",", "."))
        return Fault("a comma can mark decimals or thousands", f"Type {pointed} with a decimal point.")
    if text.casefold().lstrip("+-") in {"nan", "inf", "infinity", "na", "n/a", "none", "null", "-", "--", "?", ""}:
        return Fault("this is not a number", "Leave the cell blank where nothing was recorded.")
    if (match := _WITH_EXTRAS.fullmatch(text)) and "," not in match[1]:
        unit = f", in {column.unit}" if column.unit else ""
        return Fault("there is more than a number in the cell", f"Type only the number: {shortened(match[1])}{unit}.")
    return Fault("this is not a number", "Type a plain number such as 12.5, or leave the cell blank.")


def _thousands(text: str) -> Fault:
    bare = re.sub(r"[ .,'’\u00a0\u202f]", "", text)
    return Fault(
        "the sign between the digits can mark decimals or thousands",
        f"Type the number without it ({shortened(bare)}) or with a plain decimal point.",
    )


def _at_most(column: Column) -> str:
    """The range of a column whose number is too large, and why nothing is larger."""
    ends = " to ".join(plain_number(end) for end in (column.minimum, column.maximum) if end is not None)
    unit = f" {column.unit}" if column.unit not in ("", "money") else ""
    limits = column.limits
    why = f": {limits.means}" if limits is not None and limits.high < limits.most else ""
    return f"it must be from {ends}{unit}{why}"


def _check_limits(parsed: ParsedTexts, column: Column) -> None:
    values = parsed.values
    too_small = (values != 0) & (np.abs(values) < NEAREST_TO_0)
    for position in compress(range(len(values)), too_small):
        parsed.faults[position] = Fault(
            f"this is nearer to 0 than anything that is measured ({NEAREST_TO_0:f})", "Type 0 if that is meant."
        )
        values[position] = math.nan
    remedy = "Correct the number" + ("." if column.required else ", or leave the cell blank if it is not known.")
    limits = []
    if column.minimum is not None:
        limits.append((values < column.minimum, f"it must be {plain_number(column.minimum)} or more"))
    if column.maximum is not None:
        limits.append((values > column.maximum, _at_most(column)))
    if column.kind == "whole":
        limits.append((np.isfinite(values) & (values != np.floor(values)), "it must be a whole number"))
    for outside, must in limits:
        for position in compress(range(len(values)), outside):
            parsed.faults[position] = Fault(must, remedy)
            values[position] = math.nan
