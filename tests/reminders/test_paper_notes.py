"""A written test handed out: whoever has an address is told by mail, and the others are named."""

import pytest
from django.urls import reverse

from assessments.models import Paper
from assessments.services.papers import hand_out
from reminders.models import Message
from tests import factories
from tests.assessments.written import make_test

pytestmark = pytest.mark.django_db


def test_people_are_told_of_a_test_in_the_act_that_hands_it_out(client, settings):
    settings.PUBLIC_URL = "https://solder.example"
    instructor = factories.make_user("instructor")
    test = make_test(author=instructor, minutes=1)
    reached = factories.make_person(email="Bo.Quill@Example.org", full_name="Bo Quill")
    without = factories.make_person(email="", full_name="Ari Holt")
    client.force_login(instructor)

    said = client.post(
        reverse("assessments:written_test_hand_out", args=[test.pk]),
        {
            "people": f"{reached.employee_number}\n{without.employee_number}",
            "medium": "screen",
            "not_before": factories.TODAY.isoformat(),
        },
        follow=True,
    ).content.decode()

    assert "2 papers are handed out. No mail tells these people, so tell them: Ari Holt." in said
    paper = Paper.objects.get(person=reached)
    note = Message.objects.get()
    assert (note.carries, note.recipient, note.person) == ("paper", "bo.quill@example.org", reached)
    assert note.subject == f"Written test: {test.title}"
    body = bytes(note.raw).decode()
    assert "over after 1 minute." in body
    assert f"https://solder.example{reverse('assessments:paper_detail', args=[paper.number])}" in (
        body.replace("=\r\n", "")
    )


def test_a_test_on_paper_gives_no_address_to_open():
    instructor = factories.make_user("instructor")
    person = factories.make_person(email="bo.quill@example.org")
    done = hand_out(
        test=make_test(author=instructor),
        people=[person],
        medium="printed",
        not_before=factories.TODAY,
        actor=instructor,
        at=factories.NOW,
    )

    assert done.mailed == {paper.pk for paper in done.papers}
    body = bytes(Message.objects.get().raw).decode()
    assert "It is taken on paper" in body
    assert "http" not in body
