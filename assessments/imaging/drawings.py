"""Drawings that somebody sends: an SVG made anew from what is allowed, a picture from its pixels.

Bytes in, bytes out; nothing of the file that came is passed on as it was.
"""

import re
from io import BytesIO
from xml.parsers import expat
from xml.sax.saxutils import escape, quoteattr, unescape

from django.utils.translation import gettext as _

from assessments.exceptions import DecodersBusy, NotADrawing

from .apart import DecoderRefused, decode_apart

MOST_SVG_BYTES = 200_000
MOST_PICTURE_BYTES = 4 * 1024 * 1024
MOST_PIXELS = 16_000_000
LONGEST_SIDE = 1600
MOST_ELEMENTS = 3000
DEEPEST = 24
MOST_NUMBERS = 20_000
"""Of one path or list of points, in characters."""
LARGEST_NUMBER = 1e6
SMALLEST_SIDE = 1e-3
ENCODINGS = {"utf-8", "us-ascii", "iso-8859-1", "utf-16"}
"""What expat reads by itself; any other it would look up among all that Python knows."""
QUOTE = '"'
PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
JPEG_SIGNATURE = b"\xff\xd8\xff"
JPEG_QUALITY = 88

SVG = "http://www.w3.org/2000/svg"
SHAPES = {
    "svg",
    "g",
    "path",
    "circle",
    "ellipse",
    "line",
    "polyline",
    "polygon",
    "rect",
    "text",
    "tspan",
}
LEFT_OUT = {"title", "desc", "metadata"}
"""What says nothing to the eye: left out with all that is in it."""
NUMBER = r"[+-]?(?:[0-9]++\.?[0-9]*+|\.[0-9]++)(?:[eE][+-]?[0-9]++)?"
LENGTH = re.compile(rf"{NUMBER}(?:px|mm|cm|in|pt|pc|em|ex|%)?", re.ASCII)
# Atomic, so that a list of digits is never tried in all the ways it falls into numbers.
LIST = rf"(?>(?>{NUMBER})(?:px|mm|pt|%)?+[\s,]*+)++"
NUMBERS = re.compile(LIST, re.ASCII)
PATH = re.compile(r"[MmLlHhVvCcSsQqTtAaZz0-9eE+\-.,\s]*", re.ASCII)
TRANSFORM = re.compile(
    rf"(?>\s*+(?:translate|scale|rotate|skewX|skewY|matrix)\s*+\({LIST}\)[\s,]*+)++", re.ASCII
)
COLOUR = re.compile(
    r"none|currentColor|transparent|#[0-9a-fA-F]{3,8}|[a-zA-Z]{3,24}|rgba?\([0-9.,%\s]{5,40}\)",
    re.ASCII,
)
WORD = re.compile(r"[a-zA-Z-]{1,24}|[1-9]00")
CLASSES = re.compile(r"(?:drawing|d-[a-z-]{1,20})(?: d-[a-z-]{1,20})*")

ALLOWED = {
    **dict.fromkeys(
        ("x", "y", "x1", "y1", "x2", "y2", "cx", "cy", "r", "rx", "ry", "dx", "dy"), NUMBERS
    ),
    **dict.fromkeys(("width", "height", "font-size", "stroke-width", "stroke-dashoffset"), LENGTH),
    **dict.fromkeys(
        ("opacity", "fill-opacity", "stroke-opacity", "stroke-miterlimit"), re.compile(NUMBER)
    ),
    **dict.fromkeys(("points", "viewBox"), NUMBERS),
    "stroke-dasharray": re.compile(rf"none|{LIST}", re.ASCII),
    "d": PATH,
    "transform": TRANSFORM,
    **dict.fromkeys(("fill", "stroke"), COLOUR),
    **dict.fromkeys(
        (
            "fill-rule",
            "stroke-linecap",
            "stroke-linejoin",
            "text-anchor",
            "font-weight",
            "font-style",
            "dominant-baseline",
        ),
        WORD,
    ),
    "class": CLASSES,
}
"""Attributes that are passed on, each with all that it may say."""
NUMERIC = (NUMBERS, LENGTH, PATH, TRANSFORM)
REFUSED = re.compile(r"on\w*|style|href|src|filter|mask|clip-path|marker.*|begin|values|from|to")


def clean_svg(data: bytes, title: str) -> bytes:
    """Make a drawing anew from the lines, shapes and texts of an SVG.

    Parameters
    ----------
    data : bytes
        The file as it came.
    title : str
        What the drawing shows.

    Raises
    ------
    NotADrawing
        If it is no SVG, or holds anything that can act, refer to elsewhere or carry a style.
    """
    if len(data) > MOST_SVG_BYTES:
        raise NotADrawing(
            _("The drawing has more than %(n)d kB. Save it with fewer points.")
            % {"n": MOST_SVG_BYTES // 1000}
        )
    builder = _Builder(title)
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.XmlDeclHandler = builder.refuse_encoding
    parser.StartElementHandler = builder.start
    parser.EndElementHandler = builder.end
    parser.CharacterDataHandler = builder.text
    parser.StartDoctypeDeclHandler = builder.refuse_doctype
    parser.EntityDeclHandler = builder.refuse_doctype
    parser.ProcessingInstructionHandler = builder.refuse_instruction
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        raise NotADrawing(
            _("The file is not a whole SVG: line %(line)d cannot be read. Save it again as SVG.")
            % {"line": error.lineno}
        ) from error
    return builder.whole().encode()


class _Builder:
    def __init__(self, title: str) -> None:
        self.title = title
        self.parts: list[str] = []
        self.depth = 0
        self.skipped = 0
        self.elements = 0
        self.shapes = 0
        self.in_text = 0

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self.elements += 1
        self.depth += 1
        if self.elements > MOST_ELEMENTS or self.depth > DEEPEST:
            raise NotADrawing(
                _("The drawing has too many parts to be shown. Save it with fewer lines.")
            )
        namespace, _space, name = tag.rpartition(" ")
        if self.skipped or (namespace and namespace != SVG) or name in LEFT_OUT:
            if self.depth == 1:
                raise NotADrawing(_("The file is not an SVG. Save the drawing as SVG or PNG."))
            self.skipped += 1
            return
        if self.depth == 1:
            self._open(name, attributes)
            return
        if name not in SHAPES - {"svg"}:
            raise NotADrawing(
                _(
                    "The drawing holds <%(name)s>, which is not taken: lines, shapes and text are."
                    " Save it as a plain SVG without it."
                )
                % {"name": name[:40]}
            )
        self.shapes += name not in ("g", "tspan")
        self.in_text += name in ("text", "tspan")
        self.parts.append(f"<{name}{self._attributes(attributes)}>")

    def _open(self, name: str, attributes: dict[str, str]) -> None:
        if name != "svg":
            raise NotADrawing(_("The file is not an SVG. Save the drawing as SVG or PNG."))
        box = attributes.get("viewBox") or _box_of(attributes)
        numbers = _numbers_in(box) if NUMBERS.fullmatch(box.strip()) else []
        if len(numbers) != 4 or min(numbers[2:]) <= 0:
            raise NotADrawing(
                _("The drawing does not say how large it is. Give the SVG a viewBox.")
            )
        if min(numbers[2:]) < SMALLEST_SIDE or max(map(abs, numbers)) > LARGEST_NUMBER:
            raise NotADrawing(
                _(
                    "The drawing is drawn too large or too small to be shown. Give the SVG a"
                    " viewBox of some hundreds a side, 0 0 160 120 for example."
                )
            )
        shown = " ".join(f"{number:g}" for number in numbers)
        label = escape(self.title, {QUOTE: "&quot;"})
        self.parts.append(
            f'<svg xmlns="{SVG}" viewBox="{shown}" role="img" aria-label="{label}">'
            f"<title>{escape(self.title)}</title>"
        )
        self._attributes(attributes)  # What may not be there is refused here too.

    def _attributes(self, attributes: dict[str, str]) -> str:
        said = []
        for full, value in attributes.items():
            namespace, _space, name = full.rpartition(" ")
            if REFUSED.fullmatch(name) and (not namespace or name == "href"):
                raise NotADrawing(
                    _(
                        "The drawing says “%(name)s”, which is not taken. Save it as a plain SVG"
                        " with colours and widths on the lines themselves."
                    )
                    % {"name": name[:40]}
                )
            allowed = None if namespace else ALLOWED.get(name)
            if allowed is None:
                continue
            if len(value) > MOST_NUMBERS or not allowed.fullmatch(value.strip()):
                raise NotADrawing(
                    _("The drawing says %(name)s=“%(value)s”, which cannot be read safely.")
                    % {"name": name, "value": value[:40]}
                )
            if allowed in NUMERIC and max(map(abs, _numbers_in(value)), default=0) > LARGEST_NUMBER:
                raise NotADrawing(
                    _(
                        "The drawing says %(name)s with a number beyond a million, which cannot be"
                        " shown. Save it in a smaller scale."
                    )
                    % {"name": name}
                )
            said.append(f" {name}={quoteattr(value.strip())}")
        return "".join(said)

    def end(self, tag: str) -> None:
        self.depth -= 1
        if self.skipped:
            self.skipped -= 1
            return
        name = tag.rpartition(" ")[2]
        self.in_text -= name in ("text", "tspan")
        self.parts.append(f"</{name}>")

    def text(self, data: str) -> None:
        if not self.skipped and self.in_text:
            self.parts.append(escape(data))

    def refuse_doctype(self, *_said: object) -> None:
        raise NotADrawing(
            _("The drawing declares a document type or entities. Save it as a plain SVG.")
        )

    def refuse_encoding(self, _version: str, encoding: str | None, _standalone: int) -> None:
        if encoding is not None and encoding.lower() not in ENCODINGS:
            raise NotADrawing(
                _("The drawing is written in “%(encoding)s”, which is not taken. Save it as UTF-8.")
                % {"encoding": encoding[:40]}
            )

    def refuse_instruction(self, *_said: object) -> None:
        raise NotADrawing(_("The drawing refers to a style sheet. Save it as a plain SVG."))

    def whole(self) -> str:
        if not self.shapes:
            raise NotADrawing(_("There is nothing to see in the drawing. Save it again as SVG."))
        return "".join(self.parts)


def _numbers_in(text: str) -> list[float]:
    return [float(number) for number in re.findall(NUMBER, text)]


def _box_of(attributes: dict[str, str]) -> str:
    sides = [re.match(NUMBER, attributes.get(side, "")) for side in ("width", "height")]
    return f"0 0 {sides[0][0]} {sides[1][0]}" if sides[0] and sides[1] else ""


def title_of(data: bytes) -> str:
    """What an SVG that was made here says it shows; empty for any other file."""
    head = re.match(rb'<svg xmlns="[^"]*" viewBox="[^"]*" role="img" aria-label=("[^"]*")', data)
    if head is None:
        return ""
    try:
        return unescape(head[1][1:-1].decode(), {"&quot;": '"'})[:120]
    except UnicodeDecodeError:
        return ""


def picture_kind(data: bytes) -> str:
    """What a picture made anew from these bytes is: its media type; empty for no such picture.

    A PNG stays one, for its sharp lines; a JPEG or a WebP becomes a JPEG.
    """
    if data.startswith(PNG_SIGNATURE):
        return "image/png"
    is_webp = data[:4] == b"RIFF" and data[8:12] == b"WEBP"
    return "image/jpeg" if is_webp or data.startswith(JPEG_SIGNATURE) else ""


def plain_picture(data: bytes) -> bytes:
    """Make a picture anew from its pixels, decoded by a process of its own; at most 1600 a side.

    It comes out as `picture_kind` says. Have no transaction open: large pictures wait for their
    turn.

    Raises
    ------
    NotADrawing
        If it is no whole picture, or too large.
    """
    if len(data) > MOST_PICTURE_BYTES:
        raise NotADrawing(
            _("The picture has more than %(n)d MB. Make it smaller.")
            % {"n": MOST_PICTURE_BYTES // 1024**2}
        )
    kind = picture_kind(data)
    if not kind:
        raise NotADrawing(_("The file is no picture that is taken. Save it as SVG, PNG or JPEG."))
    try:
        decoded = decode_apart(
            BytesIO(data),
            most_pixels=MOST_PIXELS,
            most_bytes=8 * MOST_PIXELS,
            longest=LONGEST_SIDE,
        )
    except DecodersBusy:
        raise
    except (DecoderRefused, ValueError, OSError) as error:
        raise NotADrawing(
            _("The picture is damaged, moves, or has more than %(n)d million pixels.")
            % {"n": MOST_PIXELS // 1_000_000}
        ) from error
    out = BytesIO()
    if kind == "image/png":
        decoded.picture.save(out, "PNG", optimize=True)
    else:
        decoded.picture.save(out, "JPEG", quality=JPEG_QUALITY, optimize=True)
    return out.getvalue()
