"""Reads translations as people write them and packs them as programs read them.

    python -m config.catalogue

makes each `.mo` under `locale/` from the `.po` beside it, as GNU msgfmt would. Both are kept, so
an installation needs no gettext.
"""

import ast
import re
import struct
from dataclasses import dataclass, field
from pathlib import Path

LOCALES = Path(__file__).resolve().parent.parent / "locale"
MAGIC = 0x950412DE
CONTEXT, PLURAL = "\x04", "\x00"


@dataclass
class _Entry:
    parts: dict[str, str] = field(default_factory=dict)
    fuzzy: bool = False


def read_po(text: str) -> dict[str, str]:
    """Return the translations in a `.po`, keyed and joined as a `.mo` holds them.

    What is empty or marked fuzzy is left out.

    Examples
    --------
    >>> read_po('msgctxt "on a tool"\\nmsgid "tip"\\nmsgstr "Spitze"\\n')
    {'on a tool\\x04tip': 'Spitze'}
    """
    entries = [_Entry()]
    keyword = ""
    for line in text.splitlines():
        if line.startswith("#") or not line.strip():
            if entries[-1].parts:
                entries.append(_Entry())
            entries[-1].fuzzy |= line.startswith("#,") and "fuzzy" in line
            continue
        found = re.fullmatch(r'(?:(msg\w+(?:\[\d\])?) )?(".*")\s*', line)
        if found is None:
            raise ValueError(f"This is no line of a catalogue: {line}")
        if found[1]:
            keyword = found[1]
            if keyword in entries[-1].parts:
                entries.append(_Entry())
        parts = entries[-1].parts
        parts[keyword] = parts.get(keyword, "") + ast.literal_eval(found[2])
    return dict(_packed(entry) for entry in entries if _is_said(entry))


def _is_said(entry: _Entry) -> bool:
    said = [text for key, text in entry.parts.items() if key.startswith("msgstr")]
    return bool(said) and all(said) and not entry.fuzzy


def _packed(entry: _Entry) -> tuple[str, str]:
    parts = entry.parts
    key = parts["msgid"]
    if "msgctxt" in parts:
        key = parts["msgctxt"] + CONTEXT + key
    if "msgid_plural" in parts:
        key += PLURAL + parts["msgid_plural"]
    return key, PLURAL.join(text for name, text in parts.items() if name.startswith("msgstr"))


def to_mo(messages: dict[str, str]) -> bytes:
    """Pack translations: seven figures, two tables of lengths and places, then the texts."""
    pairs = sorted((key.encode(), text.encode()) for key, text in messages.items())
    tables, texts = [b"", b""], b""
    start = 28 + 16 * len(pairs)
    for column in (0, 1):
        for pair in pairs:
            tables[column] += struct.pack("<II", len(pair[column]), start + len(texts))
            texts += pair[column] + b"\0"
    head = struct.pack("<7I", MAGIC, 0, len(pairs), 28, 28 + 8 * len(pairs), 0, 0)
    return head + tables[0] + tables[1] + texts


def main() -> None:
    for source in sorted(LOCALES.glob("*/LC_MESSAGES/*.po")):
        source.with_suffix(".mo").write_bytes(to_mo(read_po(source.read_text())))


if __name__ == "__main__":
    main()
