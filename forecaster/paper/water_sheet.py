"""The answer after water on one page to print and keep: stop, steps to tick off, the risk, what to tell a mechanic."""

from __future__ import annotations

from io import BytesIO

from reportlab.lib.colors import black
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Frame, PageTemplate, Paragraph, Spacer, Table, TableStyle
from reportlab.platypus.doctemplate import BaseDocTemplate

from forecaster.flooding import AfterWater
from forecaster.flooding_steps import WHENS
from forecaster.paper.page_parts import BODY, PAGE_HEIGHT, PAGE_WIDTH, cut, words
from forecaster.paper.typeface import BOLD, register_fonts, shown
from forecaster.report.after_water_wording import WaterWords, WordedStep, words_after_water
from forecaster.written_days import USUAL_DATE_FORMAT, DateFormat, written_day, written_text

MARGIN = 14 * mm
WIDTH = PAGE_WIDTH - 2 * MARGIN
LEFT, GAP = 0.64, 4 * mm  # the steps' share of the width, and what parts them from the rest
TICK = "\N{BALLOT BOX}"
# Sizes of the type, tried in turn until everything stands on one page; the least can still be read at arm's length.
SIZES = (9.0, 8.6, 8.2, 7.8, 7.4, 7.0, 6.6)
LONGEST = 300  # characters of a name or a record's own text


class SheetTooLongError(RuntimeError):
    """An answer does not fit on one page even in the smallest type: a fault of the program."""


def water_sheet(answer: AfterWater, name: str = "", date_format: DateFormat = USUAL_DATE_FORMAT) -> bytes:
    """The sheet as the bytes of a PDF file of one page; the same answer gives the same bytes.

    `name`: the craft as people call it, its id when left out.
    """
    register_fonts()
    told = words_after_water(answer, name)
    for size in SIZES:
        written, pages = _built(answer, told, date_format, size)
        if pages == 1:
            return written
    raise SheetTooLongError(f"{pages} pages at {size} points")


def _built(answer: AfterWater, told: WaterWords, form: DateFormat, size: float) -> tuple[bytes, int]:
    packed = BytesIO()
    document = BaseDocTemplate(
        packed,
        pagesize=(PAGE_WIDTH, PAGE_HEIGHT),
        title=shown(f"After water: {cut(told.subject, 90)}"),
        author="Supercharger forecaster",
        lang="en",
        invariant=1,  # no clock in the file: the same answer is the same file
    )
    frame = Frame(MARGIN, MARGIN, WIDTH, PAGE_HEIGHT - 2 * MARGIN, 0, 0, 0, 0, id="sheet")
    document.addPageTemplates([PageTemplate(id="page", frames=[frame])])
    document.build(_Sheet(answer, told, form, size).flowables())
    return packed.getvalue(), document.page


class _Sheet:
    """One sheet in type of one size."""

    def __init__(self, answer: AfterWater, told: WaterWords, form: DateFormat, size: float) -> None:
        self.answer, self.told, self.form = answer, told, form
        self.body = ParagraphStyle("sheet", parent=BODY, fontSize=size, leading=1.22 * size, spaceAfter=0.22 * size)
        self.small = ParagraphStyle("sheet small", parent=self.body, fontSize=0.9 * size, leading=1.1 * size)
        self.strong = ParagraphStyle("sheet strong", parent=self.body, fontName=BOLD)
        self.heading = ParagraphStyle("sheet heading", parent=self.strong, spaceBefore=0.5 * size)
        self.title = ParagraphStyle("sheet title", parent=self.strong, fontSize=1.7 * size, leading=2.1 * size)
        self.order = ParagraphStyle("sheet order", parent=self.strong, fontSize=1.5 * size, leading=1.8 * size)

    def flowables(self) -> list[Flowable]:
        """Everything on the page, from top to bottom."""
        told, advice = self.told, written_text(self.told.advice, self.form)
        head = [words("After water: what to do", self.title), self._words(told.subject, self.small)]
        below = [
            self._words(f"{advice[:1].upper()}{advice[1:]}", self.strong),
            *([self._words(written_text(told.instruction, self.form), self.small)] if told.instruction else []),
            self._words(told.risk),
            self._words(told.risk_figures, self.small),
        ]
        right = [*self._calls(), *self._hand_over(), *self._cautions()]
        columns = Table([[self._steps(), right]], colWidths=[LEFT * WIDTH, (1 - LEFT) * WIDTH])
        columns.setStyle(
            TableStyle(
                [
                    ("VALIGN", (0, 0), (-1, -1), "TOP"),
                    ("LEFTPADDING", (0, 0), (0, 0), 0),
                    ("LEFTPADDING", (1, 0), (1, 0), GAP),
                    ("RIGHTPADDING", (0, 0), (-1, -1), 0),
                    ("LINEBEFORE", (1, 0), (1, 0), 0.4, black),
                    ("TOPPADDING", (0, 0), (-1, -1), 2),
                    ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
                ]
            )
        )
        return [*head, *self._order(), *below, columns, *self._foot()]

    def _words(self, text: str, style: ParagraphStyle | None = None) -> Paragraph:
        return words(cut(written_text(text, self.form), LONGEST), style or self.body)

    def _order(self) -> list[Flowable]:
        """STOP, or not to start it, with the reasons, in a box of its own."""
        if not self.told.order:
            return []
        reasons = [self._words(f"\N{BULLET} {written_text(reason, self.form)}") for reason in self.told.stops]
        box = Table([[[words(self.told.order, self.order), *reasons]]], colWidths=[WIDTH])
        box.setStyle(TableStyle([("BOX", (0, 0), (-1, -1), 1.6, black), ("TOPPADDING", (0, 0), (-1, -1), 3)]))
        return [Spacer(0, 3), box, Spacer(0, 4)]

    def _steps(self) -> list[Flowable]:
        rows: list[Flowable] = [words(self.told.hurry, self.strong)] if self.told.hurry else []
        for when in WHENS:
            own = [step for step in self.told.steps if step.when == when]
            if own:
                rows.append(words(when.capitalize(), self.heading))
                rows.append(self._ticked(own))
        return rows

    def _ticked(self, steps: list[WordedStep]) -> Table:
        box, number = 1.7 * self.body.fontSize, 1.9 * self.body.fontSize
        cells = [[words(TICK), self._words(f"{step.number}."), self._words(step.do)] for step in steps]
        table = Table(cells, colWidths=[box, number, LEFT * WIDTH - GAP - box - number])
        table.setStyle(
            TableStyle(
                [
                    ("VALIGN", (0, 0), (-1, -1), "TOP"),
                    ("LEFTPADDING", (0, 0), (-1, -1), 0),
                    ("RIGHTPADDING", (0, 0), (-1, -1), 1),
                    ("TOPPADDING", (0, 0), (-1, -1), 0),
                    ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
                ]
            )
        )
        return table

    def _listed(self, title: str, lines: list[str]) -> list[Flowable]:
        return [words(title, self.heading), *(self._words(f"\N{BULLET} {line}", self.small) for line in lines)]

    def _calls(self) -> list[Flowable]:
        lines = [f"{call.told}{' (so here)' if call.applies else ''}" for call in self.told.calls]
        return self._listed("Call a mechanic now if", lines)

    def _hand_over(self) -> list[Flowable]:
        lines = [f"{what}: {written_text(known, self.form)}" for what, known in self.told.hand_over]
        return self._listed("Tell the mechanic", lines)

    def _cautions(self) -> list[Flowable]:
        return self._listed("Cautions", list(self.told.cautions))

    def _foot(self) -> list[Flowable]:
        day = written_day(self.answer.as_of, self.form)
        return [Spacer(0, 3), self._words(f"Answered on {day}. {self.told.evidence}", self.small)]
