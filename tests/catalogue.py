"""Which messages a template or module asks to be translated, found without other programs."""

import ast
import re
from pathlib import Path

from django.utils.translation.template import templatize

TOP = Path(__file__).resolve().parent.parent

CALLS = {
    "_": "m",
    "gettext": "m",
    "gettext_lazy": "m",
    "ngettext": "mp",
    "ngettext_lazy": "mp",
    "pgettext": "cm",
    "pgettext_lazy": "cm",
    "npgettext": "cmp",
}
"""What each function's first arguments are: context, message, plural."""

LITERAL = r"""u?(?:'(?:[^'\\]|\\.)*'|"(?:[^"\\]|\\.)*")"""
CALL = re.compile(rf"\b(_|n?p?gettext)\(((?:\s*{LITERAL}\s*,?)+)", re.DOTALL)


def messages_in(name: str) -> set[tuple[str, str]]:
    """The (context, message) pairs of one file, given by its path from the top."""
    text = (TOP / name).read_text()
    return _in_python(text) if name.endswith(".py") else _in_template(text)


def _in_template(text: str) -> set[tuple[str, str]]:
    found = set()
    for function, arguments in CALL.findall(templatize(text)):
        literals = [ast.literal_eval(one) for one in re.findall(LITERAL, arguments)]
        found.add(_pair(CALLS[function], literals))
    return found


def _in_python(text: str) -> set[tuple[str, str]]:
    found = set()
    for node in ast.walk(ast.parse(text)):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name):
            continue
        parts = CALLS.get(node.func.id)
        first = [one.value for one in node.args if isinstance(one, ast.Constant)]
        if parts and len(first) >= len(parts):
            found.add(_pair(parts, [str(one) for one in first]))
    return found


def _pair(parts: str, literals: list[str]) -> tuple[str, str]:
    by_part = dict(zip(parts, literals, strict=False))
    return by_part.get("c", ""), by_part["m"]
