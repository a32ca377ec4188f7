"""Numbers and sentences of the dashboard: units, intervals, and other people's text kept from becoming formatting."""

from __future__ import annotations

import re
from collections.abc import Callable
from contextvars import copy_context
from datetime import date
from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st

import days
import words
from forecaster import Chance, DateFormat, WrongUsage
from forecaster.written_days import DatedText


def told(text: str) -> str:
    """Text with ordinary spaces and without joiners, to compare."""
    return text.replace(words.SPACE, " ").replace(words.JOINER, "")


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (0.0, "0 %"),
        (0.0004, "under 0.1 %"),
        (0.0042, "0.4 %"),
        (0.00999, "1 %"),
        (0.314, "31 %"),
        (0.9999, "over 99 %"),
        (1.0, "100 %"),
        (float("nan"), "unknown"),
    ],
)
def test_a_chance_is_told_in_percent_and_never_rounded_to_certainty(share: float, text: str) -> None:
    assert told(words.percent(share)) == text


@pytest.mark.parametrize(
    ("chance", "text"),
    [
        (Chance(0.31, 0.18, 0.46), "31 % (18–46 %)"),
        (Chance(0.003, 0.0001, 0.012), "0.3 % (up to 1 %)"),
        (Chance(0.98, 0.9, 0.9999), "98 % (90 % or more)"),
        (Chance(0.5, 0.5, 0.5), "50 % (50 %)"),
    ],
)
def test_a_chance_carries_its_interval(chance: Chance, text: str) -> None:
    assert told(words.chance_words(chance)) == text


def test_an_interval_is_never_broken_over_two_lines() -> None:
    text = words.chance_words(Chance(0.31, 0.18, 0.46))
    assert text.count(" ") == 1  # the one between the chance and its bracket
    assert f"18{words.JOINER}–{words.JOINER}46" in text


def test_hours_carry_their_unit() -> None:
    assert told(words.hours_words(1234.4)) == "1,234 h"
    assert words.hours_words(None) == words.hours_words(float("nan")) == "unknown"


def test_bounds_are_told_only_where_they_say_something() -> None:
    assert told(words.hours_between(111.7, 121.2)) == "112–121 h"
    assert words.hours_between(120.0, 120.3) == ""
    assert words.hours_between(None, None) == ""


def in_own_run(form: DateFormat, write: Callable[[], str]) -> str:
    """What a page writes whose run was told this format; runs know nothing of each other."""

    def run() -> str:
        days.write_days_as(form)
        return write()

    return told(copy_context().run(run))


def test_a_day_is_told_with_its_month_in_letters() -> None:
    assert told(words.day_words(date(2027, 5, 1))) == "1 May 2027"


@pytest.mark.parametrize(
    ("form", "whole", "of_year"),
    [
        ("day-month-year", "1 May 2027", "1 May"),
        ("month-day-year", "May 1, 2027", "May 1"),
        ("iso", "2027-05-01", "2027-05-01"),
    ],
)
def test_a_day_is_told_as_this_run_was_asked_and_no_other(form: DateFormat, whole: str, of_year: str) -> None:
    day = date(2027, 5, 1)
    assert in_own_run(form, lambda: words.day_words(day)) == whole
    assert in_own_run(form, lambda: words.day_of_year_words(day)) == of_year
    assert told(words.day_words(day)) == "1 May 2027"


def test_days_inside_what_the_forecaster_says_follow_too() -> None:
    said = DatedText("opened on ", date(2027, 5, 1))
    for tell in (words.told, words.plain, words.capital):
        assert in_own_run("month-day-year", partial(tell, said)).lower() == "opened on may 1, 2027"
    assert in_own_run("month-day-year", lambda: words.told(WrongUsage(said))) == "opened on May 1, 2027"


# Of 21 May 2027, each part in the notations of Streamlit's fields and tables and of pictures.
PARTS = {"YYYY": "2027", "MMM": "May", "MM": "05", "DD": "21", "D": "21"}
PARTS |= {"%Y": "2027", "%b": "May", "%m": "05", "%-d": "21", "%d": "21", "<br>": " "}


def filled_in(notation: str) -> str:
    """A notation with the parts of that day in their places."""
    return re.sub("|".join(PARTS), lambda part: PARTS[part[0]], notation)


@pytest.mark.parametrize(
    ("form", "field", "axis", "months"),
    [
        ("day-month-year", "21.05.2027", "21 May 2027", "May 2027"),
        ("month-day-year", "05/21/2027", "May 21 2027", "May 2027"),
        ("iso", "2027-05-21", "2027 05-21", "2027-05"),
    ],
)
def test_fields_tables_and_pictures_write_days_in_the_order_of_words(
    form: DateFormat, field: str, axis: str, months: str
) -> None:
    style = days.STYLES[form]
    in_words = in_own_run(form, lambda: words.day_words(date(2027, 5, 21)))
    assert filled_in(style.column) == filled_in(style.hover) == in_words
    assert (filled_in(style.field), filled_in(style.axis), filled_in(style.months)) == (field, axis, months)


def test_counts_agree_with_their_noun() -> None:
    counts = [told(words.count_words(n, "life", "lives")) for n in (0, 1, 2)]
    assert counts == ["no lives", "1 life", "2 lives"]
    assert [words.listed(parts) for parts in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]


@given(st.text(alphabet=st.sampled_from("*_`[]()<>#:$~|!\\{}^=+-.a1 \n"), max_size=40))
def test_a_users_text_is_never_formatting(text: str) -> None:
    safe = words.plain(text)
    assert "\n" not in safe
    plain_again = ""
    characters = iter(safe)
    for character in characters:
        if character == "\\":
            character = next(characters)
        else:
            assert character not in "*_`[]()<>#:$~|!{}^=", f"{character} would be formatting"
        plain_again += character
    assert plain_again == text.replace("\n", " ")
