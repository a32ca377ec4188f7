"""The parts that the printed pages are put together from: paragraphs, tables, figure tiles, and the frame of a page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.colors import Color, black, white
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Paragraph, Spacer, Table, TableStyle

from forecaster.paper.typeface import BOLD, REGULAR, shown

PAGE_WIDTH, PAGE_HEIGHT = A4
MARGIN, HEAD, FOOT = 18 * mm, 16 * mm, 18 * mm
TEXT_WIDTH = PAGE_WIDTH - 2 * MARGIN
RULE, SHADE, FAINT = Color(0.6, 0.6, 0.6), Color(0.93, 0.93, 0.93), Color(0.35, 0.35, 0.35)
MOST_CELL = 215  # characters of a user's own text in one cell: more would push the rest off the page

BODY = ParagraphStyle("body", fontName=REGULAR, fontSize=9, leading=12, spaceAfter=4)
SMALL = ParagraphStyle("small", parent=BODY, fontSize=7.5, leading=9.5, spaceAfter=0)
NOTE = ParagraphStyle("note", parent=SMALL, textColor=FAINT)
RIGHT = ParagraphStyle("right", parent=SMALL, alignment=TA_RIGHT)
HEADING = ParagraphStyle("heading", parent=BODY, fontName=BOLD, fontSize=12, leading=15, spaceBefore=10, spaceAfter=4)
SUBHEADING = ParagraphStyle("subheading", parent=BODY, fontName=BOLD, fontSize=9.5, leading=12, spaceAfter=3)
TITLE = ParagraphStyle("title", parent=BODY, fontName=BOLD, fontSize=20, leading=24, spaceAfter=2)
ANSWER = ParagraphStyle("answer", parent=BODY, fontName=BOLD, fontSize=12.5, leading=17, spaceBefore=6, spaceAfter=8)
HEAD_CELL = ParagraphStyle("head", parent=SMALL, fontName=BOLD)
HEAD_RIGHT = ParagraphStyle("head right", parent=HEAD_CELL, alignment=TA_RIGHT)
FIGURE = ParagraphStyle("figure", parent=BODY, fontName=BOLD, fontSize=15, leading=18, spaceAfter=0)
CAUTION = ParagraphStyle(
    "caution",
    parent=BODY,
    borderColor=black,
    borderWidth=0.8,
    borderPadding=5,
    leftIndent=6,
    rightIndent=6,
    spaceBefore=8,
    spaceAfter=10,
)


def words(text: str, style: ParagraphStyle = BODY, bullet: bool = False) -> Paragraph:
    """A paragraph; a line break breaks the line, and nothing else in the text is read as markup."""
    marked = "<br/>".join(escape(shown(line)) for line in text.split("\n"))
    if not bullet:
        return Paragraph(marked, style)
    indented = ParagraphStyle("bullet", parent=style, leftIndent=10, bulletIndent=1, spaceAfter=2)
    return Paragraph(marked, indented, bulletText="\N{BULLET}")


def cut(text: str, most: int = MOST_CELL) -> str:
    """A user's text on one line and at the length that a cell can hold; what is cut off stands in the work list."""
    text = text.replace("\n", " ")
    return text if len(text) <= most else f"{text[: most - 1].rstrip()}\N{HORIZONTAL ELLIPSIS}"


def bullets(lines: Sequence[str], style: ParagraphStyle = BODY) -> list[Flowable]:
    """One bulleted paragraph a line."""
    return [words(line, style, bullet=True) for line in lines]


def tiles(figures: Sequence[tuple[str, str]], widths: Sequence[float]) -> Table:
    """The cover's figures side by side, each in large type above its words; `widths`: shares of the text's width."""
    cells = [[words(figure, FIGURE), words(told, SMALL)] for figure, told in figures]
    table = Table([cells], colWidths=[share * TEXT_WIDTH / sum(widths) for share in widths])
    table.setStyle(
        TableStyle(
            [
                ("BACKGROUND", (0, 0), (-1, -1), SHADE),
                ("LINEAFTER", (0, 0), (-2, -1), 3, white),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("TOPPADDING", (0, 0), (-1, -1), 6),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 7),
                ("LEFTPADDING", (0, 0), (-1, -1), 7),
            ]
        )
    )
    return table


def boxed(content: Sequence[Flowable]) -> Table:
    """Paragraphs in a box with a heavy rule, over the whole width: what must not be missed."""
    table = Table([[list(content)]], colWidths=[TEXT_WIDTH])
    table.setStyle(
        TableStyle(
            [
                ("BOX", (0, 0), (-1, -1), 2, black),
                ("LEFTPADDING", (0, 0), (-1, -1), 8),
                ("RIGHTPADDING", (0, 0), (-1, -1), 8),
                ("TOPPADDING", (0, 0), (-1, -1), 6),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 4),
            ]
        )
    )
    return table


def grid(
    head: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float], right: Sequence[int] = ()
) -> Table:
    """A table whose head is repeated on each page; `widths`: shares of the text's width, `right`: columns set right."""
    return noted_grid(head, rows, [""] * len(rows), widths, right)


RULED: list[tuple[Any, ...]] = [
    ("LINEBELOW", (0, 0), (-1, 0), 0.8, black),
    ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
    ("VALIGN", (0, 1), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), 2),
    ("RIGHTPADDING", (0, 0), (-1, -1), 4),
    ("TOPPADDING", (0, 0), (-1, -1), 2.2),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 2.2),
]


def noted_grid(
    head: Sequence[str],
    rows: Sequence[Sequence[str]],
    notes: Sequence[str],
    widths: Sequence[float],
    right: Sequence[int] = (),
) -> Table:
    """The same with a note beneath each row that has one, over the whole width; both stay on one page."""
    told = [[words(cell, HEAD_RIGHT if at in right else HEAD_CELL) for at, cell in enumerate(head)]]
    style = list(RULED)
    for row, note in zip(rows, notes, strict=True):
        at = len(told)
        told.append([words(cell, RIGHT if n in right else SMALL) for n, cell in enumerate(row)])
        if not note:
            style.append(("LINEBELOW", (0, at), (-1, at), 0.3, RULE))
            continue
        told.append([Spacer(0, 0), words(note, NOTE), *([""] * (len(row) - 2))])
        style += [
            ("SPAN", (1, at + 1), (-1, at + 1)),
            ("NOSPLIT", (0, at), (-1, at + 1)),
            ("BOTTOMPADDING", (0, at), (-1, at), 0),
            ("TOPPADDING", (0, at + 1), (-1, at + 1), 0),
            ("LINEBELOW", (0, at + 1), (-1, at + 1), 0.3, RULE),
        ]
    table = Table(told, colWidths=[share * TEXT_WIDTH / sum(widths) for share in widths], repeatRows=1)
    table.setStyle(TableStyle(style))
    return table


class NumberedCanvas(Canvas):  # type: ignore[misc]  # reportlab tells no types
    """A canvas that knows how many pages there are when it writes the first: "page 2 of 5"."""

    def __init__(self, *arguments: Any, **options: Any) -> None:
        """As a canvas; `foot` on the class tells what stands beside the page number."""
        super().__init__(*arguments, **options)
        self._pages: list[dict[str, Any]] = []

    foot = ""

    def showPage(self) -> None:
        """Keep the page until all are known."""
        self._pages.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        """Write every page with its number, then the file."""
        for number, page in enumerate(self._pages, 1):
            self.__dict__.update(page)
            self._write_foot(f"page {number} of {len(self._pages)}")
            super().showPage()
        super().save()

    def _write_foot(self, number: str) -> None:
        self.setStrokeColor(RULE)
        self.setLineWidth(0.4)
        self.line(MARGIN, FOOT - 3 * mm, PAGE_WIDTH - MARGIN, FOOT - 3 * mm)
        self.setFont(REGULAR, 7)
        self.setFillColor(FAINT)
        self.drawString(MARGIN, FOOT - 7 * mm, self.foot)
        self.drawRightString(PAGE_WIDTH - MARGIN, FOOT - 7 * mm, number)
