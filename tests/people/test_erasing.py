"""Erasing who somebody was keeps their number, what was certified and who signed; all verifies."""

import json
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from django.conf import settings
from django.db import IntegrityError, connection, transaction
from django.test import override_settings
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from certification.models import Certificate, CertificateName, Credential
from certification.queries.public_standing import set_bits
from certification.services.acts import Act
from certification.services.certificates import issue_certificate
from certification.services.credentials import make_credential
from certification.services.names import issue_again
from certification.services.proposals import propose
from interfaces.models import WebHook, WebHookDelivery
from operations.models import MailTrial, SiteRetention
from operations.services.retention import remove_at_every_site
from people.exceptions import PeopleError
from people.models import NameChange, Person, SiteRole, User
from people.services.erasing import erase_person
from people.services.particulars import change_from_day
from people.services.people import change_person
from people.services.returns import return_person
from records.models import Removal, Signature, TrailEntry, TrailPayload, append_only
from records.queries.verification import verify_records
from records.services import trail
from reminders.models import Message, Reminder
from reminders.models.reminders import MessageQuerySet
from tests import factories
from tests.assessments.together import at_once, somebody_waits_for_us, wait_behind
from tests.factories import NOW, PASSWORD, TODAY
from training.services.courses import enrol_people
from training.services.tools import put_out_of_service

pytestmark = [pytest.mark.django_db, pytest.mark.each_database]

NAME, BEFORE, MAIL = "Wilhelmina Quastenberg", "Wilhelmina Oehr", "w.quast@aldergate.example"
LATER = NOW + timedelta(days=2)


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    storage = {
        "BACKEND": "django.core.files.storage.FileSystemStorage",
        "OPTIONS": {"location": tmp_path_factory.mktemp("files"), "base_url": None},
    }
    with override_settings(STORAGES={**settings.STORAGES, "default": storage}):
        yield


@pytest.fixture
def keeper(db):
    return factories.make_user("administrator", site=factories.make_site(), password=PASSWORD)


@pytest.fixture
def person(files, keeper, settings, tmp_path):
    """An instructor who was certified, renamed and written to, signed for others, and left."""
    site = factories.make_site()
    quality = factories.make_user("quality", site=site)
    person = factories.make_person(site, full_name=BEFORE, email=MAIL, employer="Skarn")
    user = factories.make_user("instructor", person=person, email=MAIL, password=PASSWORD)
    exercise, scope = factories.make_exercise(), factories.make_scope()
    revision = factories.make_revision(scope, exercise=exercise, grader_needs_standing=False)
    other = factories.make_user("instructor", site=site)
    factories.make_passed_board(person, exercise, grader=other)
    proposal = propose(
        person=person, scope=scope, revision=revision, act=Act(other, NOW, "password")
    )
    issue_certificate(proposal=proposal, act=Act(quality, NOW, "password"))
    settings.SIGNING_KEYS_DIR = tmp_path / "signing_keys"
    certificate = Certificate.objects.get(person=person)
    make_credential(certificate=certificate, actor=user, at=NOW)
    learner = factories.make_person(site)
    factories.make_passed_board(learner, exercise, grader=user)
    propose(person=learner, scope=scope, revision=revision, act=Act(user, NOW, "password"))
    change_from_day(
        person=person, changes={"full_name": NAME}, from_day=TODAY, reason="Marriage.",
        actor=keeper, at=NOW,
    )  # fmt: skip
    issue_again(person=person, act=Act(quality, NOW, "password", "Seen."))
    make_credential(certificate=certificate, actor=user, at=NOW)
    message = Message.objects.create(
        message_id="m-1", site=site, person=person, recipient=MAIL, day=TODAY, subject=NAME,
        raw=f"Dear {NAME}".encode(), due_at=NOW,
    )  # fmt: skip
    reminder = Reminder.objects.create(
        person=person, source="vision:1", kind="vision", ends_on=TODAY, step=1,
        recipient=person, state="written", message=message,
    )  # fmt: skip
    hook = WebHook.objects.create(
        site=site, name="Plant", address="https://plant.example/", events=[], made_by=quality
    )
    WebHookDelivery.objects.create(
        hook=hook, event_key="k", event="about_to_end", person=person, reminder=reminder,
        delivery_id="d", body=b"{}", due_at=NOW, accepted_at=NOW,
    )  # fmt: skip
    MailTrial.objects.create(recipient=MAIL, server="x", raw=b"-", asked_by=keeper, asked_at=NOW)
    with transaction.atomic():
        trail.record(
            actor=keeper, act="person found", about=other, payload={"of": f"by {NAME}, {MAIL}"}
        )
    person.refresh_from_db()
    change_person(person=person, left_on=TODAY, actor=keeper, at=NOW)
    factories.write_down()
    assert verify_records().faults == []
    return Person.objects.get(pk=person.pk)


def erase(person, keeper, reason="Asked for on 3 May."):
    return erase_person(person=person, reason=reason, actor=keeper, at=LATER)


def everything_stored():
    """All text of the database, table by table, as a search by hand would read it."""
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f'SELECT * FROM "{table}"')
            for row in cursor.fetchall():
                yield (
                    table,
                    " ".join(
                        bytes(value).decode("utf-8", "replace")
                        if isinstance(value, memoryview | bytes)
                        else str(value)
                        for value in row
                    ),
                )


def test_no_table_holds_the_name_or_address_any_more(person, keeper):
    sought = (NAME, BEFORE, MAIL, "Skarn")
    assert {text for _, row in everything_stored() for text in sought if text in row} == {*sought}
    erase(person, keeper)
    found = {(table, text) for table, row in everything_stored() for text in sought if text in row}
    # Under what they signed for others stands who signed, and so in what rests on that.
    assert found == {("records_signature", BEFORE), ("certification_proposal", BEFORE)}


def test_address_goes_from_mails_as_mail_servers_spell_it(keeper):
    person = factories.make_person(full_name=NAME, email="Ann@Müller.example")
    message = Message.objects.create(
        message_id="m-1", site=person.site, recipient="ann@xn--mller-kva.example", day=TODAY,
        subject=NAME, raw=f"About {NAME}".encode(), due_at=NOW,
    )  # fmt: skip
    Person.objects.filter(pk=person.pk).update(left_on=TODAY)
    erase(Person.objects.get(pk=person.pk), keeper)
    message.refresh_from_db()
    assert (message.recipient, bytes(message.raw)) == (f"erased-{message.pk}", b"")


@pytest.mark.parametrize(("claimed_at", "state"), [(None, "waiting"), (LATER, "written")])
def test_what_a_mail_about_them_held_of_others_goes_into_a_later_one(keeper, claimed_at, state):
    lead = factories.make_person(email="tove@aldergate.example")
    person, other = factories.make_person(full_name=NAME, line_lead=lead), factories.make_person()
    message = Message.objects.create(
        message_id="m-1", site=lead.site, person=lead, recipient=lead.email, day=TODAY,
        subject=NAME, raw=f"About {NAME} and another".encode(), due_at=NOW, claimed_at=claimed_at,
    )  # fmt: skip
    for about in (person, other):
        Reminder.objects.create(
            person=about, source=f"vision:{about.pk}", kind="vision", ends_on=TODAY, step=1,
            recipient=lead, state="written", message=message,
        )  # fmt: skip
    Person.objects.filter(pk=person.pk).update(left_on=TODAY)
    erase(Person.objects.get(pk=person.pk), keeper)
    message.refresh_from_db()
    assert (bytes(message.raw), message.withdrawn_at) == (b"", LATER)
    # What is being sent just now may reach its reader, and nobody is reminded twice.
    left = Reminder.objects.get()
    assert (left.person, left.state) == (other, state)
    assert left.message == (None if state == "waiting" else message)


def test_mails_to_others_that_name_them_are_emptied(keeper):
    lead = factories.make_person(full_name="Tove Lind", email="tove@aldergate.example")
    person, other = (
        factories.make_person(full_name=name, line_lead=lead) for name in (NAME, "Cai Dahl")
    )
    instructor, tool = factories.make_user("instructor", email=MAIL), factories.make_tool()
    days = {"starts_on": TODAY + timedelta(days=7), "ends_on": TODAY + timedelta(days=7)}
    for people in [[other, person], [other]]:
        session = factories.make_session(instructor=instructor, places=2, **days)
        enrol_people(session=session, people=people, actor=instructor, at=NOW)
        days = {name: day + timedelta(days=1) for name, day in days.items()}
    put_out_of_service(
        tool=tool, first_day=TODAY, reason="Cracked.", told=lead, actor=instructor, at=NOW
    )
    bodies = dict(Message.objects.filter(person=lead).values_list("subject", "raw"))
    assert len(bodies) == 3
    Person.objects.filter(pk__in=[person.pk, instructor.person_id]).update(left_on=TODAY)
    name = instructor.person.full_name

    for each in (person, instructor.person):
        erase(Person.objects.get(pk=each.pk), keeper)

    left = b"".join(bytes(raw) for raw in Message.objects.values_list("raw", flat=True))
    assert b"Cai Dahl" in left
    assert NAME.encode() not in left
    assert name.encode() not in left


def test_number_certificates_and_signatures_stay_and_verify(person, keeper):
    number = person.employee_number
    certificate = Certificate.objects.get(person=person)
    same = ("number", "scope", "scheme_revision", "issued_on", "valid_through", "evidence")
    before = [getattr(certificate, name) for name in same]
    signed = list(
        Signature.objects.filter(signer__person=person).values_list("pk", "printed_name", "content")
    )
    hashes = dict(Signature.objects.values_list("pk", "content_sha256"))
    assert signed
    assert BEFORE in signed[0][1]

    erase(person, keeper)

    assert verify_records().faults == []
    certificate.refresh_from_db()
    assert [getattr(certificate, name) for name in same] == before
    assert (certificate.holder_name, certificate.printed_name) == (number, number)
    assert Person.objects.get(pk=person.pk).full_name == number
    assert dict(Signature.objects.values_list("pk", "content_sha256")) == hashes
    content = json.loads(certificate.signature.content)
    assert (content["name"], content["certificate"]) == (number, certificate.number)


def test_trail_says_who_did_it_and_why(person, keeper):
    erase(person, keeper)
    entry = TrailEntry.objects.get(act="name erased", about_type="person", about_id=str(person.pk))
    assert (entry.actor, entry.payload.body) == (keeper, '{"reason":"Asked for on 3 May."}')


def test_what_is_left_of_a_signed_text_cannot_be_changed_unseen(person, keeper):
    erase(person, keeper)
    removal = Removal.objects.filter(about_type="signature").first()
    signature = Signature.objects.get(pk=int(removal.about_id))
    with pytest.raises(IntegrityError), transaction.atomic():
        Signature.objects.filter(pk=signature.pk).update(printed_name="Another")
    Signature.objects.filter(pk=signature.pk).update(content=signature.content + " ")
    assert [str(fault) for fault in verify_records().faults if "signature" in str(fault)]


def test_what_else_the_trail_says_of_them_cannot_be_erased_unseen(person, keeper):
    with transaction.atomic():
        before = trail.record(actor=keeper, act="person found", about=person, payload={"n": 1})
    erase(person, keeper)
    with transaction.atomic():
        after = trail.record(actor=keeper, act="person found", about=person, payload={"n": 2})
    assert verify_records().faults == []
    for entry in (before, after):
        with transaction.atomic():
            TrailPayload.objects.filter(entry=entry).update(
                body="", salt="", erased_at=LATER, erased_reason="Asked for on 3 May."
            )
            assert [str(fault) for fault in verify_records().faults] == [
                f"trail entry {entry.pk} has an erased payload, and no entry says who erased it."
            ]
            transaction.set_rollback(True)


def test_certificates_change_by_nothing_but_an_erasure_and_in_nothing_but_the_name(person, keeper):
    certificates = Certificate.objects.filter(person=person)
    with pytest.raises(IntegrityError), transaction.atomic():
        certificates.update(holder_name="Another")
    erase(person, keeper)
    with pytest.raises(IntegrityError), transaction.atomic():
        certificates.update(valid_through=TODAY + timedelta(days=9999))
    with pytest.raises(IntegrityError), transaction.atomic():
        CertificateName.objects.update(reason="Another.")


def test_credentials_that_name_them_count_no_more_and_keep_their_bits(person, keeper):
    bits = set(Credential.objects.values_list("status_list", "status_index"))
    assert len(bits) == 2
    erase(person, keeper)
    assert set(Credential.objects.values_list("status_list", "status_index")) == bits
    assert set(set_bits(1, LATER) or ()) == {index for _, index in bits}
    with pytest.raises(IntegrityError), transaction.atomic():
        Credential.objects.update(status_index=1)


def test_sign_in_opens_nothing_any_more(client, person, keeper):
    erase(person, keeper)
    user = User.objects.get(person=person)
    assert (user.is_active, user.email, user.has_usable_password()) == (False, "", False)
    assert not SiteRole.objects.filter(user=user).exists()
    assert not NameChange.objects.filter(person=person).exists()
    assert not Reminder.objects.exists()
    assert WebHookDelivery.objects.get().reminder_id is None
    assert not MailTrial.objects.exists()
    message = Message.objects.get()
    assert (bytes(message.raw), message.state) == (b"", Message.State.WITHDRAWN)


def test_who_is_here_or_was_erased_is_refused_and_a_reason_that_names_them(person, keeper):
    here = factories.make_person(full_name="Bo Lund")
    with pytest.raises(PeopleError, match="has not left"):
        erase(here, keeper)
    with pytest.raises(PeopleError, match="without their name"):
        erase(person, keeper, reason=f"{NAME.lower()} asked")
    erase(factories.make_person(full_name="As", left_on=TODAY), keeper, reason="Was asked for.")
    erase(person, keeper)
    with pytest.raises(PeopleError, match="was erased before"):
        erase(person, keeper)
    about = TrailEntry.objects.filter(about_type="person", about_id=str(person.pk))
    assert about.filter(act="name erased").count() == 1


def test_who_came_back_was_named_and_certified_again_and_left_can_be_erased_again(person, keeper):
    erase(person, keeper)
    again = {"full_name": "Wilhelmina Oehr-Quast", "email": "w.oehr@aldergate.example"}
    quality = User.objects.get(roles__role="quality")
    return_person(person=person, returned_on=LATER.date(), reason="-", actor=keeper, at=LATER)
    change_person(person=person, **again, employer="Skarn", actor=keeper, at=LATER)
    issue_again(person=person, act=Act(quality, LATER, "password", "Seen."))
    certificate = Certificate.objects.get(person=person)
    make_credential(certificate=certificate, actor=keeper, at=LATER)
    change_person(person=person, left_on=LATER.date(), actor=keeper, at=LATER)
    factories.write_down()
    assert verify_records().faults == []

    once_more = {"person": person, "actor": keeper, "at": LATER + timedelta(days=1)}
    erase_person(**once_more, reason="Asked for again.")

    texts = [text for _table, row in everything_stored() for text in again.values() if text in row]
    assert texts == []
    assert verify_records().faults == []
    about = TrailEntry.objects.filter(about_type="person", about_id=str(person.pk))
    assert about.filter(act="name erased").count() == 2
    with pytest.raises(PeopleError, match="was erased before"):
        erase_person(**once_more, reason="And again.")


@pytest.mark.parametrize("back", ["full_name", "email", "employer"])
def test_whatever_came_back_of_who_somebody_was_goes_by_the_rule_of_the_site(keeper, client, back):
    person = factories.make_person(full_name=NAME, left_on=TODAY - timedelta(days=400))
    erase(person, keeper)
    Person.objects.filter(pk=person.pk).update(**{back: MAIL})
    client.force_login(keeper)
    page = reverse("people:person_detail", args=(person.employee_number,))
    by_hand = reverse("people:person_erase", args=(person.employee_number,))
    assert by_hand in client.get(page).content.decode()
    SiteRetention.objects.create(site=person.site, people=6)

    assert remove_at_every_site(clock=lambda: LATER) == 1

    person.refresh_from_db()
    left = (person.full_name, person.email, person.employer)
    assert left == (person.employee_number, "", "")
    assert by_hand not in client.get(page).content.decode()
    assert remove_at_every_site(clock=lambda: LATER) == 0


def test_who_is_known_by_a_number_is_called_by_the_one_they_are_given_next(person, keeper):
    erase(person, keeper)
    before = person.employee_number
    change_person(person=person, employee_number="N-4711", actor=keeper, at=LATER)
    person.refresh_from_db()
    assert person.full_name == "N-4711"
    with pytest.raises(PeopleError, match="was erased before"):
        erase(person, keeper)
    Person.objects.filter(pk=person.pk).update(full_name=NAME)
    erase(person, keeper)
    # Neither number is a name: what was signed and erased under the first stays as it was left.
    assert Certificate.objects.get(person=person).holder_name == before
    assert verify_records().faults == []


def test_what_was_written_of_a_namesake_stays(person, keeper):
    namesake = factories.make_person(full_name=NAME)
    with transaction.atomic():
        entry = trail.record(
            actor=keeper, act="person found", about=namesake, payload={"name": NAME}
        )
    erase(person, keeper)
    assert TrailPayload.objects.get(entry=entry).body == f'{{"name":"{NAME}"}}'
    left = TrailPayload.objects.filter(body__contains=NAME).exclude(entry=entry)
    assert not left.filter(body__contains=person.employee_number).exists()
    assert verify_records().faults == []


def test_a_short_name_takes_no_word_with_it_that_begins_so(keeper):
    person = factories.make_person(full_name="Bo", left_on=TODAY)
    with transaction.atomic():
        said = {"payload": {"what": "Board made", "name": "Bolt"}, "about": ("board", "7")}
        other = trail.record(actor=keeper, act="board made ready", **said)
        own = trail.record(actor=keeper, act="person found", about=person, payload={"name": "Bo"})
    erase(person, keeper)
    assert TrailPayload.objects.get(entry=other).erased_at is None
    assert TrailPayload.objects.get(entry=own).body == ""


def test_page_erases_once_whoever_administers_has_proved_who_they_are(client, person, keeper):
    Person.objects.filter(pk=person.pk).update(left_on=timezone.now().date() - timedelta(days=9))
    page = reverse("people:person_erase", args=(person.employee_number,))
    client.force_login(keeper)
    assert (
        page
        in client.get(
            reverse("people:person_detail", args=(person.employee_number,))
        ).content.decode()
    )
    assert client.get(page).status_code == 200
    wrong = client.post(page, {"reason": "Asked for.", "password": "not this one"})
    assert wrong.status_code == 422
    assert Person.objects.get(pk=person.pk).full_name == NAME
    done = client.post(page, {"reason": "Asked for.", "password": PASSWORD}, follow=True)
    assert done.status_code == 200
    assert NAME not in done.content.decode()
    assert client.post(page, {"reason": "Again.", "password": PASSWORD}).status_code == 422


def test_erased_name_cannot_be_put_back_by_hand_without_verification_naming_it(person, keeper):
    erase(person, keeper)
    with append_only.lifted(connection):
        Certificate.objects.filter(person=person).update(holder_name="Another")
    assert verify_records().faults


def test_all_that_was_written_is_looked_through_before_the_trail_is_locked(person, keeper):
    with CaptureQueriesContext(
        connection,
    ) as captured:
        erase(person, keeper)
    queries = [query["sql"] for query in captured]
    locked = next(n for n, sql in enumerate(queries) if 'FROM "records_trailhead"' in sql)
    looks = [
        sql
        for sql in queries[locked:]
        if sql.startswith("SELECT") and "LIKE" in sql and '"records_' in sql
    ]
    assert looks
    bounds = ('"entry_id" > ', '"id" IN (', '"entry_id" IN (')
    assert [sql for sql in looks if not any(bound in sql for bound in bounds)] == []


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_what_somebody_else_is_just_writing_of_them_is_erased_too(keeper):
    person = factories.make_person(full_name=NAME, left_on=TODAY)

    def finding():
        trail.record(actor=keeper, act="person found", about=person, payload={"name": NAME})

    wait_behind(finding, lambda: erase(person, keeper))

    assert not TrailPayload.objects.filter(body__contains=NAME).exists()
    assert TrailPayload.objects.get(entry__act="person found").erased_at == LATER


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_mail_that_a_worker_takes_up_meanwhile_does_not_go_out(keeper, monkeypatch):
    person = factories.make_person(full_name=NAME, email=MAIL, left_on=TODAY)
    message = Message.objects.create(
        message_id="m-1", site=person.site, person=person, recipient=MAIL, day=TODAY,
        subject=NAME, raw=b"-", due_at=NOW,
    )  # fmt: skip
    update, claims = MessageQuerySet.update, []

    def take_up():
        return Message.objects.claim(message.pk, LATER)

    def updated(messages, **values):
        """Have a worker come between what is read of the mails and their withdrawal."""
        monkeypatch.setattr(MessageQuerySet, "update", update)
        claims.append(pool.submit(at_once, take_up))
        while not somebody_waits_for_us():
            assert not claims[0].done(), claims[0].result()
        return messages.update(**values)

    with ThreadPoolExecutor(1) as pool:
        monkeypatch.setattr(MessageQuerySet, "update", updated)
        erase(person, keeper)
        assert claims[0].result() == [False]
