"""A proposal that waits is told to quality by mail: after the site's days, and once."""

import pytest

from certification.services import proposals
from certification.services.acts import Act
from reminders.models import Message, Reminder
from tests.factories import (
    PASSWORD,
    make_exercise,
    make_passed_board,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)
from tests.reminders.reminder_scenes import DAY, aldergate, at, days, sweep, sweep_and_send

pytestmark = pytest.mark.django_db


@pytest.fixture
def quality():
    return somebody_with("quality", "Vera Lund", "vera@skarnfell.example")


@pytest.fixture
def instructor():
    return make_user("instructor", password=PASSWORD)


def somebody_with(role, name, email, site=None):
    return make_user(role, person=make_person(site, full_name=name, email=email))


def propose(instructor, name="Ada Brisk", day=DAY, person=None):
    exercise, scope = make_exercise(), make_scope(title="Terminals, operator")
    revision = make_revision(scope, exercise=exercise)
    person = person or make_person(full_name=name)
    make_passed_board(person, exercise, signed_at=at(day))
    return proposals.propose(
        person=person, scope=scope, revision=revision, act=Act(instructor, at(day, 9), "password")
    )


def told():
    return Reminder.objects.filter(kind="proposal").order_by("pk")


def test_quality_is_written_to_after_the_sites_days_and_not_again(quality, instructor):
    proposal = propose(instructor)  # A Wednesday; five days later is a Monday.
    for n in range(5):
        sweep_and_send(DAY + days(n))
    assert not told().exists()

    sweep_and_send(DAY + days(5))
    for n in (6, 7, 8, 9):
        sweep_and_send(DAY + days(n))

    (row,) = told()
    assert (row.source, row.recipient, row.person) == (
        f"proposal:{proposal.pk}",
        quality.person,
        proposal.person,
    )
    (message,) = Message.objects.all()
    assert message.sent_at is not None
    assert message.subject == "1 proposal waits for your decision"


def test_mail_names_each_proposal_and_leads_to_the_decision(quality, instructor):
    propose(instructor, "Ben Colt", DAY - days(1))
    propose(instructor, "Ada Brisk", DAY)
    sweep(DAY + days(5))

    (message,) = Message.objects.all()
    text = bytes(message.raw).decode()
    assert message.subject == "2 proposals wait for your decision"
    assert text.index("Ben Colt") < text.index("Ada Brisk")
    assert "/proposals/decide/" in text
    assert "Terminals, operator: proposed by" in text.replace("=\r\n", "")


def test_site_says_after_how_many_days_and_that_it_wants_no_mail(quality, instructor):
    site = make_site()
    site.proposal_days = 2
    site.save(update_fields=["proposal_days"])
    propose(instructor)
    sweep(DAY + days(1))
    assert not told().exists()
    sweep(DAY + days(2))
    assert told().count() == 1

    site.proposal_days = 0
    site.save(update_fields=["proposal_days"])
    propose(instructor, "Ben Colt")
    sweep(DAY + days(20))
    assert told().count() == 1


def test_fewer_days_than_before_tell_nobody_twice(quality, instructor):
    propose(instructor)
    sweep(DAY + days(5))
    site = make_site()
    site.proposal_days = 2
    site.save(update_fields=["proposal_days"])
    sweep(DAY + days(6))

    assert told().count() == 1


def test_on_a_day_off_it_waits_for_the_next_working_day(quality, instructor):
    site = make_site()
    site.proposal_days = 3  # From Wednesday to Saturday.
    site.save(update_fields=["proposal_days"])
    propose(instructor)

    sweep(DAY + days(3))
    sweep(DAY + days(4))
    assert not told().exists()
    sweep(DAY + days(5))
    assert told().count() == 1


def test_decided_before_it_goes_out_it_is_dropped_and_says_why(quality, instructor):
    proposal = propose(instructor)
    sweep(DAY + days(5))
    act = Act(quality, at(DAY + days(5), 6), reason="Not yet.")
    proposals.decline(proposal=proposal, act=act)

    sweep_and_send(DAY + days(5), 7)

    (row,) = told()
    assert row.state == Reminder.State.DROPPED
    assert row.why == "It was decided before this could go out."
    assert Message.objects.get().sent_at is None


def test_who_does_not_decide_any_more_is_not_written_to(quality, instructor):
    propose(instructor)
    sweep(DAY + days(5))
    quality.roles.filter(role="quality").delete()

    sweep_and_send(DAY + days(5), 7)

    assert told().get().why == "Vera Lund does not decide at Castelmar any more."


def test_only_quality_of_the_site_is_told_and_nobody_of_themselves(quality, instructor):
    somebody_with("quality", "Otto Rask", "otto@skarnfell.example", aldergate())
    somebody_with("instructor", "Ines Falk", "ines@skarnfell.example")
    somebody_with("quality", "Nils Berg", "")
    own = somebody_with("quality", "Own Word", "own@skarnfell.example")
    about_own = propose(instructor, person=own.person)
    about_other = propose(instructor)

    sweep(DAY + days(5))

    assert {(row.person, row.recipient) for row in told()} == {
        (about_own.person, quality.person),
        (about_other.person, quality.person),
        (about_other.person, own.person),
    }
