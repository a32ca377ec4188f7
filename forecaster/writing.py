"""Records and refused rows back into files: a fleet folder that reads as it was written, and a list to mend.

A fleet is written as the contract asks: UTF-8, commas, ISO 8601 dates, plain numbers, blank cells blank. Refused
rows are written as they were given, each with its file, row and reason. In CSV files a text that a spreadsheet could
take for a formula gets a mark, which reading takes away again (``safe_cells``).
"""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from pydantic import BaseModel

from forecaster.errors import SourceError
from forecaster.number_cells import plain_number
from forecaster.problems import Reading
from forecaster.raw_tables import UnreadableFile
from forecaster.records import TABLES, FleetRecords
from forecaster.row_checks import GIVEN_REASON
from forecaster.safe_cells import csv_for_people, neutral_table
from forecaster.settings import SETTINGS_FILE, FleetSettings
from forecaster.workbooks import Workbook
from forecaster.written_files import check_places, undo_killed, write_files

# A spreadsheet's own limits: rows of a sheet, characters of a cell.
_MOST_SHEET_ROWS = 1_048_576
_MOST_CELL_CHARACTERS = 32_767
REFUSED_PREFIX = "refused_"
REFUSED_IN = "refused in"  # header of the first column of a list of refused rows, by which it is known


def write_fleet(records: FleetRecords, folder: str | Path, force: bool = False) -> list[Path]:
    """Write a fleet folder: one CSV file for each table (also an empty one) and fleet.toml; the files written.

    What `forecaster.reading.read_fleet` then reads are the same records, in the same order. Raises WrongUsage where
    files of these names are there already, unless told to write over them by `force`, and where they are those that
    the records were read from; SourceError where the folder cannot be written.
    """
    contents = {Path(folder) / file: content for file, content in fleet_files(records).items()}
    return write_files(contents, records.files, force)


def fleet_files(records: FleetRecords) -> dict[str, bytes]:
    """The files of a fleet folder, by name."""
    texts = {table.file: _csv(records.table(name)) for name, table in TABLES.items()}
    texts[SETTINGS_FILE] = settings_toml(records.settings)
    return {file: text.encode() for file, text in texts.items()}


def write_refused(reading: Reading, path: str | Path, force: bool = False) -> list[Path]:
    """Write every refused row as it was given, after its file, row and reason; the files written.

    The cells stand under their own headers, so that a mended row can be copied back.

    Into a folder, one CSV file for each table (UTF-8 with a byte order mark, which spreadsheets need to see that it
    is UTF-8), or into one workbook where `path` ends in .xlsx. Nothing is written where nothing was refused.

    Lists of an earlier run (``refused_lists``) may hold rows that were mended by hand: raises WrongUsage where there
    are any, unless told by `force` to write over them; those of which nothing is refused any more are then deleted.
    Raises SourceError where a file cannot be written, or where a row is too much for a workbook.
    """
    path = Path(path)
    if _is_workbook(path):  # told whether or not a row was refused this time
        check_places([path], reading.records.files, force=True)
    tables = {name: _with_place(reading, name) for name, rows in reading.refused.items() if len(rows)}
    if not tables and not force:
        return []
    if not tables:
        contents = {}
    elif _is_workbook(path):
        contents = {path: _workbook(tables)}
    else:
        contents = {_refused_file(path, name): csv_for_people(rows) for name, rows in tables.items()}
    earlier = [file for file in refused_lists(path) if file not in contents]
    return write_files(contents, reading.records.files, force, gone=earlier)


def refused_lists(path: str | Path) -> list[Path]:
    """The lists of refused rows that ``write_refused`` wrote to `path` before, as far as they are there still."""
    path = Path(path)
    files = [path] if _is_workbook(path) else [_refused_file(path, name) for name in TABLES]
    undo_killed(files)
    return [file for file in files if file.is_file() and _is_refused_list(file)]


def _is_workbook(path: Path) -> bool:
    return path.suffix.casefold() == ".xlsx"


def _refused_file(folder: Path, table: str) -> Path:
    return folder / f"{REFUSED_PREFIX}{TABLES[table].file}"


def _is_refused_list(file: Path) -> bool:
    """Whether a file begins as our lists do, in whatever way a spreadsheet saved it again."""
    try:
        if _is_workbook(file):
            book = Workbook(file.read_bytes())
            return any(row and row[0] == REFUSED_IN for row in book.rows(book.sheet_names[0])[:1])
        with file.open("rb") as text:
            return is_refused_list(text.read(200))
    except (OSError, UnreadableFile):
        return False


def is_refused_list(content: bytes) -> bool:
    """Whether the bytes of a CSV file begin as our lists of refused rows do."""
    plain = content[:200].replace(b"\0", b"").lstrip(b"\xef\xbb\xbf\xff\xfe\"' ")
    return plain.startswith(REFUSED_IN.encode())


def settings_toml(settings: FleetSettings) -> str:
    """fleet.toml that gives exactly these settings; what is not set is left out."""
    top, sections = [], []
    for name, value in settings:
        if isinstance(value, BaseModel):
            lines = [f"{key} = {_toml(inner)}" for key, inner in value if inner is not None]
            sections.append("\n".join([f"[{name}]", *lines]))
        elif value is not None:
            top.append(f"{name} = {_toml(value)}")
    return "\n\n".join(["\n".join(top), *sections]) + "\n"


def _toml(value: object) -> str:
    if isinstance(value, (int, float)):
        return plain_number(float(value))
    return json.dumps(str(value), ensure_ascii=False)


def _csv(rows: pd.DataFrame) -> str:
    written = pd.DataFrame({name: _texts(rows[name]) for name in rows.columns})
    text: str = neutral_table(written).to_csv(index=False, lineterminator="\n")
    return text


def _texts(column: pd.Series) -> np.ndarray:
    """A column's cells as text; each distinct value is written once."""
    codes, distinct = pd.factorize(column, use_na_sentinel=True)
    words = np.array([*(cell_text(value) for value in distinct), ""], dtype=object)  # code -1, blank, is the last
    return words[codes]


def cell_text(value: Any) -> str:
    """A day, number or text as a cell of the contract's CSV files."""
    if isinstance(value, (date, np.datetime64)):
        return pd.Timestamp(value).date().isoformat()
    if isinstance(value, (float, int, np.number)):
        return plain_number(float(value))
    return str(value)


def _with_place(reading: Reading, name: str) -> pd.DataFrame:
    """A table's refused rows, first their file, row and reason."""
    rows = reading.refused[name]
    file = next((p.file for p in reading.problems if p.table == name), TABLES[name].file)
    place = {REFUSED_IN: file, "refused row": rows.index, "refused because": rows["reason"].to_numpy()}
    given = rows.drop(columns="reason").rename(columns={GIVEN_REASON: "reason"})
    return pd.concat([pd.DataFrame(place, index=rows.index), given], axis=1)


def _workbook(tables: dict[str, pd.DataFrame]) -> bytes:
    """One sheet for each table; cells are texts, so that nothing in them is taken for a formula or a link."""
    from io import BytesIO

    import xlsxwriter

    for name, rows in tables.items():
        longest = max(int(rows[header].astype(str).str.len().max()) for header in rows)
        if len(rows) >= _MOST_SHEET_ROWS or longest > _MOST_CELL_CHARACTERS:
            raise SourceError(f"The refused rows of {name} are too many or too long for a workbook. Name a folder.")
    packed = BytesIO()
    with xlsxwriter.Workbook(packed, {"in_memory": True}) as book:
        heading = book.add_format({"bold": True})
        for name, rows in tables.items():
            sheet = book.add_worksheet(name)
            sheet.freeze_panes(1, 3)
            for column, header in enumerate(rows.columns):
                sheet.write_string(0, column, str(header), heading)
            for number, cells in enumerate(rows.itertuples(index=False, name=None), 1):
                for column, cell in enumerate(cells):
                    if rows.columns[column] == "refused row":
                        sheet.write_number(number, column, cell)
                    elif str(cell):
                        sheet.write_string(number, column, str(cell))
    return packed.getvalue()
