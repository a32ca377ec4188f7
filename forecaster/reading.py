"""A fleet folder or a workbook -> records and problems: the only room that opens a source's files.

A folder holds one CSV file for each table and fleet.toml; a workbook one sheet for each, and the sheet ``fleet`` with
the columns key and value. Names of files and sheets are matched whatever their case, with a notice. What cannot be
opened at all is a SourceError; everything else is a `Problem`, all of them at once.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from forecaster.cells import nearest
from forecaster.cross_checks import cross_check
from forecaster.doubts import doubtful_units
from forecaster.errors import SettingsError, SourceError
from forecaster.leftovers import unfinished
from forecaster.problems import Problem, Reading, cut_short, first_of, sort_problems
from forecaster.ranges import refuse_day
from forecaster.raw_tables import EmptyFile, RawTable, UnreadableFile
from forecaster.records import TABLES, FleetRecords, Table, empty_frame
from forecaster.regular_files import NotReadable, regular_content
from forecaster.row_checks import CheckedTable, check_table
from forecaster.settings import SETTINGS_FILE, FleetSettings, read_settings, settings_of
from forecaster.settings_sheet import settings_in_rows
from forecaster.small_files import NotUsable, read_small_text
from forecaster.text_files import read_text_table
from forecaster.visible_texts import visible
from forecaster.workbooks import Workbook

SETTINGS_SHEET = "fleet"
MAX_CSV_BYTES = 300_000_000  # 5,000,000 readings, as many as are read, and as much again in columns of the fleet's own
MAX_WORKBOOK_BYTES = 100_000_000  # some 4,000,000 readings, more than it may unpack to
_MOST_NAMED = 20  # files of a folder, or faults of its settings, that are told one by one
_WORKBOOK_ENDINGS = (".xlsx", ".xlsm")


def read_fleet(source: str | Path, today: date) -> Reading:
    """The records of a fleet folder or workbook, with every problem of every row; nothing after `today` is accepted.

    Raises WrongUsage for a day outside of ``ranges``, SourceError where the source is nowhere, cannot be opened or
    holds none of a fleet's tables. All else is
    reported in the reading: refused rows with their reasons, notices, and in ``stops_answer`` what makes any answer
    wrong (no usable craft or fittings, a file that is there and cannot be used, wrong settings).
    """
    refuse_day(today, "The day up to which rows are read")
    path = Path(source)
    if _is(path.is_dir, path):
        found = _folder(path)
    elif _is(path.is_file, path):
        found = _workbook(path)
    elif os.path.lexists(path):
        raise SourceError(f"{path} is neither a folder nor a file that can be read. Give the fleet folder or workbook.")
    else:
        raise SourceError(_nowhere(path))
    checked = cross_check({name: _check(found, table, today) for name, table in TABLES.items()})
    problems = [p for table in checked.values() for p in table.problems] + found.problems
    problems += _nothing_left(checked)
    return Reading(
        records=records_of(checked, found.settings, visible(path.stem), files_of(path)),
        problems=sort_problems(problems, [*(table.file for table in checked.values()), found.settings_file]),
        refused={name: table.refused() for name, table in checked.items() if table.refusals},
        kept_aside={name: table.kept_aside for name, table in checked.items() if table.kept_aside is not None},
        doubtful_units=doubtful_units(checked),
    )


def files_of(source: str | Path) -> tuple[Path, ...]:
    """The files that a source is read from: a workbook, or those of a folder that bear a fleet's names, in any case.

    Of a folder also the names that are free yet: what is written there is read as the fleet's own the next time.
    """
    place = Path(os.path.abspath(source))
    if not _is(place.is_dir, place):
        return (place,)
    free = {table.file for table in TABLES.values()} | {SETTINGS_FILE}
    there = [entry for entry in _entries(place) if _folded(entry.name) in free]
    return (*there, *(place / name for name in sorted(free - {_folded(entry.name) for entry in there})))


def records_of(
    checked: Mapping[str, CheckedTable], settings: FleetSettings, name: str, files: tuple[Path, ...] = ()
) -> FleetRecords:
    """What is used of the tables of a fleet, once they were checked on their own and against each other."""
    return FleetRecords(
        **{table: rows.accepted for table, rows in checked.items()},
        settings=settings,
        name=name,
        files=files,
        held_back={table: rows.held_back for table, rows in checked.items() if rows.held_back},
    )


@dataclass
class _Found:
    """What a source holds: a table's text, or the problem that stands in its place."""

    files: dict[str, str] = field(default_factory=dict)  # table -> what the user knows it by
    tables: dict[str, RawTable] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    settings: FleetSettings = field(default_factory=FleetSettings)
    settings_file: str = SETTINGS_FILE

    def notice(self, file: str, reason: str, remedy: str) -> None:
        self.problems.append(Problem(file, None, None, None, reason, remedy, refused=False))

    def stop(self, file: str, reason: str, remedy: str) -> None:
        self.problems.append(Problem(file, None, None, None, reason, remedy, refused=False, stops_answer=True))


def _check(found: _Found, table: Table, today: date) -> CheckedTable:
    raw = found.tables.get(table.name)
    if raw is not None:
        return check_table(raw, today)
    return CheckedTable(table, found.files.get(table.name, table.file), empty_frame(table.name))


def _nothing_left(checked: dict[str, CheckedTable]) -> list[Problem]:
    """Craft and fittings that were read and hold no row to use."""
    problems = []
    for table in checked.values():
        if table.table.needed and table.source is not None and not table.unusable and table.accepted.empty:
            reason = "every row was refused" if table.refusals else "there is a header and no row below it"
            remedy = f"Without one row of {table.table.file} at least there is no fleet to ask about."
            problems.append(Problem(table.file, None, None, None, reason, remedy, refused=False, stops_answer=True))
    return problems


# --- a folder -----------------------------------------------------------------------------------------------------


def _folder(folder: Path) -> _Found:
    entries = [entry for entry in _entries(folder) if not entry.name.startswith((".", "~$"))]
    wanted = {table.file: name for name, table in TABLES.items()} | {SETTINGS_FILE: ""}
    by_name: dict[str, list[Path]] = {}
    for entry in entries:
        by_name.setdefault(_folded(entry.name), []).append(entry)
    if not any(file in by_name for file, name in wanted.items() if name):
        raise SourceError(_no_fleet(folder, entries))
    found = _Found()
    for notice, files in unfinished(folder, (entry.name for entry in entries)).items():
        told = "forecaster was stopped while it put the files that this names into the folder, and not all may be there"
        say = found.stop if not files or any(_folded(file) in wanted for file in files) else found.notice
        say(notice, told, "Run that command again, or delete this file once you know that they are right.")
    for file, name in wanted.items():
        chosen = _choose(found, file, by_name.get(file, []))
        if chosen is None:
            if name and TABLES[name].needed and not by_name.get(file):
                found.stop(file, f"the file is not in {folder.name or folder}", _add(file, entries))
        elif name:
            _read_csv(found, TABLES[name], chosen)
        else:
            _read_settings(found, chosen)
    endings = (".csv", ".toml", *_WORKBOOK_ENDINGS)
    others = [e for e in entries if _folded(e.name) not in wanted and e.suffix.casefold() in endings]
    for entry in others[:_MOST_NAMED]:
        near = nearest(entry.name, list(wanted))
        hint = f"If it is meant as {near}, rename it." if near and near not in by_name else "Nothing to do."
        found.notice(entry.name, "this is not one of a fleet's files; it is not read", hint)
    if len(others) > _MOST_NAMED:
        reason = f"{len(others) - _MOST_NAMED:,} more files are none of a fleet's; they are not read"
        found.notice(folder.name or str(folder), reason, "Nothing to do.")
    return found


def _entries(folder: Path) -> list[Path]:
    try:
        return sorted(folder.iterdir())
    except OSError as error:
        raise SourceError(f"{folder} cannot be opened: {error.strerror}. Check that you may read it.") from error


def _folded(name: str) -> str:
    stem, dot, ending = name.strip().casefold().rpartition(".")
    return f"{stem.strip()}{dot}{ending.strip()}"


def _choose(found: _Found, file: str, entries: list[Path]) -> Path | None:
    """The one file that is meant by the contract's name `file`."""
    exact = [entry for entry in entries if entry.name == file]
    others = [entry for entry in entries if entry.name != file]
    if exact:
        for other in others:
            found.notice(other.name, f"{file} is there too and is read instead", f"Delete or rename {other.name}.")
        return exact[0]
    if len(others) > 1:
        names = " and ".join(entry.name for entry in others)
        found.stop(file, f"{names} could each be meant by it", f"Keep one of them, named {file}.")
        return None
    if others:
        found.notice(others[0].name, f"the file was read as {file}", f"Rename it to {file}.")
        return others[0]
    return None


def _read_csv(found: _Found, table: Table, path: Path) -> None:
    found.files[table.name] = path.name
    try:
        found.tables[table.name] = read_text_table(_content(path, MAX_CSV_BYTES), table, path.name)
    except UnreadableFile as error:
        _set_aside(found, table, path.name, error)


def _set_aside(found: _Found, table: Table, file: str, error: UnreadableFile) -> None:
    if isinstance(error, EmptyFile) and not table.needed:
        found.notice(file, f"{error.reason}: nothing is recorded in it", error.remedy)
    else:
        found.stop(file, error.reason, error.remedy)


def _read_settings(found: _Found, path: Path) -> None:
    found.settings_file = path.name
    try:
        text = read_small_text(path)
    except NotUsable as error:
        reason, _, remedy = str(error).partition(". ")
        found.stop(path.name, reason, remedy)
    else:
        _use_settings(found, lambda: read_settings(text, path.name))


def _use_settings(found: _Found, read: Callable[[], FleetSettings]) -> None:
    file = found.settings_file
    try:
        found.settings = read()
    except SettingsError as error:
        lines = str(error).splitlines()
        if len(lines) > _MOST_NAMED:
            lines[_MOST_NAMED:] = [f"{len(lines) - _MOST_NAMED:,} more faults are not listed"]
        for line in lines:
            reason = line.removeprefix(f"{file}: ").rstrip(".")
            found.stop(file, reason, "Mend it, or remove it to use the documented default.")


def _content(path: Path, most: int) -> bytes:
    """All bytes of a regular file of no more than `most`."""
    try:
        return regular_content(path, most)
    except NotReadable as error:
        raise UnreadableFile(error.reason, error.remedy) from error


# --- a workbook ---------------------------------------------------------------------------------------------------


def _workbook(path: Path) -> _Found:
    if path.suffix.casefold() not in _WORKBOOK_ENDINGS:
        hint = f"Give the folder that holds it: {path.parent}." if path.suffix.casefold() == ".csv" else ""
        raise SourceError(f"{path} is neither a fleet folder nor a workbook (.xlsx). {hint}".strip())
    try:
        book = Workbook(_content(path, MAX_WORKBOOK_BYTES))
    except UnreadableFile as error:
        raise SourceError(f"{path}: {error}") from error
    by_name: dict[str, list[str]] = {}
    for sheet in book.sheet_names:
        by_name.setdefault(sheet.strip().casefold(), []).append(sheet)
    if not any(name in by_name for name in TABLES):
        raise SourceError(
            f"{path} has no sheet of a fleet. Looked for: {', '.join(TABLES)}. Found: {first_of(book.sheet_names)}."
        )
    found = _Found(settings_file=f"{path.name}, sheet {SETTINGS_SHEET}")
    for name, table in TABLES.items():
        file = f"{path.name}, sheet {name}"
        sheets = by_name.get(name, [])
        if sheets:
            _read_sheet(found, book, table, sheets, path.name)
        elif table.needed:
            near = nearest(name, book.sheet_names)
            hint = f" If {near} is meant, rename it." if near else ""
            found.stop(file, "the sheet is not in the workbook", f"Add a sheet {name}.{hint}")
    for sheet in by_name.get(SETTINGS_SHEET, [])[:1]:
        _read_settings_sheet(found, book, sheet)
    others = [s for name, sheets in by_name.items() if name not in TABLES and name != SETTINGS_SHEET for s in sheets]
    for sheet in others[:_MOST_NAMED]:
        reason = "this is not one of a fleet's sheets; it is not read"
        found.notice(f"{path.name}, sheet {cut_short(sheet)}", reason, "Nothing to do if it is only for you.")
    if len(others) > _MOST_NAMED:
        reason = f"{len(others) - _MOST_NAMED:,} more sheets are none of a fleet's; they are not read"
        found.notice(path.name, reason, "Nothing to do if they are only for you.")
    return found


def _read_sheet(found: _Found, book: Workbook, table: Table, sheets: list[str], workbook: str) -> None:
    sheet = table.name if table.name in sheets else sheets[0]
    file = f"{workbook}, sheet {sheet}"
    found.files[table.name] = file
    if sheet != table.name:
        found.notice(file, f"the sheet was read as {table.name}", f"Rename it to {table.name}.")
    for other in sheets:
        if other != sheet:
            found.notice(f"{workbook}, sheet {other}", f"sheet {sheet} is read instead", f"Delete or rename {other}.")
    try:
        found.tables[table.name] = book.table(sheet, table, file)
    except UnreadableFile as error:
        _set_aside(found, table, file, error)


def _read_settings_sheet(found: _Found, book: Workbook, sheet: str) -> None:
    try:
        given, notices = settings_in_rows(book.rows(sheet))
    except UnreadableFile as error:
        found.stop(found.settings_file, error.reason, error.remedy)
    else:
        for row, key, value, reason in notices:
            remedy = f"Format the cell of {key} as text and type month-day, for example 05-01."
            found.problems.append(Problem(found.settings_file, row, key, value, reason, remedy, refused=False))
        _use_settings(found, lambda: settings_of(given, found.settings_file))


# --- what to say where nothing is found ---------------------------------------------------------------------------


def _is(test: object, path: Path) -> bool:
    try:
        return bool(test())  # type: ignore[operator]
    except OSError as error:
        raise SourceError(f"{path} cannot be opened: {error.strerror}. Check the name.") from error


def _nowhere(path: Path) -> str:
    near = None
    if _is(path.parent.is_dir, path.parent):
        near = nearest(path.name, [entry.name for entry in path.parent.iterdir()])
    hint = f"The nearest name there is {near}." if near else "Give a fleet folder or a workbook (.xlsx)."
    return f"{path} is nowhere. {hint}"


def _no_fleet(folder: Path, entries: list[Path]) -> str:
    files = [table.file for table in TABLES.values()]
    names = [entry.name for entry in entries]
    shown = first_of(names)
    hints = [f"{near} may be meant as {file}: rename it" for file in files if (near := nearest(file, names))]
    books = [name for name in names if name.casefold().endswith(_WORKBOOK_ENDINGS)]
    inner = [entry.name for entry in entries if _is(entry.is_dir, entry) and (entry / "craft.csv").is_file()]
    hints += [f"the folder {name} in it holds a fleet: give that" for name in inner[:1]]
    hints += [f"{name} is a workbook: give it by its name" for name in books[:1]]
    hint = f" {'; '.join(hints[:3])}." if hints else ""
    return f"{folder} holds none of a fleet's files. Looked for: {', '.join(files)}. Found: {shown}.{hint}"


def _add(file: str, entries: list[Path]) -> str:
    near = nearest(file, [entry.name for entry in entries if entry.suffix.casefold() == ".csv"])
    taken = {table.file for table in TABLES.values()}
    return f"Rename {near} to {file}." if near and near not in taken else f"Add {file}; without it there is no fleet."
