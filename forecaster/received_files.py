"""Files that were handed over, as an upload is: what fleet they make up, and how they are laid out to be read.

Taken are one ZIP of a fleet folder, one workbook (.xlsx), or the CSV files of a fleet folder with its fleet.toml, one
alone too. They are laid out under the contract's names and a cleaned name of the fleet, so that no name that was sent
can point to another place.
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from hashlib import blake2b
from pathlib import Path, PurePosixPath

from forecaster.cells import nearest
from forecaster.errors import SourceError, WrongUsage
from forecaster.file_sets import NotWritten, put
from forecaster.headers import known_headers, looks_like_header
from forecaster.problems import cut_short, first_of
from forecaster.raw_tables import UnreadableFile
from forecaster.reading import MAX_CSV_BYTES
from forecaster.records import TABLES
from forecaster.regular_files import NotReadable, regular_content
from forecaster.settings import SETTINGS_FILE
from forecaster.workbook_xml import OLD_WORKBOOK
from forecaster.workbooks import Workbook
from forecaster.writing import is_refused_list
from forecaster.zip_folders import ReceivedFile, is_junk, is_zip, unpack_zip

UNNAMED = "uploaded fleet"  # loose files have no name of their own
TABLE_ENDINGS = frozenset({".csv", ".toml"})
WORKBOOK_ENDINGS = frozenset({".xlsx", ".xlsm"})
TAKEN = "Taken are the CSV files of a fleet folder with its fleet.toml, one ZIP of them, or one workbook (.xlsx)."
_FLEET_FILES = frozenset({*(table.file for table in TABLES.values()), SETTINGS_FILE})
_NO_FILE_NAME = re.compile(r'[<>:"/\\|?*.\x00-\x1f]+')
_RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)", re.IGNORECASE)  # no names of folders under Windows
LONGEST_NAME = 60
_HEADER_BYTES = 65_536  # in which a header ends, or it is none
_MOST_NAMED = 20  # of files that are passed over, or of names that are found, so many are named


@dataclass(frozen=True)
class ReceivedFleet:
    """The files of one fleet: CSV files and fleet.toml under their plain names, or one workbook.

    ``notices``: what the sender should know, such as a file that was passed over.
    """

    name: str
    files: tuple[ReceivedFile, ...]
    notices: tuple[str, ...] = ()

    @property
    def is_workbook(self) -> bool:
        """Whether it is one workbook, not a folder's files."""
        return self.files[0].ending in WORKBOOK_ENDINGS

    @property
    def content(self) -> str:
        """A digest of names and bytes: the same for the same files, whoever sends them and in whatever order."""
        digest = blake2b(self.name.encode(), digest_size=16)
        for file in sorted(self.files, key=lambda f: f.name):
            digest.update(f"\0{file.name}\0{len(file.content)}\0".encode())
            digest.update(file.content)
        return digest.hexdigest()

    def in_place_of(self, earlier: ReceivedFleet) -> ReceivedFleet:
        """These files in place of those of the same names of an earlier fleet, whose others stay.

        Raises WrongUsage where one of both is a workbook, which is only replaced whole.
        """
        if self.is_workbook or earlier.is_workbook:
            raise WrongUsage("A workbook is replaced whole: mend it there, and open it as a new fleet.")
        names = {file.name for file in self.files}
        kept = tuple(file for file in earlier.files if file.name not in names)
        return replace(self, name=earlier.name, files=(*kept, *self.files))

    def lay_out(self, folder: str | Path) -> Path:
        """Write the files into `folder`, which must be there; the source that ``read_fleet`` takes.

        Raises SourceError where they cannot be written.
        """
        inside = Path(os.path.realpath(folder))
        place = inside / (f"{self.name}{self.files[0].ending}" if self.is_workbook else self.name)
        try:
            put({place if self.is_workbook else place / file.name: file.content for file in self.files})
        except NotWritten as error:
            raise SourceError(f"{self.name} cannot be kept here: {error.reason}. Free some space.") from error
        return place


def receive(files: Sequence[ReceivedFile]) -> ReceivedFleet:
    """The fleet that some files make up. Raises SourceError, in plain words, where they make up none."""
    named = [replace(file, name=file.name.replace("\\", "/")) for file in files]  # as Windows parts folders
    given = [file for file in named if not is_junk(file.name)]
    if not given:
        raise SourceError(f"No file was given. {TAKEN}")
    for file in given:
        _refuse_wrong_type(file, alone=len(given) == 1)
    packed = [file for file in given if is_zip(file.content)]
    if not packed:
        return _folder_of(given, [])
    if len(given) > 1:
        kind = "workbook" if packed[0].ending in WORKBOOK_ENDINGS else "ZIP"
        raise SourceError(f"{packed[0].base} is a {kind} and comes alone; {len(given)} files were given. {TAKEN}")
    if packed[0].ending in WORKBOOK_ENDINGS:
        return _workbook_of(packed[0])
    found, others = unpack_zip(packed[0], TABLE_ENDINGS | WORKBOOK_ENDINGS)
    return _from_zip(packed[0], found, others)


def received_folder(folder: str | Path) -> ReceivedFleet:
    """The files of a fleet folder of this machine, to put others in their place. Raises SourceError as ``receive``."""
    folder = Path(folder)
    try:
        entries = [
            entry
            for entry in sorted(folder.iterdir())
            if entry.suffix.casefold() in TABLE_ENDINGS and entry.is_file() and not is_junk(entry.name)
        ]
    except OSError as error:
        raise SourceError(f"{folder.name} cannot be opened: {error.strerror}. Check that you may read it.") from error
    files = []
    for entry in entries:
        try:
            files.append(ReceivedFile(entry.name, regular_content(entry, MAX_CSV_BYTES)))
        except NotReadable as error:
            raise SourceError(f"{entry.name}: {error}") from error
    return replace(_folder_of(files, []), name=fleet_name(folder.name))


def fleet_name(text: str) -> str:
    """A name for the fleet that is also a folder's name on every system."""
    name = " ".join(_NO_FILE_NAME.sub(" ", text).split())[:LONGEST_NAME].strip()
    return f"{name} fleet" if _RESERVED.fullmatch(name) else name or UNNAMED


def _refuse_wrong_type(file: ReceivedFile, alone: bool) -> None:
    if not file.content and alone:
        raise SourceError(f"{file.base} is empty: it holds no byte. Save it again and upload it anew.")
    if file.content.startswith(OLD_WORKBOOK):
        raise SourceError(
            f"{file.base} is an old-style (.xls) workbook, or one locked with a password. Open it in a spreadsheet, "
            "take the password away, and save it as .xlsx."
        )
    if file.ending in WORKBOOK_ENDINGS | {".zip"} and not is_zip(file.content):
        what = "ZIP" if file.ending == ".zip" else "workbook"
        raise SourceError(f"{file.base} is no {what}, or it is damaged. Save or pack it again and upload it anew.")
    if file.ending not in TABLE_ENDINGS | WORKBOOK_ENDINGS | {".zip"}:
        raise SourceError(f"{file.base} is of a kind that is not read ({file.ending or 'no ending'}). {TAKEN}")


def _workbook_of(file: ReceivedFile, packed_bytes: int | None = None) -> ReceivedFleet:
    try:
        sheets = [sheet.strip().casefold() for sheet in Workbook(file.content, packed_bytes).sheet_names]
    except UnreadableFile as error:
        raise SourceError(f"{file.base}: {error}") from error
    if not set(sheets) & set(TABLES):
        raise SourceError(
            f"{file.base} has no sheet of a fleet. Looked for: {', '.join(TABLES)}. Found: {first_of(sheets)}. "
            "Name the sheets so, or begin from the template."
        )
    return ReceivedFleet(fleet_name(PurePosixPath(file.base).stem), (replace(file, name=f"workbook{file.ending}"),))


def _from_zip(zipped: ReceivedFile, found: list[ReceivedFile], others: list[str]) -> ReceivedFleet:
    books = [file for file in found if file.ending in WORKBOOK_ENDINGS]
    tables = [file for file in found if file.ending in TABLE_ENDINGS]
    if len(books) == 1 and not tables:
        return _workbook_of(books[0], len(zipped.content))
    if not tables:
        inside = first_of([file.base for file in books] + others)
        raise SourceError(f"{zipped.base} holds none of a fleet's files. Found: {inside}. {TAKEN}")
    fleet = _folder_of(tables, [*(book.name for book in books), *others])
    stem = PurePosixPath(zipped.base).stem
    return replace(fleet, name=fleet_name(stem)) if fleet.name == UNNAMED else fleet


def _folder_of(files: Sequence[ReceivedFile], passed_over: Sequence[str]) -> ReceivedFleet:
    """The one folder among these files that holds a fleet's, its files under their plain names."""
    named = {file.name: _table_file(file) for file in files}
    folders = sorted({file.folder for file in files if named[file.name] is not None})
    if not folders:
        raise SourceError(_none_of_a_fleet(files))
    if len(folders) > 1:
        told = ", ".join(folder or "the top" for folder in folders[:6])
        raise SourceError(f"A fleet's files lie in more than one folder: {told}. Upload one fleet at a time.")
    notices = [f"{name} was passed over: it is not one of a fleet's files." for name in passed_over]
    laid: dict[str, ReceivedFile] = {}
    for file in files:
        name = named[file.name]
        if file.folder != folders[0]:
            notices.append(f"{file.name} was passed over: it lies outside the fleet's folder.")
        elif name is None:
            near = nearest(file.base, sorted(_FLEET_FILES))
            hint = f" If it is meant as {near}, rename it." if near else ""
            notices.append(f"{file.base} was passed over: it is not one of a fleet's files.{hint}")
        elif name in laid:
            raise SourceError(f"Two files could each be {name}: keep one of them, and name it {name}.")
        else:
            laid[name] = replace(file, name=name)
            if _folded(file.base) != name:
                notices.append(f"{file.base} was read as {name}, whose columns it has.")
    own = fleet_name(PurePosixPath(folders[0]).name) if folders[0] else UNNAMED
    more = len(notices) - _MOST_NAMED
    if more > 1:
        notices[_MOST_NAMED:] = [f"{more:,} more files were passed over or read under another name."]
    return ReceivedFleet(own, tuple(laid.values()), tuple(map(cut_short, notices)))


def _folded(name: str) -> str:
    return name.strip().casefold()


def _table_file(file: ReceivedFile) -> str | None:
    """Which of a fleet's files this is: by its name, or by its columns where most are those of one table alone."""
    if _folded(file.base) in _FLEET_FILES:
        return _folded(file.base)
    if file.ending != ".csv" or is_refused_list(file.content):  # such a list has a table's columns, but is none
        return None
    header = file.content[:_HEADER_BYTES].split(b"\n", 1)[0].decode("utf-8-sig", errors="replace")
    cells = [cell.strip().strip('"') for cell in re.split(r"[,;\t]", header)]
    fitting = [table for table in TABLES.values() if looks_like_header(cells, table)]
    known = sorted((known_headers(cells, table) for table in fitting), reverse=True)
    if not known or known[0] < 2 or known[:2] == known[:1] * 2:
        return None
    if 2 * known[0] < len(cells):  # a work list, which names craft and their owners beside much else
        return None
    return next(table.file for table in fitting if known_headers(cells, table) == known[0])


def _none_of_a_fleet(files: Sequence[ReceivedFile]) -> str:
    names = [file.base for file in files]
    shown = first_of(names)
    hints = [
        f"{near} may be meant as {file}: rename it." for file in sorted(_FLEET_FILES) if (near := nearest(file, names))
    ]
    looked = ", ".join([*(table.file for table in TABLES.values()), SETTINGS_FILE])
    return " ".join([f"None of a fleet's files is among these: {shown}. Looked for: {looked}.", *hints[:2]])
