"""The picture of a life, whatever the facts: complete, inside its frame, and well formed."""

import re
from datetime import date, timedelta
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from certification.domain.facts import known
from certification.domain.periods import certificate_histories
from certification.domain.standing import timeline
from certification.presenters import life_picture
from certification.presenters.life_picture import Bar, Life, Mark, Paper
from certification.presenters.life_picture import Test as VisionTest
from people.presenters.symbols import STANDING_SYMBOLS
from tests.certification.standing_registers import FIRST_DAY, registers

NUMBER = re.compile(r'\s(?:x|y|width|height)="(-?[\d.]+)"')


def life_of(facts, asked, today):
    bars = []
    for span in timeline(facts).spans:
        shape, tone, word = STANDING_SYMBOLS[span.standing.value]
        key = span.standing.value
        bars.append(Bar(span.first_day, span.last_day, key, str(word), shape, tone))
    kept = known(facts)
    papers = [
        Paper(
            one.certificate.number,
            one.certificate.issued_on,
            one.period.valid_through,
            one.last_day,
            tuple(
                Mark(event.effective_on, "suspended", "is-reject", event.kind.value)
                for event in kept.events
                if event.certificate_number == one.certificate.number
            ),
        )
        for one in certificate_histories(kept.certificates, kept.events)
    ]
    tests = [
        VisionTest(one.tested_on, one.tested_on if one.passed else None)
        for one in facts.vision_tests
    ]
    return Life(
        "A <life> & more", today, asked, bars, papers, tests,
        [one.performed_on for one in facts.practice],
    )  # fmt: skip


def texts_of(picture):
    return ElementTree.fromstring(picture).iter("text")


@settings(max_examples=60)
@given(registers(), st.integers(-30, 500), st.integers(-30, 500))
def test_any_life_is_drawn_whole_and_inside_its_frame(facts, asked, today):
    life = life_of(facts, FIRST_DAY + timedelta(asked), FIRST_DAY + timedelta(today))

    found = life_picture.pictures(life)

    assert bool(found) == bool(life.bars or life.papers)
    for name, picture in found:
        root = ElementTree.fromstring(picture)
        width, height = (float(one) for one in root.attrib["viewBox"].split()[2:])
        assert width == life_picture.WIDTHS[name]
        assert root.attrib["aria-label"] == "A <life> & more"
        assert all(-1 <= float(number) <= max(width, height) for number in NUMBER.findall(picture))
        drawn = picture.count('class="block') + picture.count('class="never')
        assert len(life.bars) <= drawn <= len(life.bars) + 1
        for paper in life.papers:
            assert f">{paper.number}<" in picture
        assert picture.count('class="asked"') == 1
        assert picture.count('class="today"') == (life.asked != life.today)


def test_word_that_fits_neither_behind_today_nor_ahead_of_it_stands_below_its_band():
    shape, tone, word = STANDING_SYMBOLS["expired"]
    bar = Bar(date(2024, 6, 15), None, "expired", str(word), shape, tone)
    today = date(2024, 8, 4)  # The word fits the whole band, but no part of one ground.
    before = Bar(date(2023, 12, 28), date(2024, 6, 14), "certified", "certified", "certified", "")

    narrow = dict(life_picture.pictures(Life("Life", today, today, [before, bar])))["narrow"]

    words = {text.text: float(text.attrib["x"]) for text in texts_of(narrow)}
    assert 0 < words["expired"] < life_picture.WIDTHS["narrow"] - 7 * 5
    assert "m-expired" not in narrow


@pytest.mark.parametrize("ahead", [False, True])
def test_what_lies_ahead_of_today_is_drawn_hollow(ahead):
    issued, through = date(2026, 1, 10), date(2028, 1, 10)
    today = date(2025, 6, 1) if ahead else date(2029, 1, 1)
    shape, tone, word = STANDING_SYMBOLS["certified"]
    bar = Bar(issued, through, "certified", str(word), shape, tone)
    life = Life("A life", today, today, [bar], [Paper("C1", issued, through, through)])

    for _name, picture in life_picture.pictures(life):
        assert ('class="block certified ahead"' in picture) is ahead
        assert ('class="block certified"' in picture) is not ahead


def test_words_below_never_run_into_each_other():
    issued = date(2026, 1, 10)
    marks = tuple(
        Mark(issued + timedelta(days=3 * n), "suspended", "is-reject", f"suspended {n}")
        for n in range(12)
    )
    paper = Paper("C1", issued, date(2028, 1, 10), date(2028, 1, 10), marks)
    life = Life("A life", issued, issued, [], [paper])

    for name, picture in life_picture.pictures(life):
        size = life_picture.SIZE[name]
        taken: dict[str, list[tuple[float, float]]] = {}
        for x, y, words in re.findall(
            r'<text class="below" x="([\d.]+)" y="([\d.]+)"[^>]*>([^<]+)<', picture
        ):
            start = float(x)
            end = start + len(words) * size * life_picture.LETTER
            for first, last in taken.setdefault(y, []):
                assert end <= first or start >= last, name
            taken[y].append((start, end))
        assert taken
