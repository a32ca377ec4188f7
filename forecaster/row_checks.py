"""One table on its own: every cell against the contract, rows that repeat, and what becomes of a row at fault.

What becomes of a row whose cell cannot be used:

- a cell that only describes, and without which the rest of the row stays true and useful (``LEFT_BLANK``), counts
  as not recorded: the row is used, and the problem keeps the cell's text;
- any other cell refuses its row, since the answer would hang on a guess. The row is kept as it was given.

A table without a required column cannot be used at all. Columns that the contract does not know are kept aside.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from forecaster.cells import Fault, ParsedTexts, parse_codes, parse_texts
from forecaster.date_cells import parse_dates
from forecaster.headers import Headers, contract_word, missing_columns, recognise_headers
from forecaster.number_cells import parse_numbers
from forecaster.problems import Problem
from forecaster.raw_tables import RawTable
from forecaster.records import TABLES, Column, Table, empty_frame

# Of a craft everything but its name: other rows hang on the craft, and "not recorded" is an honest answer for each. An
# opening without the hours that a customer states still tells what was found, and water that was treated nobody knows
# when is still water: refused, a failure or an incident would be lost, and every risk the milder for it.
LEFT_BLANK: dict[str, frozenset[str]] = {
    "craft": frozenset(TABLES["craft"].columns) - {"craft_id"},
    "fittings": frozenset(),
    "hours": frozenset(),
    "water": frozenset({"water", "oil", "treated_within_h"}),
    "rebuilds": frozenset({"impeller", "front_housing", "hours", "slip_found", "slip_set", "cost"}),
    "checks": frozenset({"shaft_play_mm", "boost_kpa", "slip", "oil", "oil_water_ppm"}),
}
# The first of these must not be after the second.
IN_ORDER = {"craft": ("in_service_on", "retired_on"), "fittings": ("fitted_on", "removed_on")}
# The refused rows' own column ``reason`` says why they are refused; that of rebuilds.csv is kept under this name.
GIVEN_REASON = "reason (given)"
# Two equal readings of one day are no contradiction, and equal rows of any other table are one row typed twice.
MAY_REPEAT = frozenset({"hours"})


@dataclass(frozen=True)
class CheckedTable:
    """A table after its checks: all rows in the contract's columns, and which of them are refused for what.

    ``rows`` holds refused rows too (unusable cells blank), for the checks that ask what a refused row was about.
    ``repeats`` are refused rows that only repeat another: nothing is lost with them. ``source`` is None where there
    is no such file.
    """

    table: Table
    file: str
    rows: pd.DataFrame
    source: RawTable | None = None
    kept_aside: pd.DataFrame | None = None
    problems: tuple[Problem, ...] = ()
    reasons: dict[int, list[str]] = field(default_factory=dict)  # row -> why it is refused
    repeats: frozenset[int] = frozenset()
    held_back: frozenset[int] = frozenset()  # rows that are used, and from which nothing is learned about others
    unusable: bool = False  # as a whole: a required column is missing, or the file cannot be read

    @property
    def accepted(self) -> pd.DataFrame:
        """The rows that are used."""
        if not self.reasons:
            return self.rows
        return self.rows[~self.rows.index.isin(list(self.reasons))]

    def with_problems(self, problems: Iterable[Problem]) -> CheckedTable:
        """The same table with more problems; the rows that they refuse are refused."""
        new = tuple(problems)
        if not new:
            return self
        reasons = {row: list(why) for row, why in self.reasons.items()}
        for problem in new:
            if problem.refused and problem.row is not None:
                reasons.setdefault(problem.row, []).append(problem.reason)
        asked = {problem.row for problem in new if problem.held_back and problem.row is not None}
        held_back = (self.held_back | asked) - set(reasons)
        return replace(self, problems=self.problems + new, reasons=reasons, held_back=frozenset(held_back))

    def refused(self) -> pd.DataFrame:
        """The refused rows as they were given, and why in the column ``reason``; index ``row``."""
        if self.source is None:
            return pd.DataFrame({"reason": []}, index=pd.Index([], name="row", dtype="int64"))
        rows = self.source.cells.index[self.source.cells.index.isin(list(self.reasons))]
        given = as_given(self.source, range(len(self.source.headers)), rows)
        given["reason"] = pd.Series([". ".join(dict.fromkeys(self.reasons[row])) for row in rows], rows, dtype=object)
        return given


def each(rows: pd.DataFrame, *columns: str) -> Iterator[tuple[Any, ...]]:
    """Row number and the named cells of each row."""
    return zip(rows.index.tolist(), *(rows[column].tolist() for column in columns), strict=True)


def as_given(raw: RawTable, positions: Iterable[int], rows: pd.Index | None = None) -> pd.DataFrame:
    """Cells as text under their own headers; one without a header is numbered, and none is called ``reason``."""
    cells = raw.cells if rows is None else raw.cells.loc[rows]
    named: dict[str, pd.Series] = {}
    for position in positions:
        name = raw.headers[position].strip() or f"column {position + 1}"
        name = GIVEN_REASON if name == "reason" else name
        while name in named:
            name += " (again)"
        named[name] = cells[position].astype(object)
    return pd.DataFrame(named, index=cells.index)


def check_table(raw: RawTable, today: date) -> CheckedTable:
    """Check one table on its own against the contract; nothing dated after `today` is accepted.

    All faults of all rows are reported. Each distinct text is parsed once, so that the time goes with their number.
    """
    table = TABLES[raw.table]
    filled = [_holds_something(raw, position) for position in range(len(raw.headers))]
    headers = recognise_headers(raw.headers, table, raw.file, filled, raw.header_row)
    checked = CheckedTable(
        table=table,
        file=raw.file,
        rows=empty_frame(table.name).reindex(raw.cells.index),
        source=raw,
        kept_aside=as_given(raw, headers.unknown.values()) if headers.unknown else None,
    )
    checked = checked.with_problems([*raw.problems, *headers.problems])
    problems: list[Problem] = []
    columns: dict[str, pd.Series] = {}
    for column in table.columns.values():
        columns[column.name] = _check_column(raw, headers, column, today, problems)
    checked = replace(checked, rows=pd.DataFrame(columns, index=raw.cells.index))
    if headers.missing:
        return _refuse_all(checked, headers)
    checked = checked.with_problems(_not_told_before(problems, raw))
    checked = _check_order(checked)
    checked = _check_repeats(checked)
    return _check_keys(checked)


def _holds_something(raw: RawTable, position: int) -> bool:
    return any(not text.isspace() and text != "" for text in raw.cells[position].cat.categories)


def _refuse_all(checked: CheckedTable, headers: Headers) -> CheckedTable:
    raw = checked.source
    assert raw is not None
    hint = f" Row {raw.looks_like_header} looks like the header." if raw.looks_like_header else ""
    problems = missing_columns(headers, raw.headers, checked.table, checked.file, hint)
    reason = ". ".join(problem.reason for problem in problems)
    reasons = {row: [*checked.reasons.get(row, []), reason] for row in raw.cells.index.tolist()}
    return replace(checked.with_problems(problems), reasons=reasons, unusable=True)


def _not_told_before(problems: list[Problem], raw: RawTable) -> Iterator[Problem]:
    """Without what only follows from a problem met while reading: a row that is spoilt, a cell that hides its value."""
    spoilt = {(p.row, p.column and contract_word(p.column)) for p in raw.problems if p.refused}
    return (p for p in problems if (p.row, None) not in spoilt and (p.row, p.column) not in spoilt)


# --- cells --------------------------------------------------------------------------------------------------------


def _check_column(raw: RawTable, headers: Headers, column: Column, today: date, problems: list[Problem]) -> pd.Series:
    """One column's values, its problems appended; a column that is nowhere is blank."""
    positions = headers.known.get(column.name, [])
    if not positions:
        blank = _parse(raw, column, [""], today)
        return _series(column, blank.values[np.zeros(len(raw.cells), dtype=np.int64)], raw.cells.index)
    texts = raw.cells[positions[0]]
    words = texts.cat.categories.tolist()
    codes = texts.cat.codes.to_numpy().astype(np.int64)
    parsed = _parse(raw, column, words, today)
    faults = dict(parsed.faults)
    if column.required:
        faults |= {int(n): _required(column) for n in np.flatnonzero(parsed.blank)}
    refuses = column.name not in LEFT_BLANK[raw.table]
    problems += _cell_problems(raw, column, words, codes, faults, refuses)
    problems += [
        Problem(raw.file, None, column.name, n.example, n.reason, n.remedy, refused=False) for n in parsed.notices
    ]
    values = _series(column, parsed.values[codes] if len(words) else parsed.values, raw.cells.index)
    for position in positions[1:]:
        differ = _check_twin(raw, column, positions[0], position, refuses, problems)
        values = values.mask(differ, column.blank)
    return values


def _parse(raw: RawTable, column: Column, words: list[str], today: date) -> ParsedTexts:
    if column.kind == "date":
        return parse_dates(words, today, raw.serial_epoch)
    if column.kind == "code":
        return parse_codes(words, column.codes, column.blank)
    if column.kind == "text":
        return parse_texts(words, _longest(TABLES[raw.table], column.name))
    return parse_numbers(words, column, raw.decimal_comma)


def _longest(table: Table, name: str) -> int | None:
    """The most characters that a record's text may have."""
    limits = (getattr(limit, "max_length", None) for limit in table.record.model_fields[name].metadata)
    return next((limit for limit in limits if limit is not None), None)


def _series(column: Column, values: np.ndarray, index: pd.Index) -> pd.Series:
    dtypes = {"text": "object", "code": "object", "date": "datetime64[ns]", "number": "float64", "whole": "float64"}
    series = pd.Series(values, index=index, dtype=dtypes[column.kind])
    return series.astype("Int64") if column.kind == "whole" else series


def _required(column: Column) -> Fault:
    known = f" ({', '.join(column.codes)})" if column.codes else ""
    return Fault("the cell is blank, and the row says nothing without it", f"Fill in {column.name}{known}.")


def _cell_problems(
    raw: RawTable, column: Column, words: list[str], codes: np.ndarray, faults: dict[int, Fault], refuses: bool
) -> Iterator[Problem]:
    """A problem for every row whose text is at fault."""
    if not faults:
        return
    at_fault = np.zeros(len(words), dtype=bool)
    at_fault[list(faults)] = True
    hit = at_fault[codes]
    rows = raw.cells.index.to_numpy()[hit].tolist()
    for row, code in zip(rows, codes[hit].tolist(), strict=True):
        fault = faults[code]
        reason = fault.reason if refuses else f"{fault.reason}; the cell counts as not recorded, the row is used"
        yield Problem(raw.file, row, column.name, words[code], reason, fault.remedy, refuses)


def _check_twin(
    raw: RawTable, column: Column, first: int, second: int, refuses: bool, problems: list[Problem]
) -> pd.Series:
    """Rows in which two columns of one name do not hold the same; where they do, nothing is in doubt."""
    one, other = raw.cells[first].astype(object), raw.cells[second].astype(object)
    differ = one.str.strip() != other.str.strip()
    reason = f"the column {column.name} is there twice, and the two cells of this row differ"
    if not refuses:
        reason += "; it counts as not recorded, the row is used"
    for row, here, there in zip(raw.cells.index[differ].tolist(), one[differ], other[differ], strict=True):
        remedy = f"Keep one column {column.name}."
        problems.append(Problem(raw.file, row, column.name, f"{here} | {there}", reason, remedy, refuses))
    return differ


# --- rows ---------------------------------------------------------------------------------------------------------


def _check_order(checked: CheckedTable) -> CheckedTable:
    """A period that ends before it begins: which end is wrong cannot be known."""
    if checked.table.name not in IN_ORDER:
        return checked
    first, second = IN_ORDER[checked.table.name]
    wrong = checked.rows[checked.rows[second] < checked.rows[first]]
    blanks = second in LEFT_BLANK[checked.table.name]
    problems = []
    for row, begins, ends in wrong[[first, second]].itertuples(name=None):
        reason = f"{second} ({ends.date()}) is before {first} ({begins.date()})"
        if blanks:
            reason += "; both count as not recorded, the row is used"
        remedy = f"Correct {first} or {second}."
        problems.append(Problem(checked.file, row, second, str(ends.date()), reason, remedy, refused=not blanks))
    if blanks and len(wrong):
        rows = checked.rows.copy()
        rows.loc[wrong.index, [first, second]] = pd.NaT
        checked = replace(checked, rows=rows)
    return checked.with_problems(problems)


def _check_repeats(checked: CheckedTable) -> CheckedTable:
    """A row that repeats another in every column was typed twice: the first is used."""
    accepted = checked.accepted
    if checked.table.name in MAY_REPEAT or not accepted.duplicated().any():
        return checked
    numbered = accepted.assign(row=accepted.index)
    first = numbered.groupby(list(accepted.columns), dropna=False, sort=False)["row"].transform("first")
    again = accepted.index[accepted.duplicated()]
    problems = [
        Problem(
            checked.file,
            row,
            None,
            None,
            f"the row repeats row {first[row]} in every column; it is counted once",
            "Delete it, or correct it if another one was meant.",
            refused=True,
        )
        for row in again.tolist()
    ]
    return replace(checked.with_problems(problems), repeats=checked.repeats | frozenset(again.tolist()))


def _check_keys(checked: CheckedTable) -> CheckedTable:
    """A craft described twice in different ways: the first row is used, and the problem says what differs."""
    if len(checked.table.key) != 1:
        return checked  # two fittings with one key overlap, which is a check between rows
    (key,) = checked.table.key
    accepted = checked.accepted
    problems = []
    for name, rows in accepted[accepted.duplicated(key, keep=False)].groupby(key, sort=False):
        used = rows.iloc[0]
        for row, other in rows.iloc[1:].iterrows():
            differ = ", ".join(accepted.columns[(used.astype(str) != other.astype(str)).to_numpy()])
            reason = f"{name} is already in row {rows.index[0]}, which is used; this row differs in {differ}"
            remedy = f"Keep one row for each {key}."
            problems.append(Problem(checked.file, int(str(row)), key, str(name), reason, remedy, refused=True))
    return checked.with_problems(problems)
