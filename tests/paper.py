"""PDFs as they were set: what they say, and which glyphs they draw."""

import io
from collections.abc import Iterator
from functools import cache
from typing import Any

from fontTools.cffLib import CFFFontSet
from fontTools.pens.recordingPen import RecordingPen
from fontTools.ttLib import TTFont
from pypdf import PdfReader
from pypdf.generic import ContentStream

# A name in every script that paper is to print.
NAMES = {
    "latin": "Zoë Łukasiewicz",
    "greek": "Ελένη Παπαδοπούλου",
    "cyrillic": "Дмитро Ґудзь",
    "vietnamese": "Nguyễn Thị Ánh",
    "chinese": "王小明",
    "japanese": "山田 たろう",
    "korean": "김민수",
    "thai": "สมชาย ใจดี",
    "arabic": "محمد علی‌زاده",
    "hebrew": "משה כהן",
    "devanagari": "प्रिया शर्मा",
}


def pages_of(pdf: bytes) -> list[str]:
    """The text of each page, with one space where there are several."""
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]


def letters(text: str) -> list[str]:
    """The letters of a text in no order: what is read from the right is extracted as it lies."""
    return sorted(character for character in text if character.isalpha())


def says(pdf: bytes, name: str) -> bool:
    """Whether a page has a line, or a few in a row, with just these letters."""
    wanted = letters(name)
    for page in PdfReader(io.BytesIO(pdf)).pages:
        lines = [letters(line) for line in page.extract_text().splitlines()]
        if any(all(letter in line for letter in wanted) and line for line in lines):
            return True
    return False


def glyphs_drawn(pdf: bytes) -> Iterator[tuple[str, int, bool]]:
    """Each glyph that is drawn: its font, its number, and whether it looks like ``.notdef``."""
    for page in PdfReader(io.BytesIO(pdf)).pages:
        resources: Any = page["/Resources"]
        fonts = {name: font.get_object() for name, font in resources["/Font"].items()}
        outlines = {name: _Outlines(font) for name, font in fonts.items()}
        at = ""
        for operands, operator in ContentStream(page.get_contents(), page.pdf).operations:
            if operator == b"Tf":
                at = operands[0]
            for text in _strings(operands, operator):
                for place in range(0, len(text), 2):
                    cid = int.from_bytes(text[place : place + 2], "big")
                    yield outlines[at].name, cid, outlines[at].is_notdef(cid)


def _strings(operands: Any, operator: bytes) -> list[bytes]:
    if operator not in {b"Tj", b"TJ"}:
        return []
    items = operands[0] if operator == b"TJ" else operands
    return [_bytes(item) for item in items if isinstance(item, str | bytes)]


def _bytes(item: Any) -> bytes:
    return item.original_bytes if hasattr(item, "original_bytes") else bytes(item)


class _Outlines:
    """An embedded font, asked whether a glyph is drawn as the one for no glyph is."""

    def __init__(self, font: Any) -> None:
        descendant = font["/DescendantFonts"][0].get_object()
        descriptor = descendant["/FontDescriptor"].get_object()
        self.name = str(font["/BaseFont"])
        assert font["/Encoding"] == "/Identity-H"
        file = next(descriptor[key] for key in descriptor if key.startswith("/FontFile"))
        content = file.get_object().get_data()
        if "/FontFile2" in descriptor:
            opened = TTFont(io.BytesIO(content))
            self.glyphs: Any = opened.getGlyphSet()
            self.names = opened.getGlyphOrder()
        else:
            cff = CFFFontSet()
            cff.decompile(io.BytesIO(content), None)
            self.glyphs = cff[cff.fontNames[0]].CharStrings
            self.names = cff[cff.fontNames[0]].charset
        self.by_cid = "/FontFile2" not in descriptor
        # A page draws the same few over and over.
        self.is_notdef = cache(self._is_notdef)
        self._outline = cache(self._read_outline)

    def _is_notdef(self, cid: int) -> bool:
        return cid == 0 or (bool(self._outline(cid)) and self._outline(cid) == self._outline(0))

    def _read_outline(self, cid: int) -> list[Any]:
        name = f"cid{cid:05d}" if self.by_cid and f"cid{cid:05d}" in self.names else None
        pen = RecordingPen()
        self.glyphs[name or self.names[cid]].draw(pen)
        return pen.value
