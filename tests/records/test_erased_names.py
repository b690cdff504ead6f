"""A name comes back with somebody who does, and goes again; what is left of a text is held to."""

import json

import pytest
from django.db import transaction

from records.models import Removal, Signature, TrailEntry
from records.queries.removals import What
from records.queries.verification import verify_records
from records.services import removals
from records.services.trail import sign

THING = ("person", "7")


def erase(text, at):
    sought = removals.look_for([text])
    with transaction.atomic():
        removals.remove(things=[THING], what=What.NAME, reason="-", actor=None, at=at)
        removals.erase_names(
            sought=sought, shared=[], instead="10377", person_id=7, reason="-", actor=None, at=at
        )


def test_name_that_came_back_is_erased_again_from_one_signed_text(account, at):
    said = {"person_id": 7, "name": "Ada Holm", "witness": "Ada Lund"}
    signature = sign(actor=account, meaning="seen", about=("grading", "31"), content=said, at=at)
    erase("Ada Holm", at)
    once = Signature.objects.get().content
    erase("Ada Lund", at)

    left = json.loads(Signature.objects.get().content)
    assert left == {"person_id": 7, "name": "10377", "witness": "10377"}
    assert verify_records(with_files=False).faults == []
    told = TrailEntry.objects.filter(act="name erased").order_by("number")
    thing = ("signature", str(signature.pk))
    assert [*told.values_list("about_type", "about_id")] == [THING, thing] * 2
    assert Removal.objects.count() == 2
    Signature.objects.update(content=once)
    [fault] = verify_records(with_files=False).faults
    assert "does not fit what was signed" in str(fault)


@pytest.mark.parametrize(("what", "entries"), [(What.NAME, 2), (What.ROW, 1), (What.FILE, 1)])
def test_only_a_name_goes_twice(db, at, what, entries):
    for _time in range(2):
        removals.remove(things=[THING, THING], what=what, reason="-", actor=None, at=at)
    assert TrailEntry.objects.count() == entries
    assert Removal.objects.count() == 1
