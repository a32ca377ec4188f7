"""Texts that people, spreadsheets and ill will put where a date, a number, a word or a name is meant."""

from __future__ import annotations

from hypothesis import strategies as st

from forecaster.records import Column

LONG_NUMBER = "9" * 5_000  # more digits than Python turns into a whole number unasked
NUMBERS = (
    *("0", "-0", "-0.0", "+0", "00", "0.0000001", "1", "-1", "7", "12.5", "137000", "99999", "1048577"),
    *("1e-300", "1e-320", "1e15", "1e16", "1e50", "1e154", "1e300", "1e308", "1.7976931348623157e308", "1e309"),
    *("1,5", "1.234,5", "1 234", "1'234", "0x10", "1_000", "1e", "e5", ".", ".5", "5.", "--5", "1/3", "12:30", "12h"),
    *("nan", "NaN", "inf", "-inf", "Infinity", "١٢", "१२", "²", "½", "１２", "𝟙𝟚", "1\u00a0000"),
    *("1\u202f000", "0" * 400 + "1", "-1e308"),
    *(LONG_NUMBER, "0." + "3" * 5_000, "1" * 310, "9" * 20, "1e99999", "1e-99999"),
)  # fmt: skip
DATES = (
    *("1949-12-31", "1950-01-01", "1969-12-31", "1970-01-01", "1990-01-01", "2024-02-29", "2025-02-29", "2025-06-15"),
    *("2025-7-1", "01/02/2025", "13/02/2025", "02/13/2025", "1.2.2025", "31.12.25", "1 May 2025", "May 1, 2025"),
    *("20250701", "45000", "45000.75", "99999", "2025-07-01T23:59:60Z", "2025-07-01 12:00", "0000-00-00"),
    *("0001-01-01", "2025-W30", "today", "２０２５-07-01"),
    *("1677-09-20", "2100-12-31", "2262-04-12", "9999-12-31", "10000-01-01", "2025-13-01"),
)  # fmt: skip
WORDS = (
    *("=1+1", "=HYPERLINK(\"x\")", "+1", "-1+1", "@SUM(1)", "\t=1", "'=1", "|cmd", "#REF!", "TRUE"),
    *("null", "None", "N/A", "\x1b[31m", "\x7f", "\ufeff", "\u200b", "\u00a0", "\u2028"),
    *('"', '""', "'", ",", ";", "\t", "a,b;c\td|e", "a\nb", "a\rb", "a\r\nb", "\x00", "\x01"),
    *("\u202eabc", "\u2066x\u2069", "a\u0301", "\ufffd", "\U0001f6a4", "Ødegård", "中文", "עברית"),
    *("<script>alert(1)</script>", "[a](javascript:1)", "$x^2$", "**b**", "`c`", "| d |", "&amp;"),
    *(":material/home:", "%00"),
    *("../x", "/", "\\", "{room}", "{0}", "%s", "x" * 81, "x" * 5_000, " padded ", "unknown", "yes", "C001", "S1"),
)  # fmt: skip
ANY = (*NUMBERS, *DATES, *WORDS, "", " ")

any_text = st.one_of(st.sampled_from(ANY), st.text(max_size=12))


def cell_of(column: Column, names: tuple[str, ...]) -> st.SearchStrategy[str]:
    """A cell of a column: mostly what is of its kind and extreme, so that it gets past the first check."""
    by_kind: dict[str, tuple[str, ...]] = {
        "number": NUMBERS,
        "whole": NUMBERS,
        "date": DATES,
        "code": column.codes,
        "text": (*names, *WORDS),
    }
    return st.one_of(st.sampled_from(by_kind[column.kind]), any_text)
