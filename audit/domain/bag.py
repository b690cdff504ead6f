"""The texts that make a folder a bag (RFC 8493, The BagIt File Packaging Format, version 1.0)."""

import re
from collections.abc import Iterable
from dataclasses import dataclass

DECLARATION = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
"""``bagit.txt``, section 2.1.1."""
MANIFEST = "manifest-sha256.txt"
TAG_MANIFEST = "tagmanifest-sha256.txt"
PAYLOAD = "data/"
LONGEST_PART = 60


@dataclass(frozen=True, slots=True)
class FileInBag:
    """One file, by its path from the bag's own folder, with ``/`` between parts."""

    path: str
    size_bytes: int
    sha256: str

    @property
    def is_payload(self) -> bool:
        return self.path.startswith(PAYLOAD)


def safe_name(text: str) -> str:
    """A text as a part of a path that every file system takes: letters, digits, ``-`` and ``.``.

    Examples
    --------
    >>> safe_name("CA-B-00017"), safe_name("E 12/ä"), safe_name("...")
    ('CA-B-00017', 'E-12', 'x')
    """
    name = re.sub(r"[^A-Za-z0-9.]+", "-", text)[:LONGEST_PART].strip("-.")
    return name or "x"


def manifest_line(file: FileInBag) -> str:
    """One line of a manifest (section 2.1.3), as ``sha256sum`` reads it too.

    Examples
    --------
    >>> manifest_line(FileInBag("data/a.csv", 1, "00"))
    '00  data/a.csv\\n'
    """
    return f"{file.sha256}  {file.path}\n"


def bag_info(fields: Iterable[tuple[str, str]]) -> str:
    """``bag-info.txt`` (section 2.2.2): a label and a value a line.

    Examples
    --------
    >>> bag_info([("Source-Organization", "Skarnfell\\nInstruments")])
    'Source-Organization: Skarnfell Instruments\\n'
    """
    return "".join(f"{label}: {' '.join(value.split())}\n" for label, value in fields)
