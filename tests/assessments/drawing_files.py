"""The drawings as files, for tests of what names them."""

import re
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

DRAWINGS = Path(__file__).parents[2] / "static" / "img" / "drawings"

KNOWN_CLASSES = {
    "drawing",
    "d-outline",
    "d-metal",
    "d-solder",
    "d-insulation",
    "d-board",
    "d-wire",
    "d-wire-edge",
    "d-wire-shape",
    "d-strand",
    "d-thin",
    "d-centre",
    "d-hidden",
    "d-head",
    "d-text",
    "d-accept",
    "d-reject",
    "d-fault",
}


@dataclass(frozen=True)
class Drawing:
    name: str
    text: str

    @property
    def root(self) -> ElementTree.Element:
        return ElementTree.fromstring(self.text)

    @property
    def title(self) -> str:
        return self.root.findtext("{http://www.w3.org/2000/svg}title", "")

    @property
    def classes(self) -> list[str]:
        return re.findall(r'class="([^"]*)"', self.text)


def drawing(name: str) -> Drawing:
    return Drawing(name, (DRAWINGS / f"{name}.svg").read_text(encoding="utf-8"))


def all_drawings() -> list[Drawing]:
    return [drawing(path.stem) for path in sorted(DRAWINGS.glob("*.svg"))]
