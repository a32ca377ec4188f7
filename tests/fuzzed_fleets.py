"""Strategies of hostile fleets: cells, rows, headers and whole files of a good fleet, spoilt one by one or together.

The good fleets are the small one of the tests and, less often, the sample fleet with its first season's readings.
"""

from __future__ import annotations

import csv
import io
import json
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import strategies as st

from forecaster import open_fleet, sample_fleet_folder
from forecaster.experience import experience_of
from forecaster.records import TABLES
from forecaster.settings import SETTINGS_FILE
from tests.fuzz_runs import ROOM, Case, Odd
from tests.hostile_texts import ANY, NUMBERS, WORDS, any_text, cell_of
from tests.small_fleet import TODAY, small_fleet_folder

Tables = dict[str, list[list[str]]]
FLEET = f"{ROOM}/fleet"
DAY = "2025-11-01"  # of most questions: after the small fleet's last season
NAMES = ("C001", "C002", "C003", "C004", "C999", "S1", "S2", "S3", "S5", "c001", "C001 ")
MOST_READINGS = 150  # of the sample fleet's log: a quick fleet
PRIORS = (Path(__file__).parent.parent / "forecaster" / "priors.toml").read_text(encoding="utf-8")
CHANGES = "unit_id,action,week_of,note\nS1,rebuild,2025-11-10,why\nS2,leave,,\nS3,check,,\n"
# Questions about a fleet, as words before what a case adds: quick ones oftener.
READINGS = (
    ("validate", FLEET, "--refused", f"{ROOM}/refused"),
    ("validate", FLEET, "--refused", f"{ROOM}/refused.xlsx", "--json"),
    ("teardown", FLEET, "--json"),
)
QUESTIONS = (
    *READINGS,
    ("forecast", FLEET),
    ("forecast", FLEET, "--json"),
    ("forecast", FLEET, "--model", "weibull"),
    ("slip", FLEET),
    ("slip", FLEET, "--json"),
    ("interval", FLEET),
    ("interval", FLEET, "--json"),
    ("backtest", FLEET),
    ("flooded", FLEET, "C001"),
    ("flooded", FLEET, "C004", "--json", "--hours-ago", "3"),
    ("teardown", FLEET, "--bearing", "rusted", "--reason", "water"),
    ("experience", "save", FLEET, f"{ROOM}/learned.json"),
    ("compare", FLEET, "S1"),
    ("compare", FLEET, "S5", "--json"),
    ("plan", FLEET),
    ("plan", FLEET, "--json", "--budget", "1500"),
    ("report", FLEET, "--out", f"{ROOM}/paper", "--no-look-back"),
    ("report", FLEET, "--out", f"{ROOM}/paper", "--json", "--owner", "all"),
)


@cache
def good_files(sample: bool = False) -> dict[str, bytes]:
    """A good fleet's files by name."""
    if not sample:
        with TemporaryDirectory() as place:
            folder = small_fleet_folder(Path(place) / "fleet")
            return {file.name: file.read_bytes() for file in sorted(folder.iterdir())}
    files = {f.name: f.read_bytes() for f in sorted(sample_fleet_folder().iterdir()) if f.suffix in (".csv", ".toml")}
    return files | {"hours.csv": b"".join(files["hours.csv"].splitlines(keepends=True)[:MOST_READINGS])}


def tables_of(files: dict[str, bytes]) -> Tables:
    """The rows of each table's file, header first."""
    return {
        name: list(csv.reader(io.StringIO(files[table.file].decode("utf-8"), newline="")))
        for name, table in TABLES.items()
    }


def written(rows: list[list[str]]) -> bytes:
    """Rows as a CSV file's bytes."""
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue().encode("utf-8", "surrogatepass")


@cache
def good_experience() -> str:
    """What the small fleet taught, as its file holds it."""
    with TemporaryDirectory() as place:
        fleet = open_fleet(small_fleet_folder(Path(place) / "fleet"), TODAY)
    return json.dumps(experience_of(fleet.two_stage(TODAY)))


@st.composite
def question(draw: st.DrawFn) -> tuple[str, ...]:
    """A question about the fleet, on some day."""
    words = draw(st.sampled_from(QUESTIONS))
    day = draw(st.sampled_from((DAY, DAY, "2025-07-04", "2026-05-02", "2024-01-01")))
    return (*words, "--as-of", day)


# --- cells, rows, headers ---------------------------------------------------------------------------------------------


@st.composite
def cells(draw: st.DrawFn) -> Case:
    """A fleet some of whose cells, rows and headers are not what they were."""
    files = dict(good_files(sample=draw(st.integers(0, 7)) == 7))
    tables = tables_of(files)
    deep = draw(st.integers(0, 2)) == 2  # asked a question, or only read, which is quick and bears more at once
    did = [_spoil(draw, tables) for _ in range(draw(st.integers(1, 4 if deep else 20)))]
    rows: Tables = {}
    for name, table in TABLES.items():
        files[table.file] = written(tables[name])
        if _countable(tables[name]):
            rows[name] = tables[name]
    laid = {f"fleet/{name}": content for name, content in files.items()}
    words = draw(question()) if deep else (*draw(st.sampled_from(READINGS)), "--as-of", DAY)
    return Case("cells", laid, words, rows, tuple(did))


def _countable(rows: list[list[str]]) -> bool:
    """Whether the number of rows is plain from the table: no cell parts a line, or looks like the header."""
    header = next((row for row in rows if any(cell.strip() for cell in row)), [])
    return bool(header) and not any(
        set(cell) & set('\n\r\x1c\x1d\x1e\x85\u2028\u2029"\ufeff') for row in rows for cell in row
    )


def _spoil(draw: st.DrawFn, tables: Tables) -> str:
    """One thing done to the tables, and said."""
    name = draw(st.sampled_from(tuple(tables)))
    rows = tables[name]
    if len(rows) < 2:
        return f"{name} is empty already"
    how = draw(st.sampled_from(("cell", "cell", "cell", "cell", "column", "row", "header")))
    return {"cell": _cell, "column": _column, "row": _row, "header": _header}[how](draw, name, rows)


def _cell(draw: st.DrawFn, name: str, rows: list[list[str]]) -> str:
    at = draw(st.integers(1, len(rows) - 1))
    if not rows[at]:
        return f"{name} row {at + 1} is blank already"
    place = draw(st.integers(0, len(rows[at]) - 1))
    rows[at][place] = _text_for(draw, name, rows, place)
    return f"{name} row {at + 1} cell {place + 1} = {rows[at][place][:60]!r}"


def _column(draw: st.DrawFn, name: str, rows: list[list[str]]) -> str:
    place = draw(st.integers(0, max(0, len(rows[0]) - 1)))
    texts = [_text_for(draw, name, rows, place) for _ in range(draw(st.integers(1, 3)))]
    for at, row in enumerate(rows[1:]):
        if place < len(row):
            row[place] = texts[at % len(texts)]
    return f"{name} column {place + 1} = {[text[:60] for text in texts]}"


def _text_for(draw: st.DrawFn, name: str, rows: list[list[str]], place: int) -> str:
    header = rows[0][place] if place < len(rows[0]) else ""
    column = TABLES[name].columns.get(header)
    return draw(any_text if column is None else cell_of(column, NAMES))


def _row(draw: st.DrawFn, name: str, rows: list[list[str]]) -> str:
    at, to = draw(st.integers(0, len(rows) - 1)), draw(st.integers(1, len(rows) - 1))
    how = draw(st.sampled_from(("drop", "double", "swap", "cut", "lengthen", "blank", "drop all below", "many")))
    if how == "drop":
        del rows[at]
    elif how == "double":
        rows.insert(to, list(rows[at]))
    elif how == "swap":
        rows[at], rows[to] = rows[to], rows[at]
    elif how == "cut":
        rows[at] = rows[at][: draw(st.integers(0, 3))]
    elif how == "lengthen":
        rows[at] = [*rows[at], *[draw(any_text)] * draw(st.sampled_from((1, 2, 50)))]
    elif how == "blank":
        rows.insert(to, draw(st.sampled_from(([], [""], [" ", "\t"], [""] * 40))))
    elif how == "drop all below":
        del rows[to:]
    else:
        rows[to:to] = [list(rows[to]) for _ in range(200)]
    return f"{name} row {at + 1}: {how} ({to + 1})"


def _header(draw: st.DrawFn, name: str, rows: list[list[str]]) -> str:
    header = rows[0]
    place = draw(st.integers(0, max(0, len(header) - 1)))
    how = draw(st.sampled_from(("rename", "double", "blank", "swap", "drop", "many", "capitals", "reason")))
    if not header:
        return f"{name} has no header already"
    if how == "rename":
        header[place] = draw(any_text)
    elif how == "double":
        other = draw(st.integers(0, len(header) - 1))
        header[place] = header[other]
    elif how == "blank":
        header[place] = ""
    elif how == "swap":
        header[0], header[place] = header[place], header[0]
    elif how == "drop":
        for row in rows:
            del row[place : place + 1]
    elif how == "many":
        more = draw(st.sampled_from((20, 200)))
        rows[0] = [*header, *(draw(st.sampled_from((["x"] * more, [""] * more, [f"x{n}" for n in range(more)]))))]
    elif how == "capitals":
        rows[0] = [text.upper().replace("_", " ") for text in header]
    else:
        header[place] = "reason"
    return f"{name} header {place + 1}: {how} {header[place : place + 1]}"[:120]


# --- whole files ------------------------------------------------------------------------------------------------------

ENCODINGS = ("utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252", "utf-7", "cp500")
BINARY = (
    b"",
    b"\n",
    b"\0",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"PK\x03\x04",
    b"PK\x05\x06" + b"\0" * 18,
    b"%PDF-1.7",
    b"sep=;",
)


@st.composite
def whole_files(draw: st.DrawFn) -> Case:
    """A fleet with files that are missing, empty, damaged, in another encoding, or no files at all."""
    files: dict[str, bytes | Odd] = {f"fleet/{name}": content for name, content in good_files().items()}
    did = []
    for _ in range(draw(st.integers(1, 2))):
        name = draw(st.sampled_from(sorted(files)))
        how = draw(st.sampled_from(("missing", "renamed", "encoded", "cut", "bits", "binary", "parted", "no file")))
        did.append(f"{name}: {how}")
        content = files.pop(name)
        if how == "missing" or not isinstance(content, bytes):
            continue
        if how == "renamed":
            name = draw(st.sampled_from((name.upper(), name + ".csv", name.replace(".csv", " .CSV"), "fleet/x.csv")))
        files[name] = _other_content(draw, how, content)
    return Case("files", files, draw(question()), did=tuple(did))


def _other_content(draw: st.DrawFn, how: str, content: bytes) -> bytes | Odd:
    at = draw(st.integers(0, max(0, len(content) - 1)))
    if how == "encoded":
        return content.decode("utf-8", "replace").encode(draw(st.sampled_from(ENCODINGS)), "replace")
    if how == "cut":
        return content[:at]
    if how == "bits":
        return content[:at] + draw(st.binary(min_size=1, max_size=6)) + content[at + 1 :]
    if how == "binary":
        return draw(st.one_of(st.sampled_from(BINARY), st.binary(max_size=200)))
    if how == "parted":
        return content.replace(b",", draw(st.sampled_from((b";", b"\t", b"|", b" ", b",,", b",\r", b'","'))))
    if how == "no file":
        return draw(st.sampled_from(Odd))
    return content


# --- keys and values --------------------------------------------------------------------------------------------------

VALUES = (
    *("true", "false", "0", "-0.0", "-1", "5", "1e300", "1e308", "1e309", "inf", "nan", "9" * 5_000, "0x7fffffff"),
    *('""', '"x"', '"05-01"', '"13-45"', '"0000"', '"' + "x" * 5_000 + '"', "[]", "[[]]", "{}", "[1, 2]", "{a = 1}"),
    *("[" * 500 + "]" * 500, "2026-01-01", "07:32:00", "1979-05-27T07:32:00Z", '"\\u202e"', "''' x '''", "1_000"),
)  # fmt: skip


@st.composite
def keys(draw: st.DrawFn) -> Case:
    """fleet.toml, priors, experience or changes by hand, with other keys and values than they should have."""
    files: dict[str, bytes | Odd] = {f"fleet/{name}": content for name, content in good_files().items()}
    which = draw(st.sampled_from(("fleet.toml", "priors", "experience", "changes")))
    if which == "fleet.toml":
        text, did = _toml(draw, good_files()[SETTINGS_FILE].decode("utf-8"))
        files["fleet/fleet.toml"] = text.encode("utf-8", "replace")
        return Case("keys", files, draw(question()), did=(did,))
    name = {"priors": "priors.toml", "experience": "learned.json", "changes": "changes.csv"}[which]
    spoil = {"priors": _priors, "experience": _experience, "changes": _changes}[which]
    text, did = spoil(draw)
    files[name] = text.encode("utf-8", "replace")
    commands = ("plan", "report") if which == "changes" else ("forecast", "interval", "compare", "plan", "flooded")
    command = draw(st.sampled_from(commands))
    more = {"compare": ("S1",), "flooded": ("C001",), "report": ("--no-look-back",)}.get(command, ())
    return Case("keys", files, (command, FLEET, *more, f"--{which}", f"{ROOM}/{name}", "--as-of", DAY), did=(did,))


def _toml(draw: st.DrawFn, text: str) -> tuple[str, str]:
    """A TOML file with a line of it changed, or all of it."""
    lines = text.splitlines()
    at = draw(st.integers(0, len(lines) - 1))
    key = lines[at].split("=")[0].strip()
    how = draw(st.sampled_from(("value", "value", "value", "value", "key", "double", "drop", "section", "garbage")))
    value = draw(st.sampled_from(VALUES))
    if how == "value" and "=" in lines[at]:
        lines[at] = f"{key} = {value}"
    elif how == "key":
        lines[at] = f"{draw(st.sampled_from(('x', '', '[[a]]', 'a.b', '[costs]', '[season.x]', 'season')))} = {value}"
    elif how == "double":
        lines.insert(at, lines[at])
    elif how == "drop":
        del lines[at]
    elif how == "section":
        section = draw(st.sampled_from(("season", "costs", "bench", "slip", "water", "spin_check", "unknown_start")))
        lines = [line for line in lines if not line.startswith(f"[{section}]")]
        lines.insert(0, f"{section} = {value}")
    else:
        lines[at] = draw(any_text)
    return "\n".join(lines) + "\n", f"line {at + 1}: {how} {value[:60]}"


def _priors(draw: st.DrawFn) -> tuple[str, str]:
    """priors.toml with some of its numbers replaced, or spoilt as any TOML file is."""
    if draw(st.booleans()):
        return _toml(draw, PRIORS)
    lines = PRIORS.splitlines()
    places = [n for n, line in enumerate(lines) if "= {" in line]
    did = []
    for _ in range(draw(st.integers(1, 6))):
        at = draw(st.sampled_from(places))
        part = draw(st.sampled_from(("median", "spread", "value", "mean", "sd", "values", "tested_ppm")))
        values = ("0.001", "0.01", "0.1", "0.999", "1", "5", "20", "100", "1000", "10000000.0", "0.00001", *VALUES)
        value = draw(st.sampled_from(values))
        before, found, after = lines[at].partition(f"{part} = ")
        if found:
            rest = after[after.find(", ") :] if ", " in after else " }"
            lines[at] = f"{before}{found}{value}{rest}"
            did.append(f"line {at + 1}: {part} = {value[:40]}")
    return "\n".join(lines) + "\n", "; ".join(did)


def _experience(draw: st.DrawFn) -> tuple[str, str]:
    """An experience file with something in it replaced, or cut off."""
    given = json.loads(good_experience())
    key = draw(st.sampled_from(sorted(given)))
    odd: st.SearchStrategy[object] = st.sampled_from(
        (None, True, -1, 0, 1e300, 1e154, 5, 1e-300, "x", [], {}, [[]], [0] * 13, [[0] * 13] * 13, 10**400, "9" * 5_000)
    )
    how = draw(st.sampled_from(("value", "number", "variance", "scale", "drop", "cut", "deep", "digits", "nan")))
    if how == "value":
        given[key] = draw(odd)
    elif how == "number":
        given["mean"][draw(st.integers(0, 12))] = draw(odd)
    elif how == "variance":
        row, column = draw(st.integers(0, 12)), draw(st.integers(0, 12))
        given["covariance"][row][column] = given["covariance"][column][row] = draw(odd)
    elif how == "scale":
        factor = draw(st.sampled_from((0.0, -1.0, 1e-12, 10.0, 1e3, 1e300)))
        given["covariance"] = [[cell * factor for cell in cells] for cells in given["covariance"]]
    elif how == "drop":
        del given[key]
    text = json.dumps(given)
    if how == "cut":
        text = text[: draw(st.integers(0, len(text)))]
    elif how == "deep":
        text = "[" * draw(st.sampled_from((100, 100_000)))
    elif how == "digits":
        text = text.replace('"version": 1', f'"version": {"9" * 5_000}')
    elif how == "nan":
        text = text.replace("[[", draw(st.sampled_from(("[[NaN, ", "[[Infinity, ", "[[-1e999, "))))
    return text, f"{how} {key}"


def _changes(draw: st.DrawFn) -> tuple[str, str]:
    """Changes of a plan by hand, some cells of which are others."""
    rows = [line.split(",") for line in CHANGES.splitlines()]
    did = []
    for _ in range(draw(st.integers(1, 3))):
        at, place = draw(st.integers(0, len(rows) - 1)), draw(st.integers(0, 3))
        actions = ("rebuild", "check", "leave", "2025-11-10", "2026-02-02", "S1", "S3", "S5", *NUMBERS, *WORDS)
        rows[at][place] = draw(st.one_of(st.sampled_from(actions), st.sampled_from(ANY)))
        did.append(f"row {at + 1} cell {place + 1} = {rows[at][place][:60]!r}")
    return written(rows).decode("utf-8"), "; ".join(did)
