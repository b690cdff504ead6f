"""The page of a certificate and of each act on it: what is done, and who is turned away why."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone

from certification.models import Certificate, CertificateEvent, CertificateWithdrawal
from certification.queries import standing_on_day
from people.presenters.days import format_day
from records.queries.heads import printed_head
from tests.factories import (
    PASSWORD,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
    write_down,
)
from tests.signing import send_as_shown

pytestmark = pytest.mark.django_db

REASON = "Rejects above the limit."


@pytest.fixture
def today():
    return make_site().today()


@pytest.fixture
def scope():
    return make_scope(title="Terminals, operator")


@pytest.fixture
def revision(scope):
    return make_revision(scope, validity_months=24)


@pytest.fixture
def person():
    return make_person(full_name="Bruno Castellane")


@pytest.fixture
def certificate(person, scope, revision, today):
    return make_certificate(person, scope, revision=revision, issued_on=today - timedelta(days=100))


@pytest.fixture
def quality(client):
    user = make_user("quality", password=PASSWORD)
    client.force_login(user)
    return user


def page_of(certificate, *more):
    return "/".join(["/certificates", certificate.number, *more, ""])


def send(client, certificate, act, **fields):
    fields = {"reason": REASON, "password": PASSWORD, **fields}
    return send_as_shown(client, page_of(certificate, "act", act), fields)


def stands(certificate, day):
    return standing_on_day.answer(certificate.person, certificate.scope, day).standing.value


def text_of(response):
    """The page's text with its no-break spaces as spaces."""
    return response.content.decode().replace("\u00a0", " ")


# The page


def test_page_bears_the_end_of_the_trail_for_whoever_prints_it(client, quality, certificate):
    write_down()
    end = printed_head(timezone.now())

    assert end
    assert end in text_of(client.get(page_of(certificate)))


def test_certificate_whose_first_day_is_to_come_says_so(client, quality, person, scope, today):
    ahead = make_certificate(person, scope, issued_on=today + timedelta(days=7))

    response = client.get(page_of(ahead))

    assert response.status_code == 200
    assert "It counts from" in text_of(response)
    assert "No certificate had been issued." in text_of(response)


def test_certificate_to_come_names_the_one_that_counts_until_then(
    client, quality, certificate, person, scope, today
):
    ahead = make_certificate(person, scope, issued_on=today + timedelta(days=7))

    page = text_of(client.get(page_of(ahead)))

    assert "It counts from" in page
    assert f'href="{page_of(certificate)}"' in page


def test_page_says_why_an_act_cannot_be_done_today(client, quality, person, scope, today):
    over = make_certificate(person, scope, issued_on=today - timedelta(days=900))

    screen = client.get(page_of(over)).context["screen"]

    assert [one.act for one in screen.possible] == ["withdraw"]
    refused = {one.act: one for one in screen.not_possible}
    assert list(refused) == [
        *("suspend", "reinstate", "restrict", "lift", "extend", "end", "revoke")
    ]
    assert "is left to stop" in refused["restrict"].refusal
    assert "is not restricted" in refused["lift"].refusal
    assert "is left to stop" in refused["revoke"].refusal
    assert refused["revoke"].may_be_dated_back
    assert "is not suspended" in refused["reinstate"].refusal
    assert not refused["reinstate"].may_be_dated_back
    assert "renewed, not extended" in refused["extend"].refusal


def test_nothing_more_can_be_done_to_a_withdrawn_certificate(client, quality, certificate):
    send(client, certificate, "withdraw")

    response = client.get(page_of(certificate))

    assert "Withdrawn as entered in error." in text_of(response)
    assert response.context["screen"].possible == []
    assert not any(one.may_be_dated_back for one in response.context["screen"].not_possible)


@pytest.mark.parametrize("role", ["owner", "instructor"])
def test_page_offers_nothing_to_whoever_may_only_read(client, certificate, person, role):
    reader = make_user(person=person) if role == "owner" else make_user("instructor")
    client.force_login(reader)

    response = client.get(page_of(certificate))

    assert response.status_code == 200
    assert response.context["screen"].acts == []
    assert "/act/" not in text_of(response)


# Each act


def test_suspends_from_the_day_given(client, quality, certificate, today):
    response = send(client, certificate, "suspend", effective_on=today)

    assert response.url == page_of(certificate)
    event = certificate.events.get()
    assert (event.kind, event.effective_on, event.reason) == ("suspended", today, REASON)
    assert (event.signature.signer, event.signature.proof) == (quality, "password")
    assert stands(certificate, today - timedelta(days=1)) == "certified"
    assert stands(certificate, today) == "suspended"


def test_reinstates_what_was_suspended(client, quality, certificate, today):
    send(client, certificate, "suspend", effective_on=today - timedelta(days=3))

    response = send(client, certificate, "reinstate", effective_on=today)

    assert response.url == page_of(certificate)
    assert stands(certificate, today - timedelta(days=1)) == "suspended"
    assert stands(certificate, today) == "certified"


def test_revokes_for_ever(client, quality, certificate, today):
    response = send(client, certificate, "revoke", effective_on=today)

    assert response.url == page_of(certificate)
    assert stands(certificate, today + timedelta(days=5000)) == "revoked"


def test_ends_after_its_last_good_day(client, quality, certificate, today):
    response = send(client, certificate, "end", effective_on=today)

    assert response.url == page_of(certificate)
    assert stands(certificate, today) == "certified"
    assert stands(certificate, today + timedelta(days=1)) == "expired"


def test_restricts_until_lifted_and_moves_no_day(client, quality, certificate, today):
    response = send(client, certificate, "restrict", effective_on=today, restriction="turrets")

    assert response.url == page_of(certificate)
    event = certificate.events.get()
    assert (event.kind, event.restriction, event.signature.signer) == (
        "restricted",
        "turrets",
        quality,
    )
    page = text_of(client.get(page_of(certificate)))
    assert "turrets" in page
    assert REASON in page
    assert "Good through, after what happened since" not in page
    lifting = text_of(client.get(page_of(certificate, "act", "lift")))
    assert "turrets" in lifting

    send(client, certificate, "lift", effective_on=today + timedelta(days=1))

    said = [
        (span.first_day, span.restriction) for span in certificate.spans.order_by("first_day")[:3]
    ]
    assert said[1:] == [(today, "turrets"), (today + timedelta(days=1), "")]


@pytest.mark.parametrize("act", ["restrict", "lift"])
def test_restriction_that_was_not_shown_is_neither_replaced_nor_lifted(
    client, quality, certificate, today, act
):
    send(client, certificate, "restrict", effective_on=today, restriction="turrets")
    shown = client.get(page_of(certificate, "act", act)).context["form"]["shown"].value()
    send(client, certificate, "restrict", effective_on=today, restriction="cups")
    fields = {"effective_on": today, "restriction": "leaded solder"}
    if act == "lift":
        del fields["restriction"]

    refused = send(client, certificate, act, **fields, shown=shown)

    assert refused.status_code == 422
    page = text_of(refused)
    assert "nothing was signed" in page
    assert ">cups</dd>" in page
    assert certificate.events.count() == 2
    shown = refused.context["form"]["shown"].value()
    send(client, certificate, act, **fields, shown=shown)
    assert certificate.events.count() == 3


def test_restriction_pressed_twice_is_signed_once(client, quality, certificate, today):
    shown = client.get(page_of(certificate, "act", "restrict")).context["form"]["shown"].value()
    fields = {"effective_on": today, "restriction": "turrets", "shown": shown}

    done, again = (send(client, certificate, "restrict", **fields) for _time in range(2))

    assert (done.status_code, again.status_code) == (302, 422)
    assert certificate.events.count() == 1


@pytest.mark.parametrize("act", ["restrict", "lift"])
def test_what_is_to_hold_from_a_later_day_is_shown_to_whoever_restricts_or_lifts(
    client, quality, certificate, today, act
):
    later, last = today + timedelta(days=30), today + timedelta(days=60)
    send(client, certificate, "restrict", effective_on=later, restriction="cups")
    send(client, certificate, "restrict", effective_on=today, restriction="turrets")
    send(client, certificate, "lift", effective_on=last)

    page = text_of(client.get(page_of(certificate, "act", act)))

    ends = {
        "turrets": format_day(later - timedelta(days=1)),
        "cups": format_day(last - timedelta(days=1)),
    }
    for restriction, through in ends.items():
        assert re.search(rf"{restriction}, through\s*<time[^>]*>{through}</time>", page)
    assert re.search(rf"Only, from\s*<time[^>]*>{format_day(later)}</time>", page)
    assert "holds from that day on all the same" in page


def test_withdrawing_page_says_that_the_restriction_goes_with_the_certificate(
    client, quality, certificate, today
):
    words = "whatever takes its place has to be restricted anew"
    assert words not in text_of(client.get(page_of(certificate, "act", "withdraw")))
    send(client, certificate, "restrict", effective_on=today, restriction="turrets")

    page = text_of(client.get(page_of(certificate, "act", "withdraw")))

    assert "turrets" in page
    assert words in page


def test_restricting_page_says_what_holds_already(client, quality, person, scope, today):
    certificate = make_certificate(person, scope, restriction="cups")
    send(client, certificate, "restrict", effective_on=today, restriction="turrets")

    page = text_of(client.get(page_of(certificate, "act", "restrict")))

    for words in ("Only, as issued", ">cups</dd>", ">turrets</dd>"):
        assert words in page
    assert "It takes the place of the restriction by an earlier act." in page
    assert "goes on and holds beside it" in page


def test_extends_with_the_authority_that_granted_it(client, quality, certificate, today):
    until = certificate.valid_through + timedelta(days=30)

    response = send(
        client,
        certificate,
        "extend",
        effective_on=today,
        until=until,
        authority="Review board, QM-02",
    )

    assert response.url == page_of(certificate)
    event = certificate.events.get()
    assert (event.until, event.authority) == (until, "Review board, QM-02")
    assert event.effective_on == today
    assert stands(certificate, until) == "certified"
    assert stands(certificate, until + timedelta(days=1)) == "expired"


def test_withdraws_what_was_entered_in_error(client, quality, certificate, today):
    response = send(client, certificate, "withdraw", reason="Of somebody else.")

    assert response.url == page_of(certificate)
    withdrawal = CertificateWithdrawal.objects.get(certificate=certificate)
    assert (withdrawal.reason, withdrawal.signature.signer) == ("Of somebody else.", quality)
    assert stands(certificate, today) == "never_certified"
    assert Certificate.objects.filter(pk=certificate.pk).exists()


def test_removes_an_event_entered_in_error_and_keeps_both_in_sight(
    client, quality, certificate, today
):
    send(client, certificate, "suspend", effective_on=today)
    event = certificate.events.get()

    response = send_as_shown(
        client,
        page_of(certificate, "events", str(event.pk), "remove"),
        {"reason": "Wrong person.", "password": PASSWORD},
    )

    assert response.url == page_of(certificate)
    voiding = CertificateEvent.objects.get(kind="voided")
    assert (voiding.voids, voiding.signature.signer) == (event, quality)
    assert stands(certificate, today) == "certified"
    page = text_of(client.get(page_of(certificate)))
    assert REASON in page
    assert f"removed by {voiding.event_id}" in page


# Refusals

FIELDS = {
    "suspend": ("effective_on",),
    "reinstate": ("effective_on",),
    "revoke": ("effective_on",),
    "end": ("effective_on",),
    "restrict": ("effective_on", "restriction"),
    "lift": ("effective_on",),
    "extend": ("effective_on", "until", "authority"),
    "withdraw": (),
}


def filled(certificate, act, today):
    values = {
        "effective_on": today,
        "until": certificate.valid_through + timedelta(days=9),
        "authority": "QM-02",
        "restriction": "turrets",
    }
    return {name: values[name] for name in FIELDS[act]}


@pytest.mark.parametrize("act", FIELDS)
def test_wrong_password_signs_nothing(client, quality, certificate, today, act):
    response = send(
        client, certificate, act, **filled(certificate, act, today), password="not mine"
    )

    assert response.status_code == 422
    assert "nothing was signed" in text_of(response)
    assert not certificate.events.exists()
    assert not CertificateWithdrawal.objects.exists()


@pytest.mark.parametrize("act", FIELDS)
def test_nothing_is_done_without_its_reason_and_day(client, quality, certificate, act):
    response = send_as_shown(client, page_of(certificate, "act", act), {"password": PASSWORD})

    assert response.status_code == 422
    assert set(response.context["form"].errors) == {"reason", *FIELDS[act]}
    assert not certificate.events.exists()


@pytest.mark.parametrize("act", FIELDS)
@pytest.mark.parametrize(
    "reader", ["own", "operator", "line_lead", "instructor", "administrator", "quality_there"]
)
def test_act_is_not_there_for_anybody_but_quality_at_the_site(
    client, certificate, person, today, act, reader
):
    if reader == "own":
        user = make_user("quality", person=person, password=PASSWORD)
    elif reader == "quality_there":
        user = make_user("quality", site=make_site("Aldergate", "AL"), password=PASSWORD)
    else:
        user = make_user(reader, password=PASSWORD)
    client.force_login(user)

    assert client.get(page_of(certificate, "act", act)).status_code == 404
    response = send(client, certificate, act, **filled(certificate, act, today))

    assert response.status_code == 404
    assert not certificate.events.exists()


def test_act_that_finds_nothing_to_stop_says_what_ended_when(client, quality, person, scope, today):
    over = make_certificate(person, scope, issued_on=today - timedelta(days=900))

    response = send(client, over, "revoke", effective_on=today)

    assert response.status_code == 422
    assert f"{over.number} ended on" in text_of(response)
    assert "Give an earlier day" in text_of(response)


def test_extension_granted_in_time_is_entered_late(client, quality, person, scope, today):
    over = make_certificate(person, scope, issued_on=today - timedelta(days=740))
    assert over.valid_through < today
    page = text_of(client.get(page_of(over)))
    assert page_of(over, "act", "extend") in page

    until = today + timedelta(days=20)
    fields = {"until": until, "authority": "QM-02"}
    late = send(client, over, "extend", effective_on=today, **fields)
    assert late.status_code == 422
    assert "renewed, not extended" in text_of(late)
    response = send(client, over, "extend", effective_on=over.valid_through, **fields)

    assert response.url == page_of(over)
    assert over.events.get().effective_on == over.valid_through
    assert [stands(over, day) for day in (today, until)] == ["certified", "certified"]


def test_extension_to_an_earlier_day_is_refused(client, quality, certificate, today):
    response = send(
        client,
        certificate,
        "extend",
        effective_on=today,
        until=certificate.valid_through,
        authority="QM-02",
    )

    assert response.status_code == 422
    assert "give a later day" in text_of(response)


def test_event_is_removed_once(client, quality, certificate, today):
    send(client, certificate, "suspend", effective_on=today)
    address = page_of(certificate, "events", str(certificate.events.get().pk), "remove")
    sent = {"reason": "Wrong person.", "password": PASSWORD}

    refused = send_as_shown(client, address, {**sent, "password": "not mine"})
    assert refused.status_code == 422
    assert send_as_shown(client, address, sent).status_code == 302
    response = send_as_shown(client, address, sent)

    assert response.status_code == 422
    assert "was removed already" in text_of(response)
    assert CertificateEvent.objects.filter(kind="voided").count() == 1


def test_unknown_act_is_not_there(client, quality, certificate):
    assert client.get(page_of(certificate, "act", "frame")).status_code == 404
