"""The packed XML parts of a workbook: sizes, the list of sheets, and hidden cells.

Nothing is unpacked beyond stated sizes, and no XML with a document type is parsed, so that no entity can expand.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections.abc import Sized
from dataclasses import dataclass, field
from datetime import date
from itertools import takewhile
from posixpath import join, normpath
from xml.parsers import expat

from forecaster.packed_sizes import refuse_bomb
from forecaster.raw_tables import SERIAL_EPOCH_1900, SERIAL_EPOCH_1904, UnreadableFile
from forecaster.sheet_extents import SAVE_AGAIN

MAX_UNPACKED_BYTES = 400_000_000  # a sheet of 1,000,000 readings unpacks to some 170 MB
MAX_PARTS = 5_000
MAX_SHEETS = 1_000  # a fleet has seven; each other one is named in a notice
MAX_HIDDEN_CELLS = 100_000  # each is a refused row; a sheet of more is to be saved anew as a whole
OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"  # the container of .xls, and of a locked .xlsx
_MOST_SHOWN = 300  # characters of a formula

ONE_SHEET = "sheet"  # the name of the sheet in a workbook that was made of one
# Names of ECMA-376, parts 1 and 2.
_SPREADSHEET = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_RELATIONS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"
Ranges = list[tuple[tuple[int, int], tuple[int, int]]]


@dataclass
class HiddenCells:
    """What the values alone do not show; positions count from 0, row first."""

    formulas: dict[tuple[int, int], str] = field(default_factory=dict)  # without a stored value: the formula
    errors: dict[tuple[int, int], str] = field(default_factory=dict)  # the error value, for example #REF!
    merged: Ranges = field(default_factory=list)


@dataclass(frozen=True)
class SheetList:
    """What the list of a workbook's sheets says: part by sheet name, the parts that sheets share, how days count."""

    sheets: dict[str, str]
    shared_texts: str
    styles: str
    serial_epoch: date


def unpack(content: bytes, packed_bytes: int | None = None) -> dict[str, bytes]:
    """The XML parts by name, each within its stated size.

    `packed_bytes`: the size of the file that was handed over, where the workbook itself came packed in it.
    """
    if content.startswith(OLD_WORKBOOK):
        raise UnreadableFile(
            "this is an old-style (.xls) workbook, or one locked with a password",
            "Open it in a spreadsheet, take the password away, and save it as .xlsx.",
        )
    try:
        packed = zipfile.ZipFile(io.BytesIO(content))
    except (zipfile.BadZipFile, OSError, ValueError) as error:
        raise UnreadableFile("this is not a workbook, or it is damaged", SAVE_AGAIN) from error
    parts = [info for info in packed.infolist() if info.filename.endswith((".xml", ".rels"))]
    unpacked = sum(info.file_size for info in parts)
    if len(parts) > MAX_PARTS or unpacked > MAX_UNPACKED_BYTES:
        raise UnreadableFile(
            f"the workbook unpacks to {unpacked / 1e6:,.0f} MB in {len(parts):,} parts; "
            f"at most {MAX_UNPACKED_BYTES / 1e6:,.0f} MB in {MAX_PARTS:,} parts are read",
            "Keep only the fleet's sheets in it, or save each sheet as a CSV file.",
        )
    packed_parts = sum(info.compress_size for info in parts)
    refuse_bomb("the workbook", unpacked, min(packed_parts, packed_bytes or len(content)), SAVE_AGAIN)
    return {info.filename: _unpack_part(packed, info) for info in parts}


def _unpack_part(packed: zipfile.ZipFile, info: zipfile.ZipInfo) -> bytes:
    """One part; reading stops at the size that the directory states, however much is packed."""
    if info.flag_bits & 0x1 or info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise UnreadableFile("the workbook is locked, or packed in a way that is not read", SAVE_AGAIN)
    try:
        return packed.read(info)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError) as error:
        raise UnreadableFile(f"the workbook is damaged in {info.filename}", SAVE_AGAIN) from error


class _Reader:
    """An expat parser that gives elements without their prefixes, and refuses document types."""

    def __init__(self) -> None:
        self._parser = expat.ParserCreate()
        self._parser.StartElementHandler = lambda name, attributes: self.start(name.rpartition(":")[2], attributes)
        self._parser.EndElementHandler = lambda name: self.end(name.rpartition(":")[2])
        self._parser.CharacterDataHandler = self.text
        self._parser.StartDoctypeDeclHandler = self._refuse
        self._parser.buffer_text = True

    def read(self, xml: bytes) -> None:
        """Parse a whole part; UnreadableFile where it is not well-formed."""
        try:
            self._parser.Parse(xml, True)
        except (expat.ExpatError, ValueError, LookupError) as error:  # the last two: an encoding that nobody writes
            raise UnreadableFile(f"the workbook is damaged ({error})", SAVE_AGAIN) from error

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """An element opens."""

    def end(self, name: str) -> None:
        """An element closes."""

    def text(self, text: str) -> None:
        """Text inside an element."""

    @staticmethod
    def _refuse(*_: object) -> None:
        raise UnreadableFile("the workbook holds a document type, which no spreadsheet writes", SAVE_AGAIN)


class _Attributes(_Reader):
    """The attributes of all elements of one name (without prefixes)."""

    def __init__(self, element: str) -> None:
        super().__init__()
        self.element = element
        self.found: list[dict[str, str]] = []

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name == self.element:
            self.found.append({key.rpartition(":")[2]: value for key, value in attributes.items()})


def _attributes(xml: bytes, element: str) -> list[dict[str, str]]:
    reader = _Attributes(element)
    reader.read(xml)
    return reader.found


def sheet_list(parts: dict[str, bytes]) -> SheetList:
    """The workbook's sheets. UnreadableFile where it holds no list of them, or far too many."""
    book = parts.get("xl/workbook.xml")
    links = parts.get("xl/_rels/workbook.xml.rels")
    if book is None or links is None:
        raise UnreadableFile("this is not an .xlsx workbook: it holds no list of sheets", SAVE_AGAIN)
    found = _attributes(links, "Relationship")
    targets = {link.get("Id"): link.get("Target", "") for link in found}
    kinds = {link.get("Type", "").rpartition("/")[2]: link.get("Target", "") for link in found}
    sheets = _attributes(book, "sheet")
    if len(sheets) > MAX_SHEETS:
        reason = f"the workbook has {len(sheets):,} sheets; at most {MAX_SHEETS:,} are looked at"
        raise UnreadableFile(reason, "Keep only the fleet's sheets in it.")
    counts_from_1904 = any(p.get("date1904") in ("1", "true") for p in _attributes(book, "workbookPr"))
    return SheetList(
        {sheet.get("name", ""): _part(targets.get(sheet.get("id"), "")) for sheet in sheets},
        _part(kinds.get("sharedStrings", "sharedStrings.xml")),
        _part(kinds.get("styles", "styles.xml")),
        SERIAL_EPOCH_1904 if counts_from_1904 else SERIAL_EPOCH_1900,
    )


def _part(target: str) -> str:
    return normpath(join("/xl", target)).lstrip("/")


def one_sheet(parts: dict[str, bytes], listed: SheetList, sheet: str) -> bytes:
    """A workbook of one sheet, called as its part, and of what it shares: exactly the parts that were measured.

    Its lists are written here, so that whatever reads it finds these parts and no others.
    """
    links = {"worksheet": "worksheets/sheet1.xml"}
    content = {"xl/worksheets/sheet1.xml": parts[listed.sheets[sheet]]}
    for kind, part in (("sharedStrings", listed.shared_texts), ("styles", listed.styles)):
        if part in parts:
            links[kind] = f"{kind}.xml"
            content[f"xl/{kind}.xml"] = parts[part]
    from_1904 = listed.serial_epoch == SERIAL_EPOCH_1904
    content["_rels/.rels"] = _links({"officeDocument": "xl/workbook.xml"})
    content["xl/_rels/workbook.xml.rels"] = _links(links)
    content["xl/workbook.xml"] = (
        f'<workbook xmlns="{_SPREADSHEET}" xmlns:r="{_RELATIONS}"><workbookPr date1904="{int(from_1904)}"/>'
        f'<sheets><sheet name="{ONE_SHEET}" sheetId="1" r:id="r1"/></sheets></workbook>'
    ).encode()
    again = io.BytesIO()
    with zipfile.ZipFile(again, "w", zipfile.ZIP_STORED) as packed:
        for name, part_content in content.items():
            packed.writestr(name, part_content)
    return again.getvalue()


def _links(targets: dict[str, str]) -> bytes:
    each = (
        f'<Relationship Id="r{number}" Type="{_RELATIONS}/{kind}" Target="{target}"/>'
        for number, (kind, target) in enumerate(targets.items(), 1)
    )
    return f'<Relationships xmlns="{_PACKAGE}">{"".join(each)}</Relationships>'.encode()


_MAY_HIDE = (b"<f", b":f", b"mergeCell", b'"e"', b"'e'")
_CELL = re.compile(r"([A-Za-z]{1,3})([0-9]{1,7})")
_ROW = re.compile(r"[0-9]{1,7}")


def column_number(letters: str) -> int:
    """The number, from 1, of a spreadsheet's column: A is 1, AA is 27."""
    number = 0
    for letter in letters.upper():
        number = number * 26 + ord(letter) - ord("A") + 1
    return number


def _place(cell: str) -> tuple[int, int]:
    """Row and column, from 0, of a cell such as C5."""
    letters = "".join(takewhile(str.isalpha, cell))
    return int(cell[len(letters) :]) - 1, column_number(letters) - 1


class _HiddenCellReader(_Reader):
    def __init__(self) -> None:
        super().__init__()
        self.found = HiddenCells()
        self._row = self._column = -1
        self._type = ""
        self._inside = ""
        self._texts: dict[str, str] = {}

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name == "row":
            self._row = int(attributes["r"]) - 1 if _ROW.fullmatch(attributes.get("r", "")) else self._row + 1
            self._column = -1
        elif name == "c":
            place = _CELL.fullmatch(attributes.get("r", ""))
            if place:
                self._row, self._column = _place(place[0])
            else:
                self._column += 1
            self._type, self._texts = attributes.get("t", ""), {}
        elif name == "mergeCell":
            corners = attributes.get("ref", "").split(":")
            if len(corners) == 2 and all(map(_CELL.fullmatch, corners)):
                self.found.merged.append((_place(corners[0]), _place(corners[1])))
                self._refuse_too_many("merged ranges", self.found.merged, "Unmerge all cells of the sheet.")
        elif name in ("f", "v", "is"):
            self._inside = name
            self._texts.setdefault(name, "")

    def text(self, text: str) -> None:
        if self._inside and len(self._texts[self._inside]) < _MOST_SHOWN:
            self._texts[self._inside] += text[:_MOST_SHOWN]

    def end(self, name: str) -> None:
        if name == self._inside:
            self._inside = ""
        elif name == "c":
            self._judge((self._row, self._column))

    def _judge(self, place: tuple[int, int]) -> None:
        value = self._texts.get("v", "")
        stored_blank = self._type == "str" and "v" in self._texts  # a formula whose value is the empty text
        if self._type == "e":
            self.found.errors[place] = value
            self._refuse_too_many("error values", self.found.errors, "Mend the formulas, or type the values.")
        elif "f" in self._texts and not (value or self._texts.get("is") or stored_blank):
            self.found.formulas[place] = self._texts["f"]
            self._refuse_too_many("formulas without a stored value", self.found.formulas, SAVE_AGAIN)

    @staticmethod
    def _refuse_too_many(what: str, found: Sized, remedy: str) -> None:
        if len(found) > MAX_HIDDEN_CELLS:
            raise UnreadableFile(f"the sheet has more than {MAX_HIDDEN_CELLS:,} {what}", remedy)


def hidden_cells(xml: bytes) -> HiddenCells:
    """Formulas without a stored value, error values, merged ranges; parsed only where a quick look sees a sign."""
    if not any(sign in xml for sign in _MAY_HIDE):
        return HiddenCells()
    reader = _HiddenCellReader()
    reader.read(xml)
    return reader.found
