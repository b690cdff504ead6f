"""Two print for the same person, and two use one code, in the same instant: one of them does."""

from threading import Barrier, Thread

import pytest
from django.db import connection, connections
from django.utils import timezone

from people.exceptions import PeopleError
from people.models import SignInCode, User
from people.queries.sign_in_codes import letter_lines
from people.services import sign_in_codes as services
from records.models import TrailEntry
from tests.factories import make_person, make_user

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only"),
]


def at_once(*acts):
    """Run acts in threads that start together; what each gave, or its refusal."""
    together, outcomes = Barrier(len(acts)), []

    def run(act):
        try:
            together.wait(timeout=120)
            act()
            outcomes.append("done")
        except PeopleError as error:
            outcomes.append(str(error))
        finally:
            connections.close_all()

    threads = [Thread(target=run, args=[act]) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=300)
    return sorted(outcomes)


def test_one_letter_is_printed_and_one_password_chosen():
    administrators = [make_user("administrator"), make_user("administrator")]
    person, now = make_person(), timezone.now()

    def printing(actor):
        drafts = services.draft_codes([person], with_pins=False, at=now)
        seen = [line.seen for line in letter_lines([person], actor, now)]
        kept[actor.pk] = drafts[0].code
        return lambda: services.keep_codes(
            drafts=drafts, seen=seen, actor=actor, proof="password", at=now
        )

    kept: dict[int, str] = {}
    refused, done = at_once(*map(printing, administrators))
    assert done == "done"
    assert "since this page was shown" in refused
    assert User.objects.filter(person=person).count() == 1
    row = SignInCode.objects.get()

    def choosing(password):
        return lambda: services.choose_password(
            code=SignInCode.objects.get(pk=row.pk), password=password, address="", at=now
        )

    refused, done = at_once(choosing("a lamp over the bench"), choosing("a pot by the window"))
    assert done == "done"
    assert "This code was used on" in refused
    assert TrailEntry.objects.filter(act=services.USED).count() == 1
