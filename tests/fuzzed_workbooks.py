"""Strategies of hostile workbooks and ZIPs: the parts of a good workbook spoilt, then packed again, well or badly."""

from __future__ import annotations

import io
import re
import struct
import zipfile
from functools import cache

import openpyxl
import xlsxwriter
from hypothesis import strategies as st

from forecaster.raw_tables import is_blank
from forecaster.reading import SETTINGS_SHEET
from forecaster.templates import template_workbook
from tests.fuzz_runs import ROOM, Case, Odd
from tests.fuzzed_fleets import DAY, good_files, tables_of
from tests.hostile_texts import NUMBERS, any_text

SHEET = re.compile(r"xl/worksheets/.*\.xml")
ATTRIBUTE = re.compile(rb'\b([A-Za-z:]+)="([^"<]*)"')
ELEMENT = re.compile(rb"<(/?)([A-Za-z:]+)([^<>]*?)(/?)>")
PLACES = ("", "A", "1", "A0", "a1", "B2", "XFD1048576", "XFE1", "A1048577", "AAAA1", "ZZZZZZZZ9", "B-3", "B" + "9" * 30)
VALUES = (
    *("", "s", "n", "b", "e", "d", "str", "inlineStr", "zz", "-1", "0", "1", "99999", "2147483648", "9" * 30, "1e308"),
    *("1.5", "true", "x", "A1:A1", "B9:A1", "A1:XFD1048576", "A1", ":", "hidden", "veryHidden", "rId1", "rId99"),
    *("../craft.csv", "/etc/passwd", "http://127.0.0.1:9/x", "worksheets/sheet1.xml", "&#x202e;", "&bogus;", "\u0661"),
    *PLACES,
)  # fmt: skip
DOCTYPE = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;">]>'
INSERTS = (
    *(b"<c>", b"</c>", b"<row>", b"</row>", b"<c/>", b"<row/>", b'<c r="B2"><v>1</v></c>', b"<v>1</v>", b"&bogus;"),
    *(b'<c r="C3" t="e"><v>#REF!</v></c>', b'<c r="B4"><f>1+1</f></c>', b'<c r="D2" t="s"><v>999999</v></c>', b"]]>"),
    *(b'<c r="A3" t="s"><v>-1</v></c>', b'<c r="A3" t="d"><v>2025-13-45</v></c>', b'<c r="A3" s="1"><v>1e308</v></c>'),
    *(b'<c r="A3" t="b"><v>7</v></c>', b'<row r="999999999999"/>', b'<row r="-1"/>', b'<row r="3" hidden="1"/>'),
    *(b'<mergeCells count="1"><mergeCell ref="A2:B9"/></mergeCells>', b'<mergeCell ref="B9:A2"/>'),
    *(b'<mergeCell ref="A1"/>', b'<mergeCells><mergeCell ref="A1:XFD1048576"/></mergeCells>', b"\x00", b"\xff"),
    *(b"<is><t>x</t></is>", b"<!--", DOCTYPE),
)  # fmt: skip
WAYS = (
    *("attribute", "attribute", "attribute", "value", "value", "insert", "insert", "unclosed", "doubled", "dropped"),
    *("cut", "missing", "empty", "doctype", "prefixed", "no namespace", "encoding", "swapped"),
)
UPLOADED = (
    *(
        "f/craft.csv",
        "f/g/hours.csv",
        "../craft.csv",
        "/craft.csv",
        "C:\\craft.csv",
        "CRAFT.CSV",
        "x.csv",
        "con.csv",
        "",
    ),
    *(".", "f/", "craft.csv ", "\u202ecraft.csv", "a\0.csv", "x" * 300 + ".csv", "fleet.xlsx", "x.zip"),
)


SETTINGS = (("key", "value"), ("costs.rebuild", 700.0), ("season.opens", "05-01"), ("currency", "EUR"))


@cache
def good_workbook() -> dict[str, bytes]:
    """The small fleet as the parts of a workbook whose sheets share their texts, as spreadsheets write it."""
    into = io.BytesIO()
    with xlsxwriter.Workbook(into, {"in_memory": True}) as book:
        for name, rows in _sheets().items():
            sheet = book.add_worksheet(name)
            for number, row in enumerate(rows):
                sheet.write_row(number, 0, row)
    return parts_of(into.getvalue())


@cache
def inline_workbook() -> dict[str, bytes]:
    """The same with each text in its cell, as some programs write it."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in _sheets().items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    into = io.BytesIO()
    book.save(into)
    return parts_of(into.getvalue())


def _sheets() -> dict[str, list[list[object]]]:
    typed = {name: [[_typed(text) for text in row] for row in rows] for name, rows in tables_of(good_files()).items()}
    return {**typed, SETTINGS_SHEET: [list(row) for row in SETTINGS]}


@cache
def template_parts() -> dict[str, bytes]:
    """The parts of the template that the program gives to begin with."""
    return parts_of(template_workbook())


def _typed(text: str) -> object:
    if re.fullmatch(r"\d+(\.\d+)?", text):
        return float(text)
    return None if is_blank(text) else text


def parts_of(content: bytes) -> dict[str, bytes]:
    """A ZIP's members by name."""
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def packed(parts: dict[str, bytes], how: int = zipfile.ZIP_STORED) -> bytes:
    """Members as a ZIP."""
    into = io.BytesIO()
    with zipfile.ZipFile(into, "w", how) as book:
        for name, content in parts.items():
            book.writestr(name, content)
    return into.getvalue()


@st.composite
def workbooks(draw: st.DrawFn) -> Case:
    """A workbook some of whose parts are not what a spreadsheet writes."""
    parts = dict(draw(st.sampled_from((good_workbook, good_workbook, inline_workbook, template_parts)))())
    did = [_spoil_part(draw, parts) for _ in range(draw(st.integers(1, 3)))]
    content = packed(parts)
    if draw(st.integers(0, 9)) == 9:
        content, how = _spoil_zip(draw, content)
        did.append(how)
    book = f"{ROOM}/fleet.xlsx"
    command = draw(st.sampled_from((("validate", book), ("validate", book, "--json"), ("forecast", book))))
    return Case("workbook", {"fleet.xlsx": content}, (*command, "--as-of", DAY), did=tuple(did))


def _spoil_part(draw: st.DrawFn, parts: dict[str, bytes]) -> str:
    sheets = [name for name in parts if SHEET.fullmatch(name)]
    name = draw(st.sampled_from(sorted(parts) + sheets * 2))
    xml = parts[name]
    how = draw(st.sampled_from(WAYS))
    if how == "missing":
        del parts[name]
    elif how == "empty":
        parts[name] = b""
    elif how == "swapped":
        other = draw(st.sampled_from(sorted(parts)))
        parts[name], parts[other] = parts[other], parts[name]
    else:
        parts[name] = _other_xml(draw, how, xml)
    return f"{name}: {how}"


def _other_xml(draw: st.DrawFn, how: str, xml: bytes) -> bytes:
    at = draw(st.integers(0, max(0, len(xml) - 1)))
    if how == "attribute":
        return _one(draw, ATTRIBUTE, xml, lambda m, new: m[1] + b'="' + new + b'"')
    if how == "value":
        value = draw(st.one_of(st.sampled_from(NUMBERS), any_text)).replace("<", "&lt;").encode("utf-8", "replace")
        return _one(draw, re.compile(rb">([^<>]+)<"), xml, lambda m, new: b">" + value + b"<")
    if how == "insert":
        new = draw(st.sampled_from(INSERTS))
        return _one(draw, ELEMENT, xml, lambda m, _: m[0] + new)
    if how == "unclosed":
        return _one(draw, re.compile(rb"</[A-Za-z:]+>"), xml, lambda m, _: b"")
    if how == "doubled":
        return _one(
            draw,
            re.compile(rb"<(row|c|sheet|Relationship|si|xf)\b.*?(?:</\1>|/>)", re.DOTALL),
            xml,
            lambda m, _: m[0] * 2,
        )
    if how == "dropped":
        return _one(draw, ELEMENT, xml, lambda m, _: b"")
    if how == "cut":
        return xml[:at]
    if how == "doctype":
        return re.sub(rb"(\?>|^)", rb"\1" + DOCTYPE, xml, count=1)
    if how == "prefixed":
        return ELEMENT.sub(rb"<\1x:\2\3\4>", xml).replace(b"xmlns=", b"xmlns:x=")
    if how == "no namespace":
        return re.sub(rb' xmlns(:\w+)?="[^"]*"', b"", xml)
    return (
        b'<?xml version="1.0" encoding="'
        + draw(st.sampled_from((b"UTF-16", b"utf-7", b"x", b"ISO-8859-1")))
        + b'"?>'
        + xml
    )


def _one(draw: st.DrawFn, pattern: re.Pattern[bytes], xml: bytes, change: object) -> bytes:
    """The XML with one match of a pattern changed."""
    found = list(pattern.finditer(xml))
    if not found:
        return xml
    match = found[draw(st.integers(0, len(found) - 1))]
    new = draw(st.sampled_from(VALUES)).encode("utf-8")
    return xml[: match.start()] + change(match, new) + xml[match.end() :]  # type: ignore[operator]


def _spoil_zip(draw: st.DrawFn, content: bytes) -> tuple[bytes, str]:
    """The bytes of a ZIP with some changed: cut, flipped, or stating other sizes, kinds and flags."""
    how = draw(st.sampled_from(("cut", "flip", "size", "flags", "method", "crc", "name")))
    if how == "cut":
        return content[: draw(st.integers(0, len(content)))], "ZIP cut"
    changed = bytearray(content)
    if how == "flip":
        for _ in range(draw(st.integers(1, 8))):
            changed[draw(st.integers(0, len(changed) - 1))] = draw(st.integers(0, 255))
        return bytes(changed), "ZIP with other bytes"
    entries = [match.start() for match in re.finditer(rb"PK\x01\x02", content)]
    entry = draw(
        st.sampled_from(entries)
    )  # of the directory: offsets of its fields from the ZIP application note 4.3.12
    field, width = {"size": (24, 4), "flags": (8, 2), "method": (10, 2), "crc": (16, 4), "name": (28, 2)}[how]
    value = draw(st.sampled_from((0, 1, 9, 99, 0x7FFF, 0xFFFF)))
    changed[entry + field : entry + field + width] = struct.pack("<I", value)[:width]
    return bytes(changed), f"ZIP with another {how}"


@st.composite
def uploads(draw: st.DrawFn) -> Case:
    """Files as they are uploaded: loose, in a ZIP, or a workbook; with odd names, twice, spoilt, or packed badly."""
    names = st.sampled_from((*good_files(), *UPLOADED))
    good = good_files()
    files: dict[str, bytes | Odd] = {}
    for _ in range(draw(st.integers(0, 8))):
        name = draw(names)
        content = good.get(name.split("/")[-1].casefold()) or draw(
            st.sampled_from((*good.values(), b"", b"\0", b"x,y\n"))
        )
        files[name] = content
    how = draw(st.sampled_from(("loose", "ZIP", "ZIP", "spoilt ZIP", "workbook", "workbook in a ZIP", "ZIP in a ZIP")))
    if how == "loose":
        return Case("upload", files, did=(how, *files))
    plain = {name: content for name, content in files.items() if isinstance(content, bytes) and name}
    if "workbook" in how:
        parts = dict(good_workbook())
        _spoil_part(draw, parts)
        plain = parts
    content = packed(plain, draw(st.sampled_from((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2))))
    if how == "workbook":
        return Case("upload", {"fleet.xlsx": content}, did=(how,))
    if how in ("workbook in a ZIP", "ZIP in a ZIP"):
        content = packed({"fleet.xlsx" if "workbook" in how else "in.zip": content})
    if how == "spoilt ZIP" and plain:
        content, told = _spoil_zip(draw, content)
        how = told
    return Case("upload", {"fleet.zip": content}, did=(how, *plain))
