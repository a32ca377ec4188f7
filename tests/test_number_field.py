"""A number as it is typed: what is accepted is the number that was typed, and what could be another is refused."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster import dashboard_app
from number_field import MOST_DIGITS, NotRead, number_text, range_words, read_number

ANY = (0.0, math.inf)
SIGNED = (-math.inf, math.inf)
SMALL = (0.0, 20.0)
NUMBERS = st.floats(min_value=0, max_value=1e9).map(lambda number: round(number, 2))
TYPED = st.text("0123456789.,- ", max_size=10) | st.from_regex(
    r"\A[ -]?[0-9]{1,7}([.,][0-9]{0,5})?[ mh]?\Z"
)  # what fingers come to type


def refusal(typed: str, limits: tuple[float, float] = ANY, whole: bool = False) -> str:
    """Why a text is refused; it must be."""
    with pytest.raises(NotRead) as refused:
        read_number(typed, limits, whole=whole)
    return str(refused.value)


@pytest.mark.parametrize(
    ("typed", "number"),
    [
        ("0.05", 0.05),
        ("0,05", 0.05),
        (" 13,5 ", 13.5),
        ("\u00a013.5\n", 13.5),
        ("140", 140.0),
        ("0", 0.0),
        ("0,050", 0.05),  # begins with 0: no thousands
        (".05", 0.05),
        (",5", 0.5),
        ("1,2340", 1.234),
        ("12,34", 12.34),
        ("1234,567", 1234.567),  # thousands would have been parted twice
        ("1234.5", 1234.5),
        ("1000000000", 1e9),
    ],
)
def test_a_comma_and_a_point_both_mark_decimals(typed: str, number: float) -> None:
    assert read_number(typed, ANY) == number


@pytest.mark.parametrize("typed", ["", "  ", "\u00a0"])
def test_blank_is_no_number_and_no_fault(typed: str) -> None:
    assert read_number(typed, ANY) is None


@pytest.mark.parametrize("sign", [",", "."])
@pytest.mark.parametrize(("whole", "decimals"), [("1", "234"), ("13", "500"), ("100", "000")])
def test_what_could_be_thousands_or_decimals_is_refused_with_both_ways_to_write_it(
    whole: str, sign: str, decimals: str
) -> None:
    typed = f"{whole}{sign}{decimals}"
    large, small = f"{whole}{decimals}", f"{whole}.{decimals}0"
    assert refusal(typed) == (
        f"“{typed}” can be read in two ways. Write {large} for the large number, or {small} for the small one."
    )
    assert read_number(large, ANY) == float(large)
    assert read_number(small, ANY) == float(small)


def test_a_way_to_write_it_that_the_field_would_not_take_is_not_offered() -> None:
    assert refusal("1,234", SMALL) == "“1,234” can be read in two ways. Write 1.2340 if that is meant."


def test_a_nought_in_front_may_be_a_sign_that_was_lost() -> None:
    assert "Write 5 for the large number, or 0.05 for the small one" in refusal("005")
    assert read_number("0", ANY) == 0


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ("abc", "is not a number. Write it in digits alone"),
        ("0.05 mm", "is not a number"),
        ("1e2", "is not a number"),
        ("0x10", "is not a number"),
        ("nan", "is not a number"),
        ("inf", "is not a number"),
        ("1_000", "is not a number"),
        ("1'234", "is not a number"),
        ("٥", "is not a number"),  # a five in other digits: float() reads it
        ("½", "is not a number"),
        ("+5", "is not a number"),
        ("5-", "is not a number"),
        ("-", "is not a number"),
        (".", "is not a number"),
        ("1.234,5", "has more than one point or comma. Write one at most, before the decimals"),
        ("1,234.5", "has more than one point or comma"),
        ("1,234,567", "has more than one point or comma"),
        ("13,,5", "has more than one point or comma"),
        ("1 234", "has a space in it. Write the number without spaces."),
        ("13, 5", "has a space in it"),
        ("13,", "has no digits after its comma. Write 13 if that is all."),
        ("13.", "has no digits after its point. Write 13 if that is all."),
        ("-3", "is too low: 0 or more is needed."),
        ("\u22123", "is too low"),
        ("-0", "is too low"),
        ("9" * (MOST_DIGITS + 1), f"has more than {MOST_DIGITS} digits"),
        ("0." + "1" * MOST_DIGITS, f"has more than {MOST_DIGITS} digits"),
    ],
)
def test_what_is_no_number_for_certain_is_refused_with_its_reason(typed: str, why: str) -> None:
    assert f"“{typed}” {why}" in refusal(typed)


def test_a_number_beyond_the_limits_is_refused_and_they_are_named() -> None:
    assert refusal("25", SMALL) == "“25” is too high: a number from 0 to 20 is needed."
    assert refusal("0", (0.01, 20.0)) == "“0” is too low: a number from 0.01 to 20 is needed."
    assert range_words((0.0, 1e9)) == "a number from 0 to 1000000000 is needed"
    assert read_number("20", SMALL) == 20
    assert read_number("0", SMALL) == 0


def test_the_limits_are_told_in_the_field_s_own_words_where_it_has_some() -> None:
    with pytest.raises(NotRead, match=r"is too high: engine hours from 0 to 5000 are needed\.$"):
        read_number("6000", (0.0, 5000.0), needed="engine hours from 0 to 5000 are needed")


def test_a_minus_is_read_where_there_may_be_one() -> None:
    assert read_number("-3,5", SIGNED) == read_number("\u22123.5", SIGNED) == -3.5


def test_where_whole_numbers_are_needed_decimals_are_not_cut_off() -> None:
    assert "is not a whole number" in refusal("2,5", whole=True)
    assert read_number("2", ANY, whole=True) == read_number("2,0", ANY, whole=True) == 2


def test_a_long_text_is_repeated_in_part() -> None:
    assert len(refusal("x" * 5000)) < 100


@given(TYPED, st.sampled_from([ANY, SIGNED, SMALL]), st.booleans())
def test_whatever_is_accepted_is_what_was_typed_and_within_its_limits(
    typed: str, limits: tuple[float, float], whole: bool
) -> None:
    try:
        number = read_number(typed, limits, whole=whole)
    except NotRead:
        return
    if number is None:
        assert not typed.strip()
        return
    assert number == float(typed.strip().replace(",", "."))
    assert limits[0] <= number <= limits[1]
    assert not re.fullmatch(r"-?[1-9][0-9]{0,2}[.,][0-9]{3}", typed.strip())


@given(st.text())
def test_nothing_but_digits_with_one_sign_is_accepted(typed: str) -> None:
    try:
        number = read_number(typed, ANY)
    except NotRead:
        return
    assert number is None or re.fullmatch(r"[0-9]*[.,]?[0-9]+", typed.strip())


@given(NUMBERS, st.sampled_from(".,"))
def test_a_number_typed_with_either_sign_is_that_number(number: float, sign: str) -> None:
    assert read_number(f"{number:.2f}".replace(".", sign), ANY) == number


@given(st.integers(0, 10**12 - 1), st.integers(0, 6))
def test_what_a_field_and_a_link_hold_is_read_as_the_same_number(digits: int, decimals: int) -> None:
    number = float(f"{digits}e-{decimals}")
    held = number_text(number)
    assert float(held) == number
    if sum(map(str.isdigit, held)) <= MOST_DIGITS:
        assert read_number(held, ANY) == number


@pytest.mark.parametrize(
    ("number", "held"), [(13.5, "13.5"), (140.0, "140"), (0.05, "0.05"), (1.234, "1.2340"), (1e9, "1000000000")]
)
def test_a_number_is_held_in_plain_digits_that_cannot_be_two(number: float, held: str) -> None:
    assert number_text(number) == held


def test_no_screen_leaves_numbers_to_the_browser() -> None:
    """A browser's own field leaves out what it does not know, so that 0,05 becomes 5."""
    sources = {file.name: file.read_text(encoding="utf-8") for file in dashboard_app().parent.rglob("*.py")}
    assert "number_field.py" in sources
    assert [name for name, source in sources.items() if "number_input(" in source] == []
