"""What only a faulty program sends is refused with a sentence at every address, and breaks none."""

from collections.abc import Iterator
from http.cookies import SimpleCookie

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction
from django.test import Client

from people.forms.fields import RowsField
from people.middleware.null_characters import TAKE_OFF_CONTROL_CHARACTERS
from people.models import User
from records.models import TrailEntry
from tests.access_scenario import READERS, Scenario, build, put_back
from tests.test_access_table import TABLE, address, asked

pytestmark = pytest.mark.django_db

SENTENCE = "holds a null character"
NUMBERED = ("exercise", "set", "revision", "with", "boards", "measured")
NAMES = (
    *NUMBERED,
    *("number", "person", "session", "page", "purpose", "scheme", "scope", "site", "lead"),
    *("stage", "joint", "criterion", "quantity", "course", "day", "known_at", "people", "ticked"),
    *("present", "tools", "photos", "graders", "turn", "full_turns"),
)
"""What pages ask for and forms send; of a few, a view itself makes a number."""
MANY_DIGITS, LARGE_NUMBER = "many digits", "more than a number holds"
LONG = {MANY_DIGITS: "9" * 4400, LARGE_NUMBER: "9" * 30}
"""Python makes no number of more than 4,300 digits, and a database none of more than 19."""
# Python refuses the one whatever the database, before it is asked; the other each database refuses
# in its own way.
KINDS = [
    pytest.param(MANY_DIGITS, marks=pytest.mark.one_database),
    pytest.param(LARGE_NUMBER, marks=pytest.mark.each_database),
]


@pytest.fixture(scope="module")
def scenario(django_db_setup, django_db_blocker) -> Iterator[Scenario]:
    with django_db_blocker.unblock(), transaction.atomic():
        yield build()
        transaction.set_rollback(True)


def questions(scenario: Scenario) -> Iterator[tuple[str, Client, str, str, dict]]:
    """Every address with each of its methods, asked by somebody who may."""
    for name, row in TABLE.items():
        reader = next((one for one in reversed(READERS) if one in row.may), None)
        if reader is None or name.startswith("interfaces:api-v1:"):
            continue
        things = scenario.things_for(reader)
        url, data = address(name, row, things), asked(row, things)
        for method in row.method.split():
            client = scenario.client
            client.cookies = SimpleCookie(scenario.clients[reader].cookies)
            yield name, client, method, url, data


def read_to_its_end(response) -> None:
    """Closes the file that it may hold; closing the answer would close the database too."""
    if response.streaming:
        b"".join(response)


def test_null_characters_are_refused_at_every_address(scenario):
    entries = TrailEntry.objects.count()
    asked_for = 0
    for name, client, method, url, data in questions(scenario):
        for key in ("q", *data):
            with put_back():
                response = getattr(client, method.lower())(url, data | {key: "a\0b"})
                read_to_its_end(response)
                asked_for += 1
                if name.split(",")[0] in TAKE_OFF_CONTROL_CHARACTERS:
                    assert response.status_code == 200, name
                    continue
                assert response.status_code == 400, (name, method, key, response.status_code)
                assert SENTENCE in response.content.decode(), name
                assert TrailEntry.objects.count() == entries
    assert asked_for > len(TABLE)


@pytest.mark.parametrize("kind", KINDS)
def test_texts_beyond_all_measure_break_no_address(scenario, kind):
    for name, client, method, url, data in questions(scenario):
        every = [data | {key: LONG[kind]} for key in data]
        # Several at once, since most addresses pass over what they do not know.
        for names in (NUMBERED[:3], NUMBERED[3:]) if kind == MANY_DIGITS else (NAMES,):
            every.append(dict.fromkeys(names, LONG[kind]) | data)
        for sent in every:
            with put_back():
                response = getattr(client, method.lower())(url, sent)
                read_to_its_end(response)
                is_sound = response.status_code < 500 or name.startswith("operations:health")
                assert is_sound, (name, method, list(sent))


def test_rows_beyond_all_numbers_are_not_among_the_choices():
    field = RowsField(User.objects.all())
    for text in LONG.values():
        with pytest.raises(ValidationError, match="is not"):
            field.clean([text])
