"""Pages as a browser reads them: how a template is laid out makes no difference to a test.

White space beside a tag separates elements in the source and is nothing to look for. What the
test client answers with is compared without it, on both sides of each comparison.
"""

from functools import cache, lru_cache
from typing import Any

from django.http import HttpResponse


@lru_cache(maxsize=256)
def squeezed(html: str) -> str:
    """Markup with runs of white space as one space, and none beside a tag's brackets.

    Most tests look for several things in one page, and many for the same in several.
    """
    html = str(html)  # What is taken out of a page is `Markup`, which would squeeze by this.
    for white in "\t\n\r\f":
        html = html.replace(white, " ")
    while "  " in html:
        html = html.replace("  ", " ")
    for bracket in "<>":
        html = html.replace(f" {bracket}", bracket).replace(f"{bracket} ", bracket)
    return html


class Markup(str):
    """A page's text; what is looked for in it may be laid out in another way."""

    __slots__ = ()

    def __new__(cls, html: str) -> "Markup":
        return super().__new__(cls, squeezed(html))

    def __contains__(self, part: object) -> bool:
        return super().__contains__(squeezed(str(part)))

    def count(self, part: str, *bounds: Any) -> int:
        return super().count(squeezed(part), *bounds)

    def index(self, part: str, *bounds: Any) -> int:
        return super().index(squeezed(part), *bounds)

    def find(self, part: str, *bounds: Any) -> int:
        return super().find(squeezed(part), *bounds)

    def split(self, separator: str | None = None, maxsplit: int = -1) -> list[str]:  # type: ignore[override]
        separator = separator if separator is None else squeezed(separator)
        return [Markup(part) for part in super().split(separator, maxsplit)]

    def partition(self, separator: str) -> tuple[str, str, str]:
        before, found, after = super().partition(squeezed(separator))
        return Markup(before), found, Markup(after)

    def replace(self, old: str, new: str, *count: Any) -> str:
        return Markup(super().replace(squeezed(old), new, *count))


class MarkupBytes(bytes):
    """The bytes of a page, which decode to `Markup`; ``bytes(content)`` are those that came."""

    __slots__ = ()

    def decode(self, *_encoding: Any, **_named: Any) -> str:
        return Markup(super().decode())

    def __contains__(self, part: Any) -> bool:
        return part.decode() in self.decode()


def read_as_a_browser_does(response: HttpResponse) -> None:
    """Have a page's ``content`` compared without regard to how it is laid out."""
    if response.streaming or not response.headers.get("Content-Type", "").startswith("text/html"):
        return
    response.__class__ = _read_as_markup(type(response))


@cache
def _read_as_markup(kind: type[HttpResponse]) -> type[HttpResponse]:
    """The same kind of answer, whose ``content`` is `MarkupBytes`."""
    stored: Any = kind.content
    content = property(lambda self: MarkupBytes(stored.fget(self)), stored.fset)
    return type(kind.__name__, (kind,), {"content": content})
