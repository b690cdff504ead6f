"""Names on paper: in every script from named faces, and a notice where there is none."""

import io
import unicodedata

import numpy as np
import pytest
import typst
from PIL import Image

from people.content import embedded_face
from people.presenters import paper
from people.queries import printing
from tests.paper import NAMES, glyphs_drawn, letters, pages_of, says

SOURCE = """
#set document(title: "Names")
#for name in data.names [ #fit(name, 80mm, 9mm, (14pt, 10pt, 6pt)) #par(name) ]
"""


@pytest.fixture
def source(tmp_path):
    path = tmp_path / "names.typ"
    path.write_text(SOURCE)
    return path


@pytest.mark.parametrize("script", NAMES)
@pytest.mark.usefixtures("faces")
def test_a_name_is_set_in_real_glyphs_and_read_again_from_the_paper(source, script):
    name = NAMES[script]

    pdf = paper.typeset(source, {"names": [paper.name_or_notice(name)]})

    assert says(pdf, name)
    drawn = list(glyphs_drawn(pdf))
    assert len(drawn) >= len(letters(name))
    assert [glyph for glyph in drawn if glyph[2]] == []
    known = {"LibertinusSerif", *(face.family.replace(" ", "") for face in printing.FACES)}
    for font, _cid, _is_notdef in drawn:
        assert font.split("+")[1].split("-")[0].rstrip("0123456789") in known or "CJK" in font


@pytest.mark.usefixtures("faces")
def test_marks_join_and_letters_are_shaped(source):
    """Fewer glyphs than letters where letters join, as क्ष does, and never the letters alone."""
    apart = list(glyphs_drawn(paper.typeset(source, {"names": ["क ष"]})))
    joined = list(glyphs_drawn(paper.typeset(source, {"names": ["क्ष"]})))
    assert {cid for _font, cid, _is in joined}.isdisjoint(
        {cid for font, cid, _is in apart if "Devanagari" in font}
    ) or len(joined) < len(apart)
    middle = {cid for _font, cid, _is in glyphs_drawn(paper.typeset(source, {"names": ["ههه"]}))}
    assert len(middle) >= 3  # First, middle and last have forms of their own.


@pytest.mark.parametrize(
    ("word", "script", "package", "said"),
    [
        ("Thai", "thai", "fonts-noto-core", "Thai"),
        ("Arabic", "arabic", "fonts-noto-core", "Arabic"),
        ("Devanagari", "devanagari", "fonts-noto-core", "Devanagari"),
        ("CJK", "korean", "fonts-noto-cjk", "Chinese, Japanese, Korean"),
    ],
)
def test_without_a_face_a_notice_stands_there_and_never_boxes(
    without, source, word, script, package, said
):
    without(word)
    name = NAMES[script]

    pdf = paper.typeset(source, {"names": [paper.name_or_notice(name), f"10482 {name} 7"]})

    (text,) = pages_of(pdf)
    assert f"[name in {said} letters: no font here]" in text
    assert f"10482 [{said} letters: no font here] 7" in text
    assert not any(letter in text for letter in letters(name))
    assert [glyph for glyph in glyphs_drawn(pdf) if glyph[2]] == []
    lacking = paper.not_printed(["Ann", name, name, NAMES["greek"]])
    assert (lacking.texts, lacking.more) == ((name,), 0)
    assert (lacking.scripts, lacking.packages) == (said, package)
    assert [str(one.name) for one in printing.coverage().missing] == [said]
    for other, kept in NAMES.items():
        if other != script and (word != "CJK" or other not in {"chinese", "japanese"}):
            assert printing.can_print(kept), other


def test_a_bare_machine_prints_what_the_embedded_face_has(settings, source):
    settings.FONT_FOLDERS = []
    assert paper.not_printed([NAMES[name] for name in ("latin", "greek", "cyrillic")]) is None
    assert paper.not_printed([NAMES["vietnamese"]]) is None

    pdf = paper.typeset(source, {"names": [NAMES["vietnamese"], NAMES["thai"]]})

    assert says(pdf, NAMES["vietnamese"])
    assert "Thai letters: no font here" in pages_of(pdf)[0]


def test_every_letter_listed_of_the_embedded_face_is_in_it(settings, source):
    settings.FONT_FOLDERS = []
    listed = sorted(printing.embedded_letters())
    assert len(listed) > 1900
    texts = [f"o{chr(code)}" for code in listed]

    pdf = paper.typeset(source, {"names": texts})  # PDF/UA refuses a letter without a glyph.

    drawn = list(glyphs_drawn(pdf))
    assert {font for font, _cid, _is in drawn if "LibertinusSerif" not in font} == set()
    assert [glyph for glyph in drawn if glyph[2]] == []
    assert embedded_face.NAME == "Libertinus Serif"


def test_a_mark_needs_a_face_that_has_its_letter_too():
    assert printing.can_print(unicodedata.normalize("NFD", "Zoë Nguyễn"))
    assert not printing.can_print("e\u0e48")  # A Thai tone mark on a Latin letter.
    assert not printing.can_print("bell\u0007")


@pytest.mark.usefixtures("faces")
def test_a_name_read_from_the_right_leaves_what_stands_beside_it_in_place():
    assert paper.isolated("Ann") == "Ann"
    assert paper.isolated(NAMES["hebrew"]) == f"\u2068{NAMES['hebrew']}\u2069"


@pytest.mark.parametrize(
    "name",
    ["Maximiliana " * 9, "W" * 120, "สมชายใจดี" * 13, "山田太郎" * 30],
    ids=["words", "one word", "thai", "cjk"],
)
@pytest.mark.usefixtures("faces")
def test_a_long_name_wraps_or_shrinks_inside_its_room(tmp_path, monkeypatch, name):
    """Its box is the left four fifths of the page, and the upper half."""
    source = tmp_path / "long.typ"
    source.write_text(
        '#set document(title: "Long")\n#set page(width: 100mm, height: 40mm, margin: 0mm)\n'
        "#fit(data.name, 80mm, 20mm, (14pt, 10pt, 6pt))"
    )
    data = {"name": name.strip()}
    pdf = paper.typeset(source, data)
    assert len(letters(pages_of(pdf)[0])) >= len(letters(name))  # None is cut off.

    ink = np.argwhere(picture_of(source, data, monkeypatch) < 128)

    down, across = ink.max(axis=0)
    assert across <= 800 + 5
    assert down <= 200
    assert across > 600


def picture_of(source, data, monkeypatch):
    """The page as an array of greys, ten pixels to the millimetre."""
    real = typst.compile

    def drawn(main, *, pdf_standards, **given):
        return real(main, format="png", ppi=254, **given)

    with monkeypatch.context() as patched:
        patched.setattr(typst, "compile", drawn)
        png = paper.typeset(source, data)
    return np.asarray(Image.open(io.BytesIO(png)).convert("L"))


@pytest.mark.usefixtures("faces")
def test_chinese_characters_are_written_as_at_the_site(source):
    """直 is drawn differently in Japan and in China."""

    def drawn(zone):
        (font,) = {
            font
            for font, _cid, _is in glyphs_drawn(paper.typeset(source, {"names": ["直"]}, zone=zone))
            if "Libertinus" not in font and "Bold" in font
        }
        return font.split("+")[1]

    assert "CJKjp" in drawn("Asia/Tokyo")
    assert "CJKkr" in drawn("Asia/Seoul")
    assert "CJKsc" in drawn("Europe/Madrid")
