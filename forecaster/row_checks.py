"""One table on its own: every cell against the contract, rows that repeat, and what becomes of a row at fault.

What becomes of a row whose cell cannot be used:

- a cell that only describes, and without which the rest of the row stays true and useful (``LEFT_BLANK``), counts
  as not recorded: the row is used, and the problem keeps the cell's text;
- any other cell refuses its row, since the answer would hang on a guess. The row is kept as it was given.

A table without a required column cannot be used at all. Columns that the contract does not know are kept aside.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from forecaster.cells import (
    MOST_TEXT_CHARACTERS,
    MOST_VALUE_CHARACTERS,
    Fault,
    ParsedTexts,
    parse_codes,
    parse_texts,
    without_overlong,
)
from forecaster.date_cells import parse_dates
from forecaster.headers import Headers, contract_word, missing_columns, recognise_headers
from forecaster.number_cells import parse_numbers
from forecaster.problems import MOST_ALIKE, Problem, cut_short, listed, unlisted
from forecaster.raw_tables import RawTable
from forecaster.records import TABLES, Column, Table, empty_frame
from forecaster.refusals import NOTHING_REFUSED, Refusals, Refused, sorted_out

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
    refusals: Refusals = NOTHING_REFUSED
    repeats: frozenset[int] = frozenset()
    held_back: frozenset[int] = frozenset()  # rows that are used, and from which nothing is learned about others
    unusable: bool = False  # as a whole: a required column is missing, or the file cannot be read

    @property
    def refused_rows(self) -> np.ndarray:
        """The rows that are refused, in order."""
        return self.refusals.rows

    @cached_property
    def accepted(self) -> pd.DataFrame:
        """The rows that are used."""
        if not self.refusals:
            return self.rows
        return self.rows[~self.rows.index.isin(self.refused_rows)]

    def with_problems(self, problems: Iterable[Problem], refusals: Refusals | None = None) -> CheckedTable:
        """The same table with more problems; the rows that they refuse are refused, and those given in `refusals`.

        Of problems that are alike so many are listed, and the others are counted.
        """
        asked: set[int] = set()

        def noted() -> Iterator[Problem]:
            for problem in problems:
                if problem.held_back and problem.row is not None:
                    asked.add(problem.row)
                yield problem

        new, refused = sorted_out(noted())
        if refusals is not None:
            refused = refusals + refused
        if not new and not refused:
            return self
        refusals = self.refusals + refused
        held_back = self.held_back | asked
        if held_back:
            held_back -= set(refusals.rows.tolist())
        return replace(self, problems=tuple(listed((*self.problems, *new))), refusals=refusals, held_back=held_back)

    def refused(self) -> pd.DataFrame:
        """The refused rows as they were given, and why in the column ``reason``; index ``row``."""
        if self.source is None:
            return pd.DataFrame({"reason": []}, index=pd.Index([], name="row", dtype="int64"))
        there = np.isin(self.refused_rows, self.source.cells.index.to_numpy())
        rows = pd.Index(self.refused_rows[there], name="row")
        given = as_given(self.source, range(len(self.source.headers)), rows)
        given["reason"] = pd.Series(self.refusals.texts()[there], rows, dtype=object)
        return given


def each(rows: pd.DataFrame, *columns: str) -> Iterator[tuple[Any, ...]]:
    """Row number and the named cells of each row."""
    return zip(rows.index.tolist(), *(rows[column].tolist() for column in columns), strict=True)


def as_given(raw: RawTable, positions: Iterable[int], rows: pd.Index | None = None) -> pd.DataFrame:
    """Cells as text under their own headers; one without a header is numbered, and none is called ``reason``."""
    cells = raw.cells if rows is None else raw.cells.loc[rows]
    named: dict[str, pd.Series] = {}
    times: Counter[str] = Counter()  # so that a name that is there ten thousand times is not tried so often each time
    for position in positions:
        name = raw.headers[position].strip() or f"column {position + 1}"
        name = GIVEN_REASON if name == "reason" else name
        unique = name
        while unique in named:
            times[name] += 1
            unique = f"{name} (again{'' if times[name] == 1 else f' {times[name]}'})"
        named[unique] = cells[position].astype(object)
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
    checked = checked.with_problems([*raw.problems, *headers.problems], raw.refusals)
    found = _Found(raw)
    columns = {column.name: _check_column(raw, headers, column, today, found) for column in table.columns.values()}
    checked = replace(checked, rows=pd.DataFrame(columns, index=raw.cells.index))
    if headers.missing:
        return _refuse_all(checked, headers)
    checked = checked.with_problems(found.problems, found.refusals)
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
    rows = raw.cells.index.to_numpy()
    return replace(checked.with_problems(problems, Refusals((Refused.for_one(rows, reason),))), unusable=True)


# --- cells --------------------------------------------------------------------------------------------------------


class _Found:
    """What is wrong with the cells of a table: problems as they are listed, and all rows that they refuse.

    What only follows from a problem met while reading is left out: a row that is spoilt, a cell that hides its value.
    """

    def __init__(self, raw: RawTable) -> None:
        self.problems: list[Problem] = []
        self.refusals = NOTHING_REFUSED
        self._raw = raw
        self._rows = raw.cells.index.to_numpy()
        spoilt: dict[str | None, list[int]] = {}
        for problem in raw.problems:
            if problem.refused and problem.row is not None:
                spoilt.setdefault(problem.column and contract_word(problem.column), []).append(problem.row)
        self._spoilt = np.isin(self._rows, [*raw.refusals.rows.tolist(), *spoilt.pop(None, [])])
        self._spoilt_in = spoilt

    def notice(self, problem: Problem) -> None:
        """A problem of a whole column."""
        self.problems.append(problem)

    def add(
        self, column: Column, hit: np.ndarray, which: np.ndarray, faults: Mapping[int, Fault], texts: _Texts
    ) -> None:
        """One problem for each row (of all) that is `hit`; its fault is that of its number among `which`.

        `texts` gives the cell as it was given, by the row's position.
        """
        told = hit & ~self._spoilt
        if column.name in self._spoilt_in:
            told &= ~np.isin(self._rows, self._spoilt_in[column.name])
        at = np.flatnonzero(told)
        refuses = column.name not in LEFT_BLANK[self._raw.table]
        for position, number in zip(at[:MOST_ALIKE].tolist(), which[at[:MOST_ALIKE]].tolist(), strict=True):
            reason = faults[number].reason if refuses else f"{faults[number].reason}; {_NOT_RECORDED}"
            row, remedy = int(self._rows[position]), faults[number].remedy
            self.problems.append(Problem(self._raw.file, row, column.name, texts(position), reason, remedy, refuses))
        if len(at) > MOST_ALIKE:
            self.problems.append(unlisted(self._raw.file, column.name, len(at) - MOST_ALIKE, refuses))
        if refuses and len(at):
            self.refusals += Refusals((_refused(self._rows[at], which[at], faults),))


def _refused(rows: np.ndarray, which: np.ndarray, faults: Mapping[int, Fault]) -> Refused:
    """Rows for the reasons of their faults, where faults of one reason are one."""
    reasons: dict[str, int] = {}
    places = np.zeros(max(faults) + 1, dtype=np.int32)
    for number, fault in faults.items():
        places[number] = reasons.setdefault(fault.reason, len(reasons))
    return Refused(rows.astype(np.int32), places[which], list(reasons))


_Texts = Callable[[int], str]
_NOT_RECORDED = "the cell counts as not recorded, the row is used"


def _check_column(raw: RawTable, headers: Headers, column: Column, today: date, found: _Found) -> pd.Series:
    """One column's values, its problems added to `found`; a column that is nowhere is blank."""
    positions = headers.known.get(column.name, [])
    if not positions:
        blank = _parse(raw, column, [""], today)
        return _series(column, blank.values[np.zeros(len(raw.cells), dtype=np.int64)], raw.cells.index)
    texts = raw.cells[positions[0]]
    words = texts.cat.categories.tolist()
    codes = texts.cat.codes.to_numpy().astype(np.int64)
    parsed = _parse(raw, column, words, today)
    faults = dict(parsed.faults)
    if column.required and parsed.blank.any():
        faults |= dict.fromkeys(np.flatnonzero(parsed.blank).tolist(), _required(column))
    if faults:
        at_fault = np.zeros(len(words), dtype=bool)
        at_fault[list(faults)] = True
        found.add(column, at_fault[codes], codes, faults, lambda position: words[codes[position]])
    for n in parsed.notices:
        found.notice(Problem(raw.file, None, column.name, n.example, n.reason, n.remedy, refused=False))
    values = _series(column, parsed.values[codes] if len(words) else parsed.values, raw.cells.index)
    for position in positions[1:]:
        differ = _check_twin(raw, column, positions[0], position, found)
        values = values.mask(differ, column.blank)
    return values


def _parse(raw: RawTable, column: Column, words: list[str], today: date) -> ParsedTexts:
    def parsed(texts: list[str]) -> ParsedTexts:
        if column.kind == "date":
            return parse_dates(texts, today, raw.serial_epoch)
        if column.kind == "code":
            return parse_codes(texts, column.codes, column.blank)
        if column.kind == "text":
            return parse_texts(texts, _longest(TABLES[raw.table], column.name))
        return parse_numbers(texts, column, raw.decimal_comma)

    return without_overlong(words, MOST_TEXT_CHARACTERS if column.kind == "text" else MOST_VALUE_CHARACTERS, parsed)


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


def _check_twin(raw: RawTable, column: Column, first: int, second: int, found: _Found) -> np.ndarray:
    """Rows in which two columns of one name do not hold the same; where they do, nothing is in doubt."""
    one, other = raw.cells[first].astype(object), raw.cells[second].astype(object)
    differ = (one.str.strip() != other.str.strip()).to_numpy()
    fault = Fault(
        f"the column {column.name} is there twice, and the two cells of this row differ",
        f"Keep one column {column.name}.",
    )

    def both(position: int) -> str:
        return f"{cut_short(one.iloc[position])} | {cut_short(other.iloc[position])}"

    found.add(column, differ, np.zeros(len(differ), dtype=np.int64), {0: fault}, both)
    return differ


# --- rows ---------------------------------------------------------------------------------------------------------


def _check_order(checked: CheckedTable) -> CheckedTable:
    """A period that ends before it begins: which end is wrong cannot be known."""
    if checked.table.name not in IN_ORDER:
        return checked
    first, second = IN_ORDER[checked.table.name]
    wrong = checked.rows[checked.rows[second] < checked.rows[first]]
    blanks = second in LEFT_BLANK[checked.table.name]

    def problems() -> Iterator[Problem]:
        for row, begins, ends in wrong[[first, second]].itertuples(name=None):
            reason = f"{second} ({ends.date()}) is before {first} ({begins.date()})"
            if blanks:
                reason += "; both count as not recorded, the row is used"
            remedy = f"Correct {first} or {second}."
            yield Problem(checked.file, row, second, str(ends.date()), reason, remedy, refused=not blanks)

    told = checked.with_problems(problems())
    if blanks and len(wrong):
        rows = checked.rows.copy()
        rows.loc[wrong.index, [first, second]] = pd.NaT
        told = replace(told, rows=rows)
    return told


def _check_repeats(checked: CheckedTable) -> CheckedTable:
    """A row that repeats another in every column was typed twice: the first is used."""
    accepted = checked.accepted
    if checked.table.name in MAY_REPEAT or not accepted.duplicated().any():
        return checked
    numbered = accepted.assign(row=accepted.index)
    first = numbered.groupby(list(accepted.columns), dropna=False, sort=False)["row"].transform("first")
    again = accepted.duplicated().to_numpy()
    repeats = accepted.index[again].tolist()
    problems = (
        Problem(
            checked.file,
            row,
            None,
            None,
            f"the row repeats row {same} in every column; it is counted once",
            "Delete it, or correct it if another one was meant.",
            refused=True,
        )
        for row, same in zip(repeats, first[again].tolist(), strict=True)
    )
    return replace(checked.with_problems(problems), repeats=checked.repeats | frozenset(repeats))


def _check_keys(checked: CheckedTable) -> CheckedTable:
    """A craft described twice in different ways: the first row is used, and the problem says what differs."""
    if len(checked.table.key) != 1:
        return checked  # two fittings with one key overlap, which is a check between rows
    (key,) = checked.table.key
    rows = checked.accepted
    rows = rows[rows.duplicated(key, keep=False)]
    numbers, names = pd.factorize(rows[key])
    first = np.flatnonzero(~rows.duplicated(key).to_numpy())
    texts = rows.astype(str).to_numpy()
    differ = texts != texts[first[numbers]]
    used = rows.index.to_numpy()[first]

    def problems() -> Iterator[Problem]:
        for position in np.flatnonzero(rows.duplicated(key)).tolist():
            name = str(names[numbers[position]])
            told = ", ".join(rows.columns[differ[position]])
            reason = f"{name} is already in row {used[numbers[position]]}, which is used; this row differs in {told}"
            remedy = f"Keep one row for each {key}."
            yield Problem(checked.file, int(rows.index[position]), key, name, reason, remedy, refused=True)

    return checked.with_problems(problems())
