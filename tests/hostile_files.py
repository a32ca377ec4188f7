"""Files that ask for far more time or memory than they take on a disk: each small, each in one known way.

Every maker writes a fleet under `folder` that is good but for the one thing, grown with `size`, and returns what is
to be read: a folder, a workbook or a ZIP. `MAKERS` lists them by what is wrong with each, with a size of a few
megabytes at most on the disk.
"""

from __future__ import annotations

import io
import random
import shutil
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tests.small_fleet import small_fleet_folder

NOISE = 3_000_000
HOURS = b"craft_id,read_on,meter,new_meter\n"
READING = b"C001,2025-12-%02d,%d,\n"
_RELATIONS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"
_SHEETS = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_HEADER_CELLS = b'<c r="A1" t="s"><v>0</v></c><c r="B1" t="s"><v>1</v></c><c r="C1" t="s"><v>2</v></c>'


@dataclass(frozen=True)
class Hostile:
    """How one hostile source is made, and the size at which it is tried."""

    make: Callable[[Path, int], Path]
    size: int


# --- folders --------------------------------------------------------------------------------------------------------


def _with(folder: Path, file: str, content: bytes) -> Path:
    """The small good fleet with one file in place of its own."""
    fleet = small_fleet_folder(folder / "fleet")
    (fleet / file).write_bytes(content)
    return fleet


def equal_headers(folder: Path, size: int) -> Path:
    """One header many times over."""
    return _with(folder, "hours.csv", b"craft_id,read_on,meter" + b",x" * size + b"\nC001,2025-12-01,500\n")


def blank_columns(folder: Path, size: int) -> Path:
    """Columns to the end of a spreadsheet with nothing in them."""
    blank = b"," * size
    rows = [b"C001,2025-12-%02d,%d" % (day, 500 + day) + blank for day in range(1, 29)]
    return _with(folder, "hours.csv", b"\n".join([b"craft_id,read_on,meter" + blank, *rows, b""]))


def endless_header(folder: Path, size: int) -> Path:
    """A header of a million columns."""
    return _with(folder, "hours.csv", b"craft_id,read_on,meter" + b"".join(b",c%d" % n for n in range(size)) + b"\n")


def wide_and_long(folder: Path, size: int) -> Path:
    """A wide header above many blank lines: few bytes, and a cell for each line and column."""
    return _with(folder, "hours.csv", b"craft_id,read_on,meter" + b"," * 16_000 + b"\n" * size)


def long_row(folder: Path, size: int) -> Path:
    """One row with far more cells than the header, all filled."""
    return _with(folder, "hours.csv", HOURS + b"C001,2025-12-01,500" + b",1" * size + b"\n")


def long_id(folder: Path, size: int) -> Path:
    """A craft's name of megabytes."""
    return _with(folder, "hours.csv", HOURS + b"C" * size + b",2025-12-01,500,\n")


def long_word(folder: Path, size: int) -> Path:
    """A word of megabytes where one of a few is expected."""
    return _with(folder, "hours.csv", HOURS + b"C001,2025-12-01,500," + b"yes " * (size // 4) + b"\n")


def long_number(folder: Path, size: int) -> Path:
    """Digits by the megabyte."""
    return _with(folder, "hours.csv", HOURS + b"C001,2025-12-01," + b"1" * size + b"x1,\n")


def long_day(folder: Path, size: int) -> Path:
    """A day followed by megabytes of blanks and a letter."""
    return _with(folder, "hours.csv", HOURS + b"C001,2025-12-01" + b" " * size + b"x,500,\n")


def long_line(folder: Path, size: int) -> Path:
    """No line break at all."""
    return _with(folder, "hours.csv", b"craft_id read_on meter " * (size // 23))


def strange_words(folder: Path, size: int) -> Path:
    """Words that are none of those expected, each another one."""
    rows = b"".join(b"C001,2025-12-01,500,yess%d\n" % n for n in range(size))
    return _with(folder, "hours.csv", HOURS + rows)


def bad_rows(folder: Path, size: int) -> Path:
    """Rows of which no cell can be used."""
    return _with(folder, "hours.csv", HOURS + b"".join(b",%d-13-45,-%d,2\n" % (n, n) for n in range(size)))


def empty_rows_but_one(folder: Path, size: int) -> Path:
    """Rows of one letter: every cell that is needed is missing."""
    return _with(folder, "hours.csv", HOURS + b"a\n" * size)


def unknown_craft(folder: Path, size: int) -> Path:
    """Readings of craft that are nowhere, each another one."""
    rows = b"".join(b"X%07d,2025-12-01,500,\n" % n for n in range(size))
    return _with(folder, "hours.csv", HOURS + rows)


def many_craft(folder: Path, size: int) -> Path:
    """Craft by the hundred thousand, and readings of others that are nearly called so."""
    fleet = _with(folder, "craft.csv", b"craft_id\n" + b"".join(b"C%07d\n" % n for n in range(size)))
    (fleet / "hours.csv").write_bytes(HOURS + b"".join(b"C%07dx,2025-12-01,500,\n" % n for n in range(200)))
    return fleet


def craft_over_and_over(folder: Path, size: int) -> Path:
    """One craft described again and again, each time in another way."""
    return _with(folder, "craft.csv", b"craft_id,name\n" + b"".join(b"C001,%d\n" % n for n in range(size)))


def fittings_of_one_craft(folder: Path, size: int) -> Path:
    """Units by the thousand on one craft at the same time, and a water incident of it that is refused."""
    rows = b"".join(b"S%06d,C001,2025-04-10\n" % n for n in range(size))
    return _with(folder, "fittings.csv", b"unit_id,craft_id,fitted_on\n" + rows)


def incidents_of_one_craft(folder: Path, size: int) -> Path:
    """Water incidents by the thousand of one craft on two days."""
    rows = b"".join(b"C001,2025-06-%02d,leak,%d\n" % (10 + n % 2, n) for n in range(size))
    return _with(folder, "water.csv", b"craft_id,happened_on,kind,treated_within_h\n" + rows)


def refused_incidents_of_one_craft(folder: Path, size: int) -> Path:
    """Refused water incidents of one craft that had many units."""
    days = [f"{2000 + n // 300}-{1 + n // 28 % 12:02d}-{1 + n % 28:02d}" for n in range(size)]
    rows = "".join(f"S{n % 50:06d},C001,{day},{day}\n" for n, day in enumerate(days))
    fleet = _with(folder, "fittings.csv", b"unit_id,craft_id,fitted_on,removed_on\n" + rows.encode())
    rows = "".join(f"C001,,leak,{n}\n" for n in range(size))
    (fleet / "water.csv").write_text("craft_id,happened_on,kind,treated_within_h\n" + rows)
    return fleet


def openings_of_one_day(folder: Path, size: int) -> Path:
    """One unit opened again and again on one day."""
    rows = b"".join(b"S1,2025-07-02,water,rusted,rebuilt,%d\n" % n for n in range(size))
    return _with(folder, "rebuilds.csv", b"unit_id,opened_on,reason,bearing,outcome,hours\n" + rows)


def meter_up_and_down(folder: Path, size: int) -> Path:
    """One craft's meter that goes up and down with every reading."""
    days = [f"{1990 + n // 336}-{1 + n // 28 % 12:02d}-{1 + n % 28:02d}" for n in range(size)]
    rows = "".join(f"C001,{day},{n * 7919 % 10_007}\n" for n, day in enumerate(days))
    return _with(folder, "hours.csv", b"craft_id,read_on,meter\n" + rows.encode())


def meter_readings_of_one_day(folder: Path, size: int) -> Path:
    """Readings of one craft on one day, each another one."""
    return _with(folder, "hours.csv", HOURS + b"".join(b"C001,2025-12-01,%d,\n" % (500 + n) for n in range(size)))


def open_quotes(folder: Path, size: int) -> Path:
    """A quotation mark left open in every line."""
    return _with(folder, "hours.csv", HOURS + b'"\n' * size)


def quotes_that_swallow(folder: Path, size: int) -> Path:
    """A hundred quotation marks left open, each of which turns all that follows into cells over several lines."""
    rows = b'C001,2025-12-01,"500\n' * 90 + b'",x,"\n' * size
    return _with(folder, "hours.csv", HOURS + rows)


def quotes_with_line_breaks(folder: Path, size: int) -> Path:
    """Cells with line breaks in one endless record."""
    return _with(folder, "hours.csv", HOURS + b'"C001\n",' * size)


def declared_and_blank(folder: Path, size: int) -> Path:
    """``sep=`` over and over before a header."""
    return _with(folder, "hours.csv", b"sep=;\n" * size + HOURS)


def strange_settings(folder: Path, size: int) -> Path:
    """Settings with keys that nobody knows."""
    return _with(folder, "fleet.toml", b"[costs]\n" + b"".join(b"rebuilds%d=1\n" % n for n in range(size)))


def many_files(folder: Path, size: int) -> Path:
    """Files by the thousand beside the fleet's own."""
    fleet = small_fleet_folder(folder / "fleet")
    for number in range(size):
        (fleet / f"hours {number}.csv").touch()
    return fleet


# --- workbooks ------------------------------------------------------------------------------------------------------


def workbook(
    path: Path,
    hours: bytes,
    strings: bytes = b"",
    styles: bytes = b"",
    more: dict[str, bytes] | None = None,
    settings: bytes = b"",
    noise: int = NOISE,
) -> Path:
    """A workbook of the sheets craft, fittings and hours, the last with this XML; `strings` after the usual ones.

    `noise`: bytes that cannot be packed, so that the workbook as a whole is packed to no more than usual.
    """
    craft = b'<row r="1"><c r="A1" t="s"><v>0</v></c></row><row r="2"><c r="A2" t="s"><v>3</v></c></row>'
    fittings = (
        b'<row r="1"><c r="A1" t="s"><v>4</v></c><c r="B1" t="s"><v>0</v></c><c r="C1" t="s"><v>5</v></c></row>'
        b'<row r="2"><c r="A2" t="s"><v>6</v></c><c r="B2" t="s"><v>3</v></c><c r="C2" t="s"><v>7</v></c></row>'
    )
    words = ("craft_id", "read_on", "meter", "C001", "unit_id", "fitted_on", "S1", "2025-04-10", "2025-12-01")
    shared = "".join(f"<si><t>{word}</t></si>" for word in words).encode()
    names = ("craft", "fittings", "hours", *(["fleet"] if settings else []))
    sheets = "".join(f'<sheet name="{name}" sheetId="{n}" r:id="r{n}"/>' for n, name in enumerate(names, 1))
    links = "".join(
        f'<Relationship Id="r{n}" Type="{_RELATIONS}/worksheet" Target="worksheets/sheet{n}.xml"/>'
        for n in range(1, len(names) + 1)
    )
    parts = {
        "[Content_Types].xml": "<Types/>",
        "_rels/.rels": f'<Relationships xmlns="{_PACKAGE}"><Relationship Id="r1" Type="{_RELATIONS}/officeDocument" '
        'Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{_SHEETS}" xmlns:r="{_RELATIONS}"><sheets>{sheets}</sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_PACKAGE}">{links}</Relationships>',
    }
    whole = {name: text.encode() for name, text in parts.items()}
    whole["xl/worksheets/sheet1.xml"] = sheet(craft)
    whole["xl/worksheets/sheet2.xml"] = sheet(fittings)
    whole["xl/worksheets/sheet3.xml"] = hours
    whole["xl/sharedStrings.xml"] = b'<sst xmlns="%s">' % _SHEETS.encode() + shared + strings + b"</sst>"
    if settings:
        whole["xl/worksheets/sheet4.xml"] = settings
    if styles:
        whole["xl/styles.xml"] = styles
    if noise:
        whole["xl/noise.xml"] = random.Random(1).randbytes(noise)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, part in {**whole, **(more or {})}.items():
            packed.writestr(name, part)
    return path


def sheet(rows: bytes) -> bytes:
    """A sheet's XML around its rows."""
    return b'<worksheet xmlns="%s"><sheetData>' % _SHEETS.encode() + rows + b"</sheetData></worksheet>"


def with_readings(rows: bytes, after: bytes = b"") -> bytes:
    """A sheet hours with its header and these rows."""
    return sheet(b'<row r="1">' + _HEADER_CELLS + b"</row>" + rows).replace(b"</worksheet>", after + b"</worksheet>")


def _reading(row: int, cells: bytes = b"") -> bytes:
    return b'<row r="%d"><c r="A%d" t="s"><v>3</v></c><c r="B%d" t="s"><v>8</v></c><c r="C%d"><v>%d</v></c>%s</row>' % (
        row,
        row,
        row,
        row,
        row,
        cells,
    )


def unclosed_cells(folder: Path, size: int) -> Path:
    """Cells that begin and never end, after one far out, and a place after all of them."""
    cells = b"<row>" + b"<c " * size + b' r="A1"'
    return workbook(folder / "book.xlsx", with_readings(_reading(99_999) + cells))


def far_and_malformed(folder: Path, size: int) -> Path:
    """A far cell whose place is never closed, so that no row can be told."""
    return workbook(folder / "book.xlsx", b'<worksheet><sheetData><row><c r="AA1' + b"A" * size)


def places_of_any_length(folder: Path, size: int) -> Path:
    """A cell in a column and a row that have as many letters and digits as there are."""
    place = b'<row r="2"><c r="%s%s"><v>1</v></c></row>' % (b"A" * size, b"9" * size)
    return workbook(folder / "book.xlsx", with_readings(place))


def stray_cell(folder: Path, size: int) -> Path:
    """One cell at the far corner."""
    return workbook(folder / "book.xlsx", with_readings(b'<row r="%d"><c r="XFD%d"><v>1</v></c></row>' % (size, size)))


def rows_in_disorder(folder: Path, size: int) -> Path:
    """Rows from the last to the first."""
    return workbook(folder / "book.xlsx", sheet(b"".join(_reading(row) for row in range(size, 1, -1))))


def cells_of_one_place(folder: Path, size: int) -> Path:
    """One cell, given again and again."""
    return workbook(folder / "book.xlsx", with_readings(b'<row r="2">' + b'<c r="A2"><v>1</v></c>' * size + b"</row>"))


def empty_cells(folder: Path, size: int) -> Path:
    """Cells that hold nothing and say nothing of their place."""
    return workbook(folder / "book.xlsx", with_readings((b"<row>" + b"<c/>" * 15 + b"</row>") * (size // 15)))


def equal_rows(folder: Path, size: int) -> Path:
    """The same reading, row upon row."""
    return workbook(folder / "book.xlsx", with_readings(b"".join(_reading(row) for row in range(2, size))))


def long_shared_text(folder: Path, size: int) -> Path:
    """One text of 30,000 characters that every cell refers to."""
    row = b'<row r="%d">' + b"".join(b'<c r="%c%%d" t="s"><v>9</v></c>' % (65 + at) for at in range(10)) + b"</row>"
    rows = b"".join(row % ((number,) * 11) for number in range(2, size // 10))
    return workbook(folder / "book.xlsx", with_readings(rows), strings=b"<si><t>" + b"x" * 30_000 + b"</t></si>")


def endless_shared_text(folder: Path, size: int) -> Path:
    """One shared text of megabytes."""
    cell = b'<c r="D2" t="s"><v>9</v></c>'
    text = b"<si><t>" + b"x" * size + b"</t></si>"
    return workbook(folder / "book.xlsx", with_readings(_reading(2, cell)), strings=text)


def many_shared_texts(folder: Path, size: int) -> Path:
    """Shared texts that no cell refers to."""
    return workbook(folder / "book.xlsx", with_readings(_reading(2)), strings=b"<si><t>x</t></si>" * size)


def endless_inline_text(folder: Path, size: int) -> Path:
    """A text of megabytes within its cell."""
    cell = b'<c r="D2" t="inlineStr"><is><t>' + b"x" * size + b"</t></is></c>"
    return workbook(folder / "book.xlsx", with_readings(_reading(2, cell)))


def endless_formula(folder: Path, size: int) -> Path:
    """A formula of megabytes without a value, in many pieces."""
    cell = b'<c r="D2"><f>' + b"1+&amp;" * (size // 7) + b"</f></c>"
    return workbook(folder / "book.xlsx", with_readings(_reading(2, cell)))


def formulas_without_values(folder: Path, size: int) -> Path:
    """Cells by the hundred thousand whose formula has no stored value."""
    rows = b"".join(b'<row r="%d"><c r="C%d"><f>1+1</f></c></row>' % (row, row) for row in range(2, size))
    return workbook(folder / "book.xlsx", with_readings(rows))


def merged_ranges(folder: Path, size: int) -> Path:
    """Merged ranges by the hundred thousand, each over all rows."""
    merged = b"<mergeCells>" + b'<mergeCell ref="A2:C1048576"/>' * size + b"</mergeCells>"
    return workbook(folder / "book.xlsx", with_readings(_reading(2) + _reading(9_000), merged))


def many_styles(folder: Path, size: int) -> Path:
    """Formats of cells by the million."""
    styles = b'<styleSheet><cellXfs count="%d">' % size + b'<xf numFmtId="0"/>' * size + b"</cellXfs></styleSheet>"
    return workbook(folder / "book.xlsx", with_readings(_reading(2)), styles=styles)


def settings_by_the_hundred_thousand(folder: Path, size: int) -> Path:
    """A sheet of settings with a key in every row, none of them known."""
    cells = b'<row r="%d"><c r="A%d" t="inlineStr"><is><t>costs.x%d</t></is></c><c r="B%d"><v>1</v></c></row>'
    rows = b"".join(cells % ((row,) * 4) for row in range(1, size))
    return workbook(folder / "book.xlsx", with_readings(_reading(2)), settings=sheet(rows))


def endless_setting(folder: Path, size: int) -> Path:
    """A sheet of settings with a key of megabytes."""
    cell = b'<row r="1"><c r="A1" t="inlineStr"><is><t>' + b"x" * size + b"</t></is></c></row>"
    return workbook(folder / "book.xlsx", with_readings(_reading(2)), settings=sheet(cell))


def many_sheets(folder: Path, size: int) -> Path:
    """A workbook that lists sheet upon sheet."""
    path = workbook(folder / "book.xlsx", with_readings(_reading(2)))
    with zipfile.ZipFile(path) as packed:
        parts = {info.filename: packed.read(info) for info in packed.infolist()}
    more = b"".join(b'<sheet name="s%d" sheetId="9" r:id="r1"/>' % n for n in range(size))
    parts["xl/workbook.xml"] = parts["xl/workbook.xml"].replace(b"</sheets>", more + b"</sheets>")
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, part in parts.items():
            packed.writestr(name, part)
    return path


def part_that_nobody_needs(folder: Path, size: int) -> Path:
    """A workbook with a part that is not read and unpacks to far more than it is."""
    return workbook(folder / "book.xlsx", with_readings(_reading(2)), more={"xl/theme/theme1.xml": b" " * size})


def many_parts(folder: Path, size: int) -> Path:
    """A workbook of very many parts."""
    return workbook(
        folder / "book.xlsx", with_readings(_reading(2)), more={f"xl/drawings/d{n}.xml": b"" for n in range(size)}
    )


# --- ZIPs -----------------------------------------------------------------------------------------------------------


def _zip(folder: Path, members: dict[str, bytes]) -> Path:
    """The small good fleet as a ZIP, with these members in place of or beside its own."""
    fleet = small_fleet_folder(folder / "fleet")
    content = {f"fleet/{file.name}": file.read_bytes() for file in fleet.iterdir()} | members
    shutil.rmtree(fleet)
    path = folder / "fleet.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, text in content.items():
            packed.writestr(name, text)
    return path


def zipped_equal_rows(folder: Path, size: int) -> Path:
    """A table of one reading over and over, packed to a thousandth."""
    return _zip(folder, {"fleet/hours.csv": HOURS + b"C001,2025-12-01,500,\n" * size})


def zipped_letters(folder: Path, size: int) -> Path:
    """A table of rows of one letter, packed to a thousandth."""
    return _zip(folder, {"fleet/hours.csv": HOURS + b"a\n" * size})


def zipped_many_members(folder: Path, size: int) -> Path:
    """A ZIP of very many files."""
    return _zip(folder, {f"fleet/more {n}.csv": b"" for n in range(size)})


def zipped_workbook(folder: Path, size: int) -> Path:
    """A ZIP of a workbook that itself unpacks to far more: packed twice, a millionth."""
    rows = b"".join(_reading(row) for row in range(2, 50_000))
    book = workbook(folder / "book.xlsx", with_readings(rows, b" " * size))
    stored = io.BytesIO()
    with zipfile.ZipFile(book) as packed, zipfile.ZipFile(stored, "w", zipfile.ZIP_STORED) as anew:
        for info in packed.infolist():
            anew.writestr(info.filename, packed.read(info))
    book.unlink()
    path = folder / "fleet.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as outer:
        outer.writestr("book.xlsx", stored.getvalue())
    return path


def overlapping_members(folder: Path, size: int) -> Path:
    """Members of a ZIP that all name the same packed bytes."""
    path = _zip(folder, {"fleet/hours.csv": HOURS + b"C001,2025-12-01,500,\n" * 50_000})
    content = path.read_bytes()
    with zipfile.ZipFile(path) as packed:
        start = packed.start_dir
        entries = {info.filename: info for info in packed.infolist()}
    hours = content.find(b"PK\x01\x02", content.find(b"fleet/hours.csv", start) - 46)
    entry = content[hours : hours + 46 + len(b"fleet/hours.csv")]
    assert entry[:4] == b"PK\x01\x02", entries
    copies = b"".join(entry[:46] + b"fleet/hour%c%c.csv" % (97 + n // 26, 97 + n % 26) for n in range(size))
    copies = copies.replace(b"fleet/hour", b"fleet/hou")  # names of one length
    directory = content[start : content.rfind(b"PK\x05\x06")] + copies
    count = (len(entries) + size).to_bytes(2, "little")
    end = b"PK\x05\x06" + b"\0" * 4 + count * 2 + len(directory).to_bytes(4, "little") + start.to_bytes(4, "little")
    path.write_bytes(content[:start] + directory + end + b"\0\0")
    return path


MAKERS: dict[str, Hostile] = {
    maker.__name__: Hostile(maker, size)
    for maker, size in (
        (equal_headers, 20_000),
        (blank_columns, 16_372),
        (endless_header, 1_000_000),
        (wide_and_long, 1_000_000),
        (long_row, 1_000_000),
        (long_id, 10_000_000),
        (long_word, 10_000_000),
        (long_number, 10_000_000),
        (long_day, 10_000_000),
        (long_line, 10_000_000),
        (strange_words, 100_000),
        (bad_rows, 100_000),
        (empty_rows_but_one, 700_000),
        (unknown_craft, 80_000),
        (many_craft, 100_000),
        (craft_over_and_over, 80_000),
        (fittings_of_one_craft, 50_000),
        (incidents_of_one_craft, 60_000),
        (refused_incidents_of_one_craft, 10_000),
        (openings_of_one_day, 50_000),
        (meter_up_and_down, 12_000),
        (meter_readings_of_one_day, 50_000),
        (open_quotes, 1_000_000),
        (quotes_that_swallow, 200_000),
        (quotes_with_line_breaks, 200_000),
        (declared_and_blank, 500_000),
        (strange_settings, 50_000),
        (many_files, 500),
        (unclosed_cells, 90_000),
        (far_and_malformed, 1_000_000),
        (places_of_any_length, 100_000),
        (stray_cell, 1_048_576),
        (rows_in_disorder, 50_000),
        (cells_of_one_place, 1_500_000),
        (empty_cells, 10_000_000),
        (equal_rows, 80_000),
        (long_shared_text, 1_000_000),
        (endless_shared_text, 80_000_000),
        (many_shared_texts, 5_000_000),
        (endless_inline_text, 30_000_000),
        (endless_formula, 30_000_000),
        (formulas_without_values, 200_000),
        (merged_ranges, 500_000),
        (many_styles, 2_000_000),
        (settings_by_the_hundred_thousand, 50_000),
        (endless_setting, 30_000_000),
        (many_sheets, 200_000),
        (part_that_nobody_needs, 500_000_000),
        (many_parts, 4_000),
        (zipped_equal_rows, 4_000_000),
        (zipped_letters, 100_000_000),
        (zipped_many_members, 50_000),
        (zipped_workbook, 150_000_000),
        (overlapping_members, 200),
    )
}
