"""Which messages a template or module asks to be translated, as Babel extracts them."""

import io
from collections.abc import Iterable
from pathlib import Path
from typing import Any, BinaryIO
from xml.etree import ElementTree

from babel.messages.extract import DEFAULT_KEYWORDS, extract, extract_python
from django.utils.translation.template import templatize

TOP = Path(__file__).resolve().parent.parent
LOCALES = TOP / "locale"
APPS = (
    "config",
    "records",
    "people",
    "training",
    "assessments",
    "certification",
    "audit",
    "reminders",
    "interfaces",
    "operations",
    "demo",
)

KEYWORDS = DEFAULT_KEYWORDS | {
    "gettext_lazy": None,
    "_now": None,
    "ngettext_lazy": (1, 2),
    "pgettext_lazy": ((1, "c"), 2),
    "npgettext_lazy": ((1, "c"), 2, 3),
}
"""Which arguments of each function are context (``"c"``), message and plural."""


def messages_in(path: Path) -> set[tuple[str, str]]:
    """The (context, message) pairs of one file; of a plural, the form for one."""
    method: Any = extract_python if path.suffix == ".py" else extract_template
    with path.open("rb") as file:
        return {
            (context or "", messages[0] if isinstance(messages, tuple) else messages)
            for _line, messages, _comments, context in extract(method, file, KEYWORDS)
        }


def extract_template(
    file: BinaryIO, keywords: Any, comment_tags: Any, options: Any
) -> Iterable[Any]:
    """Extract from a template by Babel's reader of Python: the interface of a Babel plug-in.

    Django turns a template into calls of gettext among crossed-out text, whose lines only
    Python's indentation would trouble.
    """
    lines = templatize(file.read().decode()).splitlines()
    calls = "\n".join(line.strip() for line in lines).encode()
    return extract_python(io.BytesIO(calls), keywords, comment_tags, options)


def all_messages() -> set[tuple[str, str]]:
    """The messages of every module and template, and what each drawing says that it shows."""
    modules = (path for app in APPS for path in (TOP / app).rglob("*.py"))
    paths = [path for path in modules if b"gettext" in path.read_bytes()]
    paths += [path for path in (TOP / "templates").rglob("*") if path.is_file()]
    drawings = (TOP / "static/img/drawings").glob("*.svg")
    shown = {("", ElementTree.parse(path).getroot()[0].text or "") for path in drawings}
    return shown.union(*(messages_in(path) for path in paths))
