"""Every drawing can go into any page, twice, and says what it shows."""

import re

import pytest

from tests.assessments.drawing_files import DRAWINGS, KNOWN_CLASSES, Drawing, all_drawings

each_drawing = pytest.mark.parametrize("drawing", all_drawings(), ids=lambda one: one.name)


def test_there_are_drawings() -> None:
    assert len(all_drawings()) > 60


@each_drawing
def test_says_what_it_shows(drawing: Drawing) -> None:
    root = drawing.root
    assert len(drawing.title) > 15
    assert root.get("aria-label") == drawing.title
    assert root.get("role") == "img"


@each_drawing
def test_has_the_size_of_all_drawings(drawing: Drawing) -> None:
    assert drawing.root.get("viewBox") == "0 0 160 120"


@each_drawing
def test_uses_known_classes_so_that_it_follows_the_page(drawing: Drawing) -> None:
    assert set(drawing.classes) <= KNOWN_CLASSES


@each_drawing
def test_every_shape_has_a_class_and_ink_of_its_own(drawing: Drawing) -> None:
    for element in drawing.root.iter():
        kind = element.tag.rpartition("}")[2]
        if kind in {"path", "circle", "text"}:
            assert (element.get("class") or "").startswith("d-")
            assert element.get("fill") is not None
            assert element.get("fill") != "none" or element.get("stroke") is not None


@each_drawing
def test_holds_nothing_but_lines_circles_and_text(drawing: Drawing) -> None:
    kinds = {element.tag.rpartition("}")[2] for element in drawing.root.iter()}
    assert kinds <= {"svg", "title", "g", "path", "circle", "text"}
    assert not re.search(r"\b(id|style|href|on\w+)\s*=", drawing.text)


@each_drawing
def test_carries_at_most_one_mark_and_rings_a_fault_once(drawing: Drawing) -> None:
    marks = [drawing.classes.count(name) for name in ("d-accept", "d-reject", "d-fault")]
    assert marks in ([0, 0, 0], [1, 0, 0], [0, 1, 1])


def test_every_class_has_its_colours_in_the_style_sheet() -> None:
    sheet = (DRAWINGS.parents[1] / "css" / "base.css").read_text(encoding="utf-8")
    assert not {name for name in KNOWN_CLASSES if not re.search(rf"\.{name}\b", sheet)}
