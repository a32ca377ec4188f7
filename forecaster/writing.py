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
from forecaster.records import TABLES, FleetRecords
from forecaster.row_checks import GIVEN_REASON
from forecaster.safe_cells import csv_for_people, neutral_table
from forecaster.settings import SETTINGS_FILE, FleetSettings

# A spreadsheet's own limits: rows of a sheet, characters of a cell.
_MOST_SHEET_ROWS = 1_048_576
_MOST_CELL_CHARACTERS = 32_767


def write_fleet(records: FleetRecords, folder: str | Path) -> list[Path]:
    """Write a fleet folder: one CSV file for each table (also an empty one) and fleet.toml; the files written.

    What `forecaster.reading.read_fleet` then reads are the same records, in the same order. Files of the same names
    are replaced. Raises SourceError where the folder cannot be written.
    """
    texts = {table.file: _csv(records.table(name)) for name, table in TABLES.items()}
    texts[SETTINGS_FILE] = settings_toml(records.settings)
    return [_write(Path(folder) / file, text.encode()) for file, text in texts.items()]


def write_refused(reading: Reading, path: str | Path) -> list[Path]:
    """Write every refused row as it was given, after its file, row and reason; the files written.

    The cells stand under their own headers, so that a mended row can be copied back.

    Into a folder, one CSV file for each table (UTF-8 with a byte order mark, which spreadsheets need to see that it
    is UTF-8), or into one workbook where `path` ends in .xlsx. Nothing is written where nothing was refused. Raises
    SourceError where it cannot be written, or where a row is too much for a workbook.
    """
    tables = {name: _with_place(reading, name) for name, rows in reading.refused.items() if len(rows)}
    if not tables:
        return []
    path = Path(path)
    if path.suffix.casefold() == ".xlsx":
        return [_write(path, _workbook(tables))]
    return [_write(path / f"refused_{TABLES[name].file}", csv_for_people(rows)) for name, rows in tables.items()]


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
    place = {"refused in": file, "refused row": rows.index, "refused because": rows["reason"].to_numpy()}
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


def _write(path: Path, content: bytes) -> Path:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    except OSError as error:
        reason = f"{path} cannot be written ({error.strerror})"
        raise SourceError(f"{reason}. Close it in other programs, or name another place.") from error
    return path
