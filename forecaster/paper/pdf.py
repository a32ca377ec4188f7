"""The report as a PDF of two to six A4 pages, for a customer or the workshop's wall."""

from __future__ import annotations

from io import BytesIO

from reportlab.platypus import Flowable, Frame, PageTemplate
from reportlab.platypus.doctemplate import BaseDocTemplate

from forecaster.paper import wording
from forecaster.paper.back_pages import cautions, costs, curves, evidence, parts, records
from forecaster.paper.content import PaperContent
from forecaster.paper.front_pages import cover, ranked, weeks
from forecaster.paper.page_parts import FOOT, HEAD, MARGIN, PAGE_HEIGHT, TEXT_WIDTH, NumberedCanvas, cut
from forecaster.paper.typeface import register_fonts, shown

MOST_PAGES = 6
# Units in the ranked table and names in one week's cell, tried in turn until the paper has no more than MOST_PAGES.
LISTED = ((45, 8), (36, 6), (26, 4), (16, 3), (8, 2))


def paper_pdf(content: PaperContent) -> bytes:
    """The report as the bytes of a PDF file; the same content gives the same bytes.

    At most `MOST_PAGES` pages: of a large fleet the units most at risk are listed and the others counted. A character
    that the paper's fonts lack is drawn as a white square; the work list holds it.
    """
    register_fonts()
    for units, names in LISTED:
        written, pages = _built(content, units, names)
        if pages <= MOST_PAGES:
            break
    return written


def _built(content: PaperContent, units: int, names: int) -> tuple[bytes, int]:
    packed = BytesIO()
    document = BaseDocTemplate(
        packed,
        pagesize=(TEXT_WIDTH + 2 * MARGIN, PAGE_HEIGHT),
        title=shown(wording.title(content)),
        author=f"Supercharger forecaster {content.version}".strip(),
        subject="Maintenance forecast and off-season plan",
        lang="en",
        invariant=1,  # no clock in the file: the same content is the same file
    )
    frame = Frame(MARGIN, FOOT, TEXT_WIDTH, PAGE_HEIGHT - HEAD - FOOT, 0, 0, 0, 0, id="text")
    document.addPageTemplates([PageTemplate(id="page", frames=[frame])])
    foot = shown(cut(wording.readers(content), 70))
    told = f"{foot} \N{MIDDLE DOT} as of {wording.day(content.as_of, content)}"

    class Canvas(NumberedCanvas):
        foot = told

    document.build(_story(content, units, names), canvasmaker=Canvas)
    return packed.getvalue(), document.page


def _story(content: PaperContent, units: int, names: int) -> list[Flowable]:
    return [
        *cover(content),
        *weeks(content, names),
        *ranked(content, units),
        *curves(content),
        *costs(content),
        *parts(content),
        *evidence(content),
        *records(content),
        *cautions(),
    ]
