"""The page of one person and scope: the answer for a day, in both times, with its evidence."""

import re
from datetime import UTC, date, datetime, timedelta

import pytest
from django.urls import reverse

from certification.models import CertificateEvent
from certification.services import standing
from people.models import Person
from tests.factories import (
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)
from training.models import (
    PracticeRecord,
    PracticeWithdrawal,
    VisionTest,
    VisionTestWithdrawal,
)

pytestmark = pytest.mark.django_db


def at(day, hour=9):
    return datetime(day.year, day.month, day.day, hour, tzinfo=UTC)


@pytest.fixture
def scope():
    return make_scope(title="Terminals, operator")


@pytest.fixture
def person():
    return make_person(full_name="Bruno Castellane")


@pytest.fixture
def certificate(person, scope):
    """Good from 10 Jan 2026 through 10 Jan 2028, with vision and practice asked for."""
    revision = make_revision(scope, vision_months=12, max_absence_months=6)
    VisionTest.objects.create(
        test_id="CA-V-1",
        person=person,
        tested_on=date(2026, 1, 5),
        passed=True,
        method="near-vision card",
        examiner="Dr Who Examined",
        recorded_at=at(date(2026, 1, 5)),
    )
    work(person, scope, date(2026, 4, 1))
    return make_certificate(person, scope, revision=revision, issued_on=date(2026, 1, 10))


@pytest.fixture
def quality(client):
    user = make_user("quality")
    client.force_login(user)
    return user


def work(person, scope, day, recorded=None):
    return PracticeRecord.objects.create(
        person=person,
        scope_code=scope.code,
        performed_on=day,
        reference=f"WO-{day:%m%d}",
        recorded_at=at(recorded or day),
    )


def happened(certificate, kind, day, recorded=None, **fields):
    event = CertificateEvent.objects.create(
        **{
            "event_id": f"CA-E-{CertificateEvent.objects.count() + 1:05d}",
            "certificate": certificate,
            "kind": kind,
            "effective_on": day,
            "recorded_at": at(recorded or day),
            "reason": "Rejects.",
            **fields,
        }
    )
    standing.rebuild_spans(certificate.person, certificate.scope)
    return event


def ask(client, person, scope, **asked):
    return client.get(reverse("certification:standing_detail", args=[person.pk, scope.pk]), asked)


def text_of(response):
    """What the page says, without tags, its no-break spaces as spaces."""
    page = re.sub(r"(?s)<svg.*?</svg>|<[^>]+>", "", bytes(response.content).decode())
    return re.sub(r"\s+", " ", page.replace("\u00a0", " "))


def test_answer_carries_its_rule_its_facts_and_the_day_it_changes(
    client, quality, certificate, person, scope
):
    response = ask(client, person, scope, day="2026-05-03")

    screen = response.context["screen"]
    assert (screen.said, screen.answer.certificate_number) == ("certified", certificate.number)
    assert screen.answer.changes_on == date(2026, 10, 2)
    assert screen.then_said == "practice_lapsed"
    page = text_of(response)
    assert "Within the period it was issued for." in page
    assert "Fri 2 Oct 2026" in page
    assert [one.key for one in screen.used] == [
        f"certificate:{certificate.number}",
        "vision:CA-V-1",
        "practice:2026-04-01",
    ]
    links = re.findall(r'href="([^"]+)"', response.content.decode())
    assert {one.url for one in screen.used} <= set(links)


def test_day_on_which_nobody_had_a_certificate_says_so(client, quality, certificate, person, scope):
    response = ask(client, person, scope, day="2025-05-03")

    assert response.context["screen"].said == "never_certified"
    assert "No certificate had been issued." in text_of(response)


def test_as_known_at_uses_only_what_had_been_recorded_and_says_what_differs(
    client, quality, certificate, person, scope
):
    happened(certificate, "suspended", date(2026, 5, 1), recorded=date(2026, 5, 20))

    now = ask(client, person, scope, day="2026-05-03")
    then = ask(client, person, scope, day="2026-05-03", known_at="2026-05-10")

    assert now.context["screen"].said == "suspended"
    assert "recorded 19 days later" in text_of(now)
    screen = then.context["screen"]
    assert (screen.said, screen.now_said) == ("certified", "suspended")
    assert "Using entries made up to Sun 10 May 2026, 23:59 CEST." in text_of(then)
    assert "the answer for 3 May 2026 is another: suspended" in text_of(then)
    [event] = [one for one in screen.facts if one.key.startswith("event:")]
    assert event.is_unknown
    assert "not known then" in event.notes
    assert "m-suspended" not in "".join(picture for _name, picture in screen.pictures)
    assert "m-suspended" in "".join(picture for _name, picture in now.context["screen"].pictures)


@pytest.mark.parametrize(
    ("known_at", "said"),
    [
        ("2026-05-20", "suspended"),
        ("2026-05-19", "certified"),
        ("2026-05-20T10:59:59", "certified"),  # 08:59:59 UTC: Madrid is two hours ahead.
        ("2026-05-20T11:00", "suspended"),
        ("2026-05-20T09:00:00+00:00", "suspended"),
    ],
)
def test_instant_is_in_the_sites_time_and_a_bare_day_means_its_end(
    client, quality, certificate, person, scope, known_at, said
):
    happened(certificate, "suspended", date(2026, 5, 1), recorded=date(2026, 5, 20))

    response = ask(client, person, scope, day="2026-05-03", known_at=known_at)

    assert response.context["screen"].said == said


@pytest.mark.parametrize("asked", [{"day": "yesterday"}, {"known_at": "2026-13-01"}])
def test_what_is_no_day_or_instant_is_refused_in_words(
    client, quality, certificate, person, scope, asked
):
    response = ask(client, person, scope, **asked)

    assert response.status_code == 422
    assert response.context["form"].errors
    assert response.context["screen"].day == person.site.today()


def test_what_was_taken_back_is_marked_and_never_left_out(
    client, quality, certificate, person, scope
):
    suspended = happened(certificate, "suspended", date(2026, 5, 1))
    happened(
        certificate, "voided", date(2026, 5, 7), voids=suspended, reason="Another badge was meant."
    )
    test = VisionTest.objects.create(
        test_id="CA-V-2", person=person, tested_on=date(2026, 5, 2), passed=False,
        recorded_at=at(date(2026, 5, 2)),
    )  # fmt: skip
    VisionTestWithdrawal.objects.create(
        vision_test=test, withdrawn_at=at(date(2026, 5, 8)), reason="Typed twice."
    )
    practice = work(person, scope, date(2026, 5, 2))
    PracticeWithdrawal.objects.create(
        practice=practice, withdrawn_at=at(date(2026, 5, 9)), reason="Other line."
    )

    screen = ask(client, person, scope, day="2026-05-03").context["screen"]
    lines = {one.key: one for one in [*screen.facts, *screen.practice]}

    assert screen.said == "certified"
    assert {key for key, one in lines.items() if one.is_gone} == {
        f"event:{suspended.event_id}",
        "vision:CA-V-2",
        "practice:2026-05-02",
    }
    assert "Another badge was meant." in " ".join(lines[f"event:{suspended.event_id}"].notes)
    assert "withdrawn, 8\u00a0May\u00a02026: Typed twice." in lines["vision:CA-V-2"].notes
    assert all(not one.error_url for one in lines.values() if one.is_gone)
    earlier = ask(client, person, scope, day="2026-05-03", known_at="2026-05-06").context["screen"]
    lines = {one.key: one for one in [*earlier.facts, *earlier.practice]}
    assert earlier.said == "suspended"
    assert not any(one.is_gone for one in lines.values())
    assert "later withdrawn, 8\u00a0May\u00a02026: Typed twice." in lines["vision:CA-V-2"].notes


def test_picture_says_what_the_table_says(client, quality, certificate, person, scope):
    happened(certificate, "suspended", date(2026, 5, 1))
    happened(certificate, "reinstated", date(2026, 6, 1))

    response = ask(client, person, scope, day="2026-05-03")

    screen = response.context["screen"]
    assert [name for name, _picture in screen.pictures] == ["wide", "middle", "narrow"]
    assert [one.said for one in screen.spans][-3:] == ["certified", "suspended", "certified"]
    page = text_of(response)
    for one in screen.spans:
        assert f"{one.span.first_day.day} {one.span.first_day:%b %Y}" in page
    for name, picture in screen.pictures:
        assert picture.count('role="img"') == 1
        assert "Bruno Castellane" in picture
        # The band has one block for each span, two where today parts it.
        blocks = re.findall(r'<rect class="block ', picture)
        assert len(screen.spans) <= len(blocks) <= len(screen.spans) + 1, name
        assert certificate.number in picture
        # Nothing is drawn outside.
        width = float(re.search(r'viewBox="0 0 (\d+)', picture)[1])
        assert all(0 <= float(x) <= width for x in re.findall(r' x="([\d.-]+)"', picture)), name
    assert 'class="asked"' in screen.pictures[0][1]


def test_names_in_the_picture_are_escaped(client, quality, scope):
    person = make_person(full_name='Ann "<b>" O\'Neil')
    make_certificate(person, scope, issued_on=date(2026, 1, 10), number='CA-C-<i>"1')

    page = ask(client, person, scope).content.decode()

    assert "<b>&quot; O" not in page
    assert '<i>"1' not in page
    assert "CA-C-&lt;i&gt;&quot;1" in page


def test_person_without_a_certificate_has_a_page_without_a_picture(client, quality, person, scope):
    response = ask(client, person, scope)

    assert response.context["screen"].pictures == []
    assert "No certificate yet" in text_of(response)


def test_quality_may_act_from_the_page_and_instructors_take_facts_back(
    client, certificate, person, scope
):
    held = make_certificate(
        person, scope, revision=certificate.scheme_revision, issued_on=person.site.today()
    )
    client.force_login(make_user("quality"))
    page = ask(client, person, scope).content.decode()
    for act in ("suspend", "extend", "end", "revoke", "withdraw"):
        assert f"/certificates/{held.number}/act/{act}/" in page
    assert "/vision-tests/CA-V-1/withdraw/" in page

    client.force_login(make_user("instructor"))
    page = ask(client, person, scope).content.decode()
    assert "/act/" not in page
    assert "/vision-tests/CA-V-1/withdraw/" in page


def test_owner_reads_everything_and_may_take_nothing_back(client, certificate, person, scope):
    client.force_login(make_user("quality", person=person))

    response = ask(client, person, scope)

    page = response.content.decode()
    assert "CA-V-1" in page
    assert "/act/" not in page
    assert "/withdraw/" not in page


@pytest.mark.parametrize("role", ["instructor", "quality"])
def test_vision_is_a_day_and_pass_or_fail_and_no_more(client, certificate, person, scope, role):
    client.force_login(make_user(role))

    page = ask(client, person, scope).content.decode()

    assert "vision test passed" in page
    assert "near-vision card" not in page
    assert "Dr Who Examined" not in page


def test_line_lead_learns_the_standing_and_nothing_of_health(client, certificate, person, scope):
    lead = make_user("line_lead")
    Person.objects.filter(pk=person.pk).update(line_lead=lead.person)
    happened(certificate, "suspended", date(2026, 5, 1), reason="A private reason.")
    happened(certificate, "reinstated", date(2026, 6, 1))
    VisionTest.objects.create(
        test_id="CA-V-3", person=person, tested_on=date(2026, 9, 1), passed=False,
        recorded_at=at(date(2026, 9, 1)),
    )  # fmt: skip
    standing.rebuild_person(person)
    client.force_login(lead)

    response = ask(client, person, scope, day="2026-09-10")

    assert response.status_code == 200
    page = response.content.decode()
    assert "not current: see your instructor" in page
    drawn = "".join(picture for _name, picture in response.context["screen"].pictures)
    assert "not current: see your instructor" in drawn
    for secret in ("ision", "CA-V-", "A private reason.", "WO-0401", "/certificates/"):
        assert secret not in text_of(response) + drawn, secret
    assert "/certificates/" not in page
    assert response.context["screen"].facts == []
    assert certificate.number in page


@pytest.mark.parametrize("role", ["operator", "line_lead", "administrator", "quality_there"])
def test_page_is_not_there_for_anybody_else(client, certificate, person, scope, role):
    site = make_site("Aldergate", "AL") if role == "quality_there" else None
    client.force_login(make_user(role.removesuffix("_there"), site=site))

    assert ask(client, person, scope).status_code == 404


def test_queries_do_not_grow_with_the_facts(
    client, quality, certificate, person, scope, django_assert_num_queries
):
    address = reverse("certification:standing_detail", args=[person.pk, scope.pk])
    client.get(address)
    with django_assert_num_queries(15):
        client.get(address)
    for day in range(40):
        work(person, scope, date(2026, 4, 2) + timedelta(days=day))
    happened(certificate, "suspended", date(2026, 5, 1))
    with django_assert_num_queries(15):
        client.get(address)
