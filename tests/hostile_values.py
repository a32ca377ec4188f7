"""Values that nobody means, as TOML and JSON texts and as cells: what the tests of every way in try at every place."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from pathlib import Path

# Each can be the value of a key of TOML.
TOML = (
    *("true", "false", "nan", "inf", "-inf", "-1", "-0", "-0.0", "0", "1", "5", "1e-320", "1e-7", "1e308", "1e400"),
    *("-1e308", "0x1F", "1_000", "9" * 400, "9" * 5_000, "-" + "9" * 4_000, "[]", "[1]", "[[]]", "{}", "{a = 1}"),
    *("1979-05-27", "07:32:00", "1979-05-27T07:32:00Z", '""', '" "', '"650"', '"05-01"', '"a\\nb"', '"\\u202Eabc"'),
    *('"\\u0000"', '"é☂"', f'"{"x" * 100_000}"', "[" * 3_000, "[" * 3_000 + "]" * 3_000, "{a=" * 3_000, "bare", ""),
    *("'\\'", "[true, true]", "[1e308, 1e308]", "[nan, 1.0]", '["a", "b"]'),
)
# Each can be a value of JSON, or is none that a strict reader takes.
JSON = (
    *("true", "false", "null", "NaN", "Infinity", "-Infinity", "-1", "-0.0", "0", "1", "5", "1e-320", "1e308", "1e400"),
    *("-1e308", "9" * 400, "9" * 5_000, "[]", "[1]", "[[]]", "{}", '{"a": 1}', '""', '"1.5"', '"\\u202e"', '"\\ud800"'),
    *(f'"{"x" * 100_000}"', "[" * 100_000, "[" * 3_000 + "]" * 3_000, '{"a":' * 3_000, "bare", "", '{"a": 1, "a": 2}'),
)
# Whole files: what no key is at fault for.
FILES = (
    *(b"", b"\0", b"\xff\xfe\x00", b"\xef\xbb\xbf", b"[", b"{", b"[1, 2]", b"=", b"\xe9", b"a" * 100_000),
    *(b"a." * 20_000 + b"b = 1", b"[" + b"a." * 20_000 + b"b]", b"x = 1\n" * 2, b"#" * 150_000, b" " * 300_000),
    *(b"[[costs]]\n" * 2_000, "\u2028".encode(), "currency = 'é'".encode("latin-1"), "currency = 'e'".encode("utf-16")),
)
# Each can be a cell of a workbook, as its reader gives it.
CELLS = (
    *(
        True,
        False,
        0.0,
        -0.0,
        -1.0,
        1e-320,
        1e308,
        float("nan"),
        float("inf"),
        10**15,
        2.5,
        "",
        " ",
        "650",
        "-0",
        "nan",
    ),
    *("1e5", "5,0", "TRUE", "#DIV/0!", "x" * 32_767, "a\nb", "\u202eabc", "é☂", "9" * 400, date(2026, 5, 1)),
    *(datetime(2026, 5, 1, 12), datetime(9999, 12, 31), time(7, 30), timedelta(days=40_000), timedelta(0)),
)
# Each can be the value of an option.
WORDS = (
    *("1e50", "1e308", "1e999", "-1", "nan", "inf", "-inf", "1e-300", "-0", "-0.0", "1000000000", "9" * 5_000, "0x10"),
    *("1_000", "\u0663", "", " ", "true", "5,0", "0001-01-01", "1989-12-31", "2101-01-01", "9999-12-31", "2026-02-30"),
    *("x" * 5_000, "\udcff", "\u202e", "nowhere.json", "S1:rebuild:9999-12-31", "S1:check:0001-01-01", "::::"),
)
LONGEST_LINE = 600  # characters: of a refusal, whatever was refused


def is_plain(told: str) -> None:
    """Assert that a refusal can be read: short lines of signs that can be seen, each ending as a sentence does."""
    for line in told.splitlines():
        assert line.isprintable(), repr(line)
        assert len(line) <= LONGEST_LINE, f"{len(line)} characters: {line[:200]}"
        assert line.rstrip()[-1] in ".?:`", line


def written(path: Path, content: bytes) -> Path:
    """A file with this content."""
    path.write_bytes(content)
    return path
