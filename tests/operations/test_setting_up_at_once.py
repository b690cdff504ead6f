"""Two who press in the same instant: one test mail, one set of content, one arrival noted."""

from threading import Barrier, Thread

import pytest
from django.db import connection, connections
from django.utils import timezone

from assessments.models import CriteriaSet
from assessments.services.content_to_begin_with import add_content
from operations.exceptions import TrialRefused
from operations.models import MailTrial
from operations.services import mail_trials
from records.models import TrailEntry
from tests.factories import make_site, make_user

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only"),
]


def at_once(act):
    """Run an act twice in threads that start together; what it gave, or its refusal."""
    together, outcomes = Barrier(2), []

    def run():
        try:
            together.wait(timeout=120)
            outcomes.append(act())
        except TrialRefused as error:
            outcomes.append(error)
        finally:
            connections.close_all()

    threads = [Thread(target=run) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=300)
    return outcomes


def test_button_for_a_test_mail_pressed_twice_at_once_sends_one():
    actor, now = make_user("administrator"), timezone.now()
    outcomes = at_once(
        lambda: mail_trials.ask_for_trial(recipient="ada@skarnfell.example", actor=actor, at=now).pk
    )
    assert sorted(isinstance(outcome, TrialRefused) for outcome in outcomes) == [False, True]
    trial = MailTrial.objects.get()

    outcomes = at_once(lambda: mail_trials.note_arrival(trial=trial, actor=None, at=now))
    assert sorted(outcomes) == [False, True]
    assert TrailEntry.objects.filter(act="test mail arrived").count() == 1


def test_content_added_twice_at_once_is_there_once():
    make_site()
    actor, now = make_user("administrator"), timezone.now()
    outcomes = at_once(lambda: len(add_content(actor=actor, at=now).exercises.added))
    assert sorted(count > 0 for count in outcomes) == [False, True]
    assert CriteriaSet.objects.count() == 1
