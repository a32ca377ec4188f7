"""The paper's fonts, which ship with the program: a PDF's own fonts know no currency signs beyond a few."""

from __future__ import annotations

from functools import cache
from pathlib import Path

FOLDER = Path(__file__).resolve().parent / "fonts"
REGULAR, BOLD = "DejaVuSansCondensed", "DejaVuSansCondensed-Bold"
NO_GLYPH = "\N{WHITE SQUARE}"  # stands for a character that the fonts lack


@cache
def register_fonts() -> frozenset[int]:
    """Make both fonts known to reportlab, once; the characters (code points) that both can show."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    known: list[set[int]] = []
    for name in (REGULAR, BOLD):
        font = TTFont(name, str(FOLDER / f"{name}.ttf"))
        pdfmetrics.registerFont(font)
        known.append(set(font.face.charToGlyph))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD)
    return frozenset(known[0] & known[1])


def shown(text: str) -> str:
    """A text with `NO_GLYPH` for each character that the fonts lack, and a space for each control character."""
    known = register_fonts()
    printable = (" " if ord(c) < 32 or 127 <= ord(c) < 160 else c for c in text)
    return "".join(c if ord(c) in known else NO_GLYPH for c in printable)
