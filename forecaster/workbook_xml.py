"""The packed XML parts of a workbook: sizes, the list of sheets, how far a sheet reaches, and hidden cells.

Nothing is unpacked beyond stated sizes, and no XML with a document type is parsed, so that no entity can expand.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from dataclasses import dataclass, field
from datetime import date
from itertools import takewhile
from posixpath import join, normpath
from xml.parsers import expat

from forecaster.raw_tables import SERIAL_EPOCH_1900, SERIAL_EPOCH_1904, UnreadableFile

MAX_UNPACKED_BYTES = 600_000_000  # a sheet of 1,000,000 readings unpacks to some 150 MB
MAX_PARTS = 5_000
OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"  # the container of .xls, and of a locked .xlsx
SAVE_AGAIN = "Open it in a spreadsheet and save it again as .xlsx."

Ranges = list[tuple[tuple[int, int], tuple[int, int]]]


@dataclass
class HiddenCells:
    """What the values alone do not show; positions count from 0, row first."""

    formulas: dict[tuple[int, int], str] = field(default_factory=dict)  # without a stored value: the formula
    errors: dict[tuple[int, int], str] = field(default_factory=dict)  # the error value, for example #REF!
    merged: Ranges = field(default_factory=list)


def unpack(content: bytes) -> dict[str, bytes]:
    """The XML parts by name, each within its stated size."""
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
        except (expat.ExpatError, LookupError, ValueError) as error:  # the last two: it names an encoding of no use
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


def sheet_parts(parts: dict[str, bytes]) -> tuple[dict[str, str], date]:
    """Part name by sheet name, and the day from which the workbook counts its serial dates."""
    book = parts.get("xl/workbook.xml")
    links = parts.get("xl/_rels/workbook.xml.rels")
    if book is None or links is None:
        raise UnreadableFile("this is not an .xlsx workbook: it holds no list of sheets", SAVE_AGAIN)
    targets = {link.get("Id"): link.get("Target", "") for link in _attributes(links, "Relationship")}
    paths = {}
    for sheet in _attributes(book, "sheet"):
        target = targets.get(sheet.get("id"), "")
        paths[sheet.get("name", "")] = normpath(join("/xl", target)).lstrip("/")
    counts_from_1904 = any(p.get("date1904") in ("1", "true") for p in _attributes(book, "workbookPr"))
    return paths, SERIAL_EPOCH_1904 if counts_from_1904 else SERIAL_EPOCH_1900


# Only cells and rows that name a far place can make a sheet sprawl: all others stand in the file one by one.
# The patterns begin with plain letters, which is what makes them quick; `_spelt_plainly` sees to it that they fit.
_FAR = re.compile(rb' r="(?:[A-Za-z]{2,}[0-9]|[A-Za-z]?[0-9]{5})')
_ROWS = re.compile(rb' r="[A-Za-z]*([0-9]+)"')
_COLUMNS = re.compile(rb' r="([A-Za-z]+)[0-9]')
_PLACELESS_CELL = re.compile(rb'<c(?=[ />])(?![^>]* r=")')
_PREFIXED = re.compile(rb"<[A-Za-z0-9_.-]+:(?:c|row)[ />]")
_MAY_HIDE = (b"<f", b":f", b"mergeCell", b'"e"', b"'e'")
_CELL = re.compile(r"([A-Za-z]{1,3})([0-9]{1,7})")
_NEAR_ROWS, _NEAR_COLUMNS = 10_000, 26  # a sheet up to Z9999 is small whatever it holds


def extent(xml: bytes) -> tuple[int, int]:
    """Rows and columns that the cells of a sheet span from A1 on, or a bound where all of them are near."""
    xml = _spelt_plainly(xml)
    if not _FAR.search(xml):
        return _NEAR_ROWS, _NEAR_COLUMNS
    if _PLACELESS_CELL.search(xml):
        raise UnreadableFile("the sheet mixes cells far out with cells that do not say where they are", SAVE_AGAIN)
    rows = max(map(int, _ROWS.findall(xml)))
    columns = max((column_number(letters.decode()) for letters in set(_COLUMNS.findall(xml))), default=1)
    return rows, columns


def _spelt_plainly(xml: bytes) -> bytes:
    """The same XML with places written as `` r="C5"`` throughout, as all spreadsheets do and XML does not demand."""
    if xml[:2] in (b"\xff\xfe", b"\xfe\xff") or b"\0" in xml:
        raise UnreadableFile("the sheet is not written in UTF-8", SAVE_AGAIN)
    if any(white in xml for white in (b"\tr", b"\nr", b"\rr")):
        xml = xml.translate(_SPACES)
    if any(odd in xml for odd in (b" r ", b" r= ", b" r='", b"r=\t", b"r=\n", b"r=\r")):
        xml = re.sub(rb""" r\s*=\s*["']([A-Za-z]*[0-9]+)["']""", rb' r="\1"', xml)
    if _PREFIXED.search(xml):
        xml = re.sub(rb"<[A-Za-z0-9_.-]+:(c|row)(?=[ />])", rb"<\1", xml)
    return xml


_SPACES = bytes.maketrans(b"\t\r\n", b"   ")


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
            self._row = int(attributes["r"]) - 1 if attributes.get("r", "").isdecimal() else self._row + 1
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
        elif name in ("f", "v", "is"):
            self._inside = name
            self._texts.setdefault(name, "")

    def text(self, text: str) -> None:
        if self._inside:
            self._texts[self._inside] += text

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
        elif "f" in self._texts and not (value or self._texts.get("is") or stored_blank):
            self.found.formulas[place] = self._texts["f"]


def hidden_cells(xml: bytes) -> HiddenCells:
    """Formulas without a stored value, error values, merged ranges; parsed only where a quick look sees a sign."""
    if not any(sign in xml for sign in _MAY_HIDE):
        return HiddenCells()
    reader = _HiddenCellReader()
    reader.read(xml)
    return reader.found
