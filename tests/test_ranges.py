"""Ranges: what a number or a day that comes in may be, and how it is said where it is none."""

from __future__ import annotations

import math
import re
from datetime import date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from forecaster import ranges
from forecaster.errors import WrongUsage
from forecaster.ranges import FIRST_DAY, LAST_DAY, NEAREST_TO_0, NumberRange, OutOfRange, refuse_day
from forecaster.shown_values import MOST_SHOWN, shortened, shown

ALL = {name: one for name, one in vars(ranges).items() if isinstance(one, NumberRange)}
NUMBERS = st.one_of(st.floats(), st.integers(), st.booleans(), st.complex_numbers())
ANYTHING = st.one_of(NUMBERS, st.text(), st.none(), st.lists(st.floats()), st.dates())


@pytest.mark.parametrize("name", ALL)
@given(value=ANYTHING)
@example(value=10**5_000)
@example(value=np.float64(1e308))
def test_what_a_range_gives_is_in_it_and_everything_else_is_refused(name: str, value: object) -> None:
    limits = ALL[name]
    if limits.why_not(value):
        with pytest.raises(OutOfRange, match=re.escape(limits.words)):
            limits.number(value)
        return
    number = limits.number(value)
    assert not isinstance(value, bool)
    assert limits.least <= number <= limits.most
    assert number == value
    assert math.copysign(1.0, number) > 0 or number < 0


@pytest.mark.parametrize("name", ALL)
def test_both_ends_are_in_the_range(name: str) -> None:
    limits = ALL[name]
    assert [limits.number(end) for end in (limits.least, limits.most)] == [limits.least, limits.most]
    for beyond in (limits.least - 1, limits.most + 1):
        with pytest.raises(OutOfRange):
            limits.number(beyond)


@pytest.mark.parametrize("name", ALL)
@given(text=st.text(st.characters(codec="utf-8"), max_size=30))
@example(text="9" * 5_000)
@example(text="1e999")
@example(text="0x10")
@example(text="1_000")
@example(text="\u0663")
@example(text="nan")
def test_a_text_is_a_number_of_the_range_or_refused_with_its_words(name: str, text: str) -> None:
    limits = ALL[name]
    told = ""
    try:
        assert limits.typed(text) == float(text)
    except OutOfRange as refusal:
        told = str(refusal)
    assert not told or limits.words in told
    assert len(told) < 300


def test_what_is_nearer_to_0_than_anything_measured_is_refused_and_0_is_not() -> None:
    assert ranges.PRICE.number(-0.0) == 0.0
    assert math.copysign(1.0, ranges.PRICE.number(-0.0)) == 1.0
    assert ranges.PRICE.number(NEAREST_TO_0) == NEAREST_TO_0
    with pytest.raises(OutOfRange, match="write 0 if that is meant"):
        ranges.PRICE.number(1e-320)


def test_the_hint_is_said_beyond_the_range_alone() -> None:
    for value, said in ((5_001, True), (-1, False), ("many", False)):
        with pytest.raises(WrongUsage) as refused:
            ranges.ENGINE_HOURS.asked(value, "Hours")
        assert ("No such engine has run longer" in str(refused.value)) is said


# --- days ------------------------------------------------------------------------------------------------------------


@given(st.dates())
@example(FIRST_DAY)
@example(LAST_DAY)
@example(date.min)
@example(date.max)
def test_a_day_is_in_the_span_or_refused_with_the_span(day: date) -> None:
    if FIRST_DAY <= day <= LAST_DAY:
        refuse_day(day)
    else:
        with pytest.raises(WrongUsage, match="between 1990-01-01 and 2100-12-31"):
            refuse_day(day)


@pytest.mark.parametrize("what", [datetime(2026, 1, 1, 12), pd.Timestamp(2026, 1, 1), "2026-01-01", None, 20260101])
def test_what_is_no_date_is_refused(what: object) -> None:
    with pytest.raises(WrongUsage, match="must be a date without a time of day"):
        refuse_day(what)


def test_the_day_after_the_last_can_still_be_reckoned_with() -> None:
    assert LAST_DAY + timedelta(weeks=520) < date(2262, 1, 1)  # as far as pandas' days go


# --- how a value is shown --------------------------------------------------------------------------------------------


def nested(depth: int) -> list:
    found: list = []
    for _ in range(depth):
        found = [found]
    return found


EXTREME = [10**5_000, [10**5_000], {"a": -(10**5_000)}, nested(5_000), "x" * 1_000_000, ["\n" * 1_000_000], math.nan]


@given(st.one_of(ANYTHING, st.dictionaries(st.text(), ANYTHING)))
def test_every_value_is_shown_on_one_short_line(value: object) -> None:
    is_short(shown(value))


@pytest.mark.parametrize("value", EXTREME, ids=range(len(EXTREME)))
def test_so_is_every_extreme_one(value: object) -> None:
    is_short(shown(value))


def is_short(text: str) -> None:
    assert text
    assert len(text.splitlines()) == 1
    assert len(text) <= 12 * MOST_SHOWN  # a sign that cannot be seen is written with up to ten


def test_what_cannot_be_seen_is_escaped() -> None:
    assert shown("a\u202eb\n\0") == repr("a\u202eb\n\0")
    assert shortened("a\u202eb") == "a\\u202eb"


def test_a_long_text_tells_how_long_it_is() -> None:
    assert shown("x" * 5_000) == f"'{'x' * MOST_SHOWN}'... (5,000 characters)"
    assert shortened("x" * 5_000) == f"{'x' * MOST_SHOWN}... (5,000 characters)"


def test_words_of_a_file_are_shown_as_the_file_has_them() -> None:
    assert [shown(True), shown(date(2026, 1, 2)), shown(5.0)] == ["true", "2026-01-02", "5.0"]
    assert shown(10**400) == "a whole number of some 400 digits"
