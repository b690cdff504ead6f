"""Who was that: a stamp and a day, or a unit's number, name somebody and their standing then."""

from datetime import UTC, date, datetime, timedelta

import pytest

from certification.models import CertificateEvent
from people.models import Stamp
from tests.factories import (
    NOW,
    TODAY,
    make_board,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)
from training.models import PracticeRecord, PracticeWithdrawal, VisionTest

pytestmark = pytest.mark.django_db

ASK = "/register/who-was-that/"
DAY = date(2026, 5, 3)


@pytest.fixture
def quality(client):
    user = make_user("quality")
    client.force_login(user)
    return user


@pytest.fixture
def terminals():
    return make_scope(code="TERM", title="Terminals, operator")


@pytest.fixture
def ilka(terminals):
    """Held stamp 47 from 2025 on and was certified from 10 January 2025 through 2027."""
    person = make_person(full_name="Ilka Norrgard", employee_number="10102")
    Stamp.objects.create(mark="47", person=person, issued_on=date(2025, 2, 1))
    make_certificate(person, terminals, number="CA-C-00012", issued_on=date(2025, 1, 10))
    return person


def ask(client, question, **query):
    response = client.get(ASK, {"q": question, **query})
    assert response.status_code == 200
    return response.context["reply"]


def stood(match):
    return {
        standing.scope.code if standing.scope else None: standing.answer.standing.value
        for standing in match.stood
    }


def practice(person, unit, on=DAY, scope="TERM", recorded_at=None):
    return PracticeRecord.objects.create(
        person=person,
        scope_code=scope,
        performed_on=on,
        reference=unit,
        recorded_at=recorded_at or datetime(on.year, on.month, on.day, 20, tzinfo=UTC),
    )


# By stamp


@pytest.mark.parametrize("question", ["47 2026-05-03", "stamp 47 on 3 May 2026", "47 3 May 2026?"])
def test_stamp_and_day_name_its_holder_and_their_standing_that_day(client, quality, ilka, question):
    reply = ask(client, question)

    [match] = reply.matches
    assert (match.person, match.day) == (ilka, DAY)
    [standing] = match.stood
    assert standing.answer.standing.value == "certified"
    assert standing.certificate.number == "CA-C-00012"
    page = client.get(ASK, {"q": question}).content.decode()
    assert "Ilka Norrgard" in page
    assert "Within the period it was issued for." in page
    assert "/certificates/CA-C-00012/" in page
    assert "11 Jan 2027".replace(" ", "\u00a0") in page


def test_question_is_asked_from_the_register_of_quality_alone(client, quality, ilka):
    page = client.get("/register/").content.decode()
    assert f'action="{ASK}"' in page

    for role in ("instructor", "line_lead"):
        client.force_login(make_user(role))
        assert f'action="{ASK}"' not in client.get("/register/").content.decode()
        assert client.get(ASK, {"q": "47 2026-05-03"}).status_code == 403


def test_first_and_last_day_in_somebodys_hands_are_theirs(client, quality):
    first, second = make_person(full_name="First"), make_person(full_name="Second")
    Stamp.objects.create(
        mark="8", person=first, issued_on=date(2025, 1, 1), returned_on=date(2025, 6, 30)
    )
    Stamp.objects.create(mark="8", person=second, issued_on=date(2025, 7, 2))

    def holders(day):
        return [match.person.full_name for match in ask(client, f"8 {day}").matches]

    assert holders("2025-01-01") == holders("2025-06-30") == ["First"]
    assert holders("2025-07-02") == ["Second"]
    assert holders("2025-07-01") == []
    reply = ask(client, "8 2025-07-01")
    assert reply.says == "Nobody held stamp 8 on 1 Jul 2025."
    assert [stamp.person for stamp in reply.stamps] == [second, first]
    page = client.get(ASK, {"q": "8 2025-07-01"}).content.decode()
    assert "First" in page
    assert "Second" in page


def test_stamp_without_a_day_says_who_has_held_it(client, quality, ilka):
    reply = ask(client, "stamp 47")

    assert not reply.matches
    assert reply.says == "Add the day to see who held stamp 47 then."
    assert [stamp.person for stamp in reply.stamps] == [ilka]


def test_every_holder_is_listed_where_two_stamps_leave_one_mark(client, quality, ilka):
    other = make_site("Aldergate", "AL")
    quality.roles.create(site=other, role="quality")
    other_holder = make_person(other, full_name="There")
    Stamp.objects.create(mark="47", person=other_holder, issued_on=date(2025, 3, 1))

    assert {match.person for match in ask(client, "47 2026-05-03").matches} == {ilka, other_holder}


def test_holder_who_never_was_certified_or_has_left_is_named_all_the_same(client, quality):
    person = make_person(full_name="Gone", left_on=date(2026, 6, 1))
    Stamp.objects.create(mark="9", person=person, issued_on=date(2025, 1, 1))

    [match] = ask(client, "9 2026-05-03").matches

    assert match.person == person
    assert stood(match) == {None: "never_certified"}
    assert "never certified" in client.get(ASK, {"q": "9 2026-05-03"}).content.decode()


def test_standing_is_of_that_day_and_for_every_scope(client, quality, ilka, terminals):
    cups = make_scope(code="CUP", title="Cups, operator")
    suspended = make_certificate(ilka, cups, issued_on=date(2025, 1, 10))
    CertificateEvent.objects.create(
        event_id="E-1",
        certificate=suspended,
        kind="suspended",
        effective_on=date(2026, 5, 1),
        recorded_at=NOW,
    )
    make_certificate(ilka, make_scope(code="LATER"), issued_on=date(2026, 6, 1))

    [match] = ask(client, "47 2026-05-03").matches

    assert stood(match) == {"TERM": "certified", "CUP": "suspended"}


def test_vision_is_said_as_currency_alone(client, quality, terminals):
    person = make_person()
    VisionTest.objects.create(
        test_id="V-1", person=person, tested_on=date(2026, 1, 9), passed=False
    )
    revision = make_revision(terminals, vision_months=12)
    make_certificate(person, terminals, revision=revision, issued_on=date(2026, 1, 10))
    Stamp.objects.create(mark="9", person=person, issued_on=date(2025, 1, 1))

    page = client.get(ASK, {"q": "9 2026-05-03"}).content.decode()

    assert "The vision test is not current." in page
    assert "failed" not in page.split("<main")[-1]


# By unit or work order


def test_unit_names_who_worked_on_it_each_day_for_the_scope_of_the_work(client, quality, ilka):
    practice(ilka, "SN-0419")
    practice(ilka, "sn-0419", on=date(2024, 12, 1))
    practice(make_person(), "SN-04190")

    reply = ask(client, "SN-0419")

    assert not reply.is_part
    assert [(match.person, match.day) for match in reply.matches] == [
        (ilka, DAY),
        (ilka, date(2024, 12, 1)),
    ]
    assert [stood(match) for match in reply.matches] == [
        {"TERM": "certified"},
        {"TERM": "never_certified"},
    ]
    assert [match.day for match in ask(client, "unit SN-0419 on 3 May 2026").matches] == [DAY]
    nobody = ask(client, "unit SN-0419 on 4 May 2026")
    assert nobody.says == "No work on SN-0419 is recorded for 4 May 2026 at your sites."


def test_work_in_a_scope_nobody_described_shows_all_that_they_held(client, quality, ilka):
    practice(ilka, "SN-7", scope="some other work")

    [match] = ask(client, "SN-7").matches

    assert stood(match) == {"TERM": "certified"}


@pytest.mark.parametrize("question", ["SN-0777", "WO 5512", "work order wo 5512".upper()])
def test_board_made_for_a_unit_or_work_order_names_its_maker(client, quality, ilka, question):
    work_order = "WO 5512" if question.startswith("WORK") else "5512"
    board = make_board(
        ilka,
        unit="SN-0777",
        work_order=work_order,
        handed_out_on=DAY - timedelta(days=1),
        handed_in_at=datetime(2026, 5, 3, 15, tzinfo=UTC),
    )

    [match] = ask(client, question).matches

    assert (match.person, match.day, match.board) == (ilka, DAY, board)
    assert f"/boards/{board.number}/" in client.get(ASK, {"q": question}).content.decode()
    assert not ask(client, "unit SN-0777 on 4 May 2026").matches


@pytest.mark.parametrize("question", ["SN-0419 on 4 May 2026", "unit SN-0419 on 4 May 2026"])
def test_unit_that_is_named_for_other_days_says_for_which(client, quality, ilka, question):
    practice(ilka, "SN-0419")
    practice(make_person(site=make_site("Aldergate", "AL")), "SN-0419")

    reply = ask(client, question)

    assert not reply.matches
    assert reply.says == "No work on SN-0419 is recorded for 4 May 2026 at your sites."
    assert [(match.person, match.day, stood(match)) for match in reply.other_days] == [
        (ilka, DAY, {"TERM": "certified"})
    ]
    page = client.get(ASK, {"q": question}).content.decode().replace("\u00a0", " ")
    assert "It is named for other days:" in page
    assert "Sun 3 May 2026" in page


@pytest.mark.parametrize("question", ["WO 88", "work order WO 88", "wo 88"])
def test_word_may_be_a_part_of_the_number(client, quality, ilka, question):
    practice(ilka, "WO 88")

    reply = ask(client, question)

    assert [match.person for match in reply.matches] == [ilka]
    assert not reply.is_part


def test_part_of_a_number_finds_where_nothing_bears_it_as_a_whole(client, quality, ilka):
    practice(ilka, "unit 0419 / order 12")

    reply = ask(client, "0419")

    assert reply.is_part
    assert [match.person for match in reply.matches] == [ilka]
    assert "as a part" in client.get(ASK, {"q": "0419"}).content.decode()
    assert not ask(client, "12").matches


def test_many_are_cut_and_it_is_said(client, quality, ilka):
    for ago in range(25):
        practice(ilka, "LOT-1", on=DAY - timedelta(days=ago))

    reply = ask(client, "LOT-1")

    assert (len(reply.matches), reply.more) == (20, True)
    assert "There are more" in client.get(ASK, {"q": "LOT-1"}).content.decode()


def test_work_withdrawn_names_nobody_and_still_does_as_known_before(client, quality, ilka):
    work = practice(ilka, "SN-1")
    PracticeWithdrawal.objects.create(
        practice=work, withdrawn_at=datetime(2026, 6, 1, 9, tzinfo=UTC), reason="Not theirs."
    )

    assert not ask(client, "SN-1").matches
    assert [match.person for match in ask(client, "SN-1", known_at="2026-05-31").matches] == [ilka]
    assert not ask(client, "SN-1", known_at="2026-05-02").matches
    assert not ask(client, "SN-1", known_at="2026-06-01").matches


# As known at


def test_standing_as_known_uses_what_had_been_recorded_by_then(client, quality, ilka):
    CertificateEvent.objects.create(
        event_id="E-1",
        certificate=ilka.certificates.get(),
        kind="revoked",
        effective_on=date(2026, 4, 1),
        recorded_at=datetime(2026, 5, 20, 8, 30, tzinfo=UTC),
    )

    def known(known_at):
        [match] = ask(client, "47 2026-05-03", known_at=known_at).matches
        return stood(match)["TERM"]

    assert known("") == "revoked"
    assert known("2026-05-19") == "certified"
    assert known("2026-05-20") == "revoked"
    # Half past ten in Madrid is half past eight in UTC.
    assert known("2026-05-20T10:29:59") == "certified"
    assert known("2026-05-20T10:30") == "revoked"
    assert known("2026-05-20T08:29:59Z") == "certified"
    assert known("2026-05-20T10:30:00+02:00") == "revoked"


def test_instant_still_to_come_is_now(client, quality, ilka):
    response = client.get(ASK, {"q": "47 2026-05-03", "known_at": "2999-01-01"})

    assert response.context["known_at"] is None


# What has no answer


@pytest.mark.parametrize(
    ("question", "says"),
    [
        ("47 2026-02-30", "There is no 2026-02-30: give a day of the calendar."),
        ("stamp 47 on 31 April 2026", "There is no 31 April 2026: give a day of the calendar."),
        ("47 3/5/2026", "3/5/2026 can be read as two days. Write it as 2026-05-03 or 3 May 2026."),
        ("47 2999-01-01", "1 Jan 2999 is still to come"),
        ("47 1066-10-14", "Give a day from 1900 on."),
        ("2026-05-03", "Name a stamp, a number or a name and a day, or a unit or work order."),
        ("stamp 48 2026-05-03", "No stamp 48 has been issued at your sites."),
        ("47 2025-01-31", "Nobody held stamp 47 on 31 Jan 2025."),
        ("unit SN-1", "No work or board at your sites names SN-1."),
        ("SN-1", "No stamp, person, work or board at your sites bears SN-1."),
    ],
)
def test_what_has_no_answer_says_why(client, quality, ilka, question, says):
    reply = ask(client, question)

    assert reply.says.startswith(says)
    assert not reply.matches
    assert reply.says.replace("'", "&#x27;") in client.get(ASK, {"q": question}).content.decode()


def test_nothing_asked_is_a_form_and_bad_instants_are_refused(client, quality):
    assert client.get(ASK).context["reply"] is None
    assert client.get(ASK, {"q": ""}).status_code == 422
    for known_at in ("2026-02-30", "soon", "0001-01-01", "9999-12-31T23:59:59-12:00"):
        response = client.get(ASK, {"q": "47 2026-05-03", "known_at": known_at})
        assert response.status_code == 422, known_at
        assert response.context["reply"] is None


def test_people_of_other_sites_answer_like_nobody(client, quality):
    other_holder = make_person(make_site("Aldergate", "AL"), full_name="Other Site")
    Stamp.objects.create(mark="5", person=other_holder, issued_on=date(2025, 1, 1))
    practice(other_holder, "SN-5")
    make_board(other_holder, unit="SN-5B", handed_out_on=DAY)

    assert ask(client, "stamp 5 2026-05-03").says == "No stamp 5 has been issued at your sites."
    for question in ("stamp 5", "5 2026-05-03", "SN-5", "SN-5B", "unit SN-"):
        reply = ask(client, question)
        assert not reply.matches
        assert not reply.stamps
        assert "Other Site" not in client.get(ASK, {"q": question}).content.decode()


def test_one_match_and_twenty_take_the_same_few_queries(
    client, quality, terminals, django_assert_max_num_queries
):
    query_counts = []
    for more in (1, 18):
        for number in range(more):
            person = make_person()
            make_certificate(person, terminals, issued_on=date(2025, 1, 10))
            practice(person, "LOT-2", on=DAY - timedelta(days=number))
            make_board(person, unit="LOT-2", handed_out_on=TODAY)
        client.get(ASK)
        with django_assert_max_num_queries(14) as queries:
            assert ask(client, "LOT-2").matches
        query_counts.append(len(queries))

    assert query_counts[0] == query_counts[1]
