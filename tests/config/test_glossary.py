"""The glossary names words as the catalogue has them."""

import re

import pytest

from people.presenters.days import NO_BREAK
from tests.catalogue import LOCALES, TOP
from tests.config.test_catalogue import compiled

PAIRS = [
    row
    for row in re.findall(
        r"^\| (.+?) \| (.+?) \| .+ \|$", (TOP / "docs/glossary.md").read_text(), re.MULTILINE
    )
    if row[0] not in ("English", "---")
]


@pytest.mark.parametrize(("english", "german"), PAIRS, ids=lambda word: word)
def test_word_is_translated_as_the_glossary_says(english, german):
    """As a message of its own, or within the first sentence that has it."""
    catalogue = compiled(LOCALES / "de/LC_MESSAGES/django.mo")
    messages = {
        key.replace(NO_BREAK, " ") if isinstance(key, str) else key: said.replace(NO_BREAK, " ")
        for key, said in catalogue.items()
    }
    alone = (
        messages.get(english) or messages.get(english.capitalize()) or messages.get((english, 0))
    )
    if alone is not None:
        assert alone.lower() == german.lower()
        return
    found = [said for message, said in messages.items() if english in str(message).lower().split()]
    assert any(german.lower() in said.lower() for said in found)


def test_glossary_has_its_rows():
    assert len(PAIRS) > 40
