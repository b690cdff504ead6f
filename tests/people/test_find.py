"""The search: nine kinds by number or name, the best answer first, of what the reader may see."""

from datetime import timedelta

import pytest
from django.db import connection
from django.db.models import Value
from django.db.models.functions import Upper
from django.urls import reverse

from people.domain.folding import fold
from people.models import FormerEmployeeNumber, Person, Stamp
from people.queries.finding import Folded, Sought
from records.models.text_order import AFTER_ALL, InByteOrder
from tests.factories import (
    NOW,
    TODAY,
    make_board,
    make_certificate,
    make_criteria_set,
    make_exercise,
    make_person,
    make_session,
    make_site,
    make_user,
)
from training.models import PracticeRecord, PracticeWithdrawal

pytestmark = [pytest.mark.django_db, pytest.mark.each_database]


@pytest.fixture
def quality(client):
    person = make_person(full_name="Quality", employee_number="Q1")
    user = make_user("quality", person=person)
    client.force_login(user)
    return user


@pytest.fixture
def amaranta():
    person = make_person(full_name="Amaranta Kowal", employee_number="88801")
    FormerEmployeeNumber.objects.create(person=person, employee_number="OLD-7", until_on=TODAY)
    Stamp.objects.create(mark="K47", person=person, issued_on=TODAY)
    return person


STRANDS = {
    "code": "S-1",
    "texts": {"en": {"title": "Strands lie as before"}, "de": {"title": "Litze geöffnet"}},
}


def find(client, text):
    return client.get("/find/", {"q": text})


def as_typed(client, text, target="find-found"):
    """What the field shows while it is typed."""
    return client.get("/find/", {"q": text}, headers={"HX-Request": "true", "HX-Target": target})


def numbers(response, key=None):
    found = response.context["found"]
    return [hit.number for group in found.groups for hit in group.hits if key in (None, group.key)]


def kinds(response):
    return [group.key for group in response.context["found"].groups]


def worked_on(person, reference, **fields):
    return PracticeRecord.objects.create(
        person=person, scope_code="TERM", performed_on=TODAY, reference=reference, **fields
    )


@pytest.mark.parametrize(
    "text",
    ["Kowal", "kowal amaranta", "888", "88801", "OLD-7", "old-7", "K47", "k47", "  Kowal  "],
)
def test_single_person_is_opened_at_once(client, quality, amaranta, text):
    response = find(client, text)

    assert response.status_code == 302
    assert response.url == reverse("people:person_detail", args=["88801"])


def test_single_board_is_opened_by_its_number(client, quality):
    board = make_board(number="CA-B-00012", unit="SN 0815", work_order="WO-9")

    for text in ("CA-B-00012", "ca-b-00012", "00012"):
        assert find(client, text).url == reverse("assessments:board_detail", args=[board.number])


def test_single_certificate_is_opened_by_its_number_or_the_one_on_the_paper(client, quality):
    certificate = make_certificate(number="CA-C-00077", outside_number="TC 3/19")

    for text in ("CA-C-00077", "00077", "tc 3/19"):
        assert find(client, text).url == reverse(
            "certification:certificate_detail", args=[certificate.number]
        )


def test_several_things_are_listed(client, quality):
    make_person(full_name="Person Twelve", employee_number="12345")
    make_board(number="CA-B-12345")
    make_certificate(number="CA-C-12345")

    response = find(client, "12345")

    assert kinds(response) == ["people", "boards", "certificates"]
    page = response.content.decode()
    for number in ("12345", "CA-B-12345", "CA-C-12345"):
        assert number in page


# Every kind


@pytest.mark.parametrize("text", ["SN 0815", "sn 0815", "0815", "WO-9", "wo-9"])
def test_unit_and_work_order_of_a_board_are_traced_by_quality(client, quality, text):
    make_board(number="CA-B-00012", unit="SN 0815", work_order="WO-9")

    number = "SN+0815" if "08" in text else "WO-9"
    assert find(client, text).url == f"/register/who-was-that/?q=unit+{number}"


def test_unit_opens_its_board_for_an_instructor_and_the_list_where_there_are_several(client):
    client.force_login(make_user("instructor"))
    make_board(number="CA-B-00012", unit="SN 0815")
    assert find(client, "SN 0815").url == reverse("assessments:board_detail", args=["CA-B-00012"])

    make_board(number="CA-B-00013", unit="sn 0815")
    assert find(client, "SN 0815").url == reverse("assessments:board_list") + "?q=SN+0815"
    assert client.get(find(client, "SN 0815").url).content.count(b"CA-B-0001") >= 2


def test_work_is_found_by_how_its_unit_begins_and_not_once_withdrawn(client, quality, amaranta):
    kept = worked_on(amaranta, "WO-8911")
    worked_on(amaranta, "WO-8911")
    withdrawn = worked_on(amaranta, "WO-8912")
    PracticeWithdrawal.objects.create(practice=withdrawn, reason="Another's.")

    for text in ("wo-89", "WO-8911"):
        response = as_typed(client, text)
        assert (kinds(response), numbers(response)) == (["units"], [kept.reference])


def test_unit_of_a_board_and_of_work_is_one_line(client, quality, amaranta):
    worked_on(amaranta, "wo-9")
    make_board(amaranta, number="CA-B-00012", work_order="WO-9")

    [group] = as_typed(client, "WO-9").context["found"].groups
    [hit] = group.hits
    assert "board CA-B-00012 by Amaranta Kowal" in hit.detail
    assert "work last recorded" in hit.detail


def test_work_leads_an_instructor_to_whoever_did_it(client, amaranta):
    client.force_login(make_user("instructor"))
    worked_on(amaranta, "WO-8911")

    assert find(client, "WO-8911").url == reverse("people:person_detail", args=["88801"])


def test_class_is_found_by_its_number_and_the_words_of_its_course(client, quality):
    session = make_session()
    course = session.course_revision.course
    course.title = "Hand soldering, first week"
    course.save()

    address = reverse("training:class_detail", args=[session.number])
    for text in (session.number, session.number.lower(), "week soldering"):
        assert find(client, text).url == address


def test_exercise_is_found_by_code_and_title_in_its_newest_revision_alone(client, quality):
    make_exercise(code="EX-9", revision=1, title="Hook terminals")
    make_exercise(code="EX-9", revision=2, title="Hooks anew")
    make_exercise(code="EX-8", title="Hook of before", retired_at=NOW)

    assert numbers(as_typed(client, "hook"), "exercises") == ["EX-9"]
    assert as_typed(client, "hook").context["found"].only.label == "Hooks anew"
    assert find(client, "ex-9").url == reverse("training:exercise_detail", args=["EX-9"])
    assert numbers(as_typed(client, "Hook terminals")) == []


def test_criterion_is_found_in_the_set_that_holds_and_not_in_a_draft(client, quality):
    made = make_criteria_set(STRANDS)
    newer = make_criteria_set(STRANDS, published=False)

    [hit] = as_typed(client, "strands").context["found"].hits
    assert hit.url == reverse("assessments:criteria_set_detail", args=[made.pk]) + ("#c-S-1")
    page = client.get(hit.url).content.decode()
    assert 'id="c-S-1"' in page
    assert numbers(as_typed(client, "s-1"), "criteria") == ["S-1"]
    newer.published_at = NOW
    newer.save()
    [hit] = as_typed(client, "strands").context["found"].hits
    assert hit.detail == str(newer)


def test_criterion_is_found_by_its_words_in_the_readers_language(client):
    person = make_person(language="de")
    client.force_login(make_user("quality", person=person))
    make_criteria_set(STRANDS)

    for text in ("litze", "GEOFFNET", "strands"):
        [hit] = as_typed(client, text).context["found"].hits
        assert hit.label == "Litze geöffnet"


# In which order


def test_exact_number_comes_before_a_beginning_and_that_before_a_part(client, quality):
    for number in ("X-891", "891-X", "891"):
        make_person(full_name=f"Has {number}", employee_number=number)

    assert numbers(as_typed(client, "891"), "people") == ["891", "891-X", "X-891"]


def test_kind_with_the_exact_number_comes_first(client, quality):
    holder = make_person(full_name="Somebody", employee_number="4700")
    Stamp.objects.create(mark="47", person=holder, issued_on=TODAY)

    assert kinds(as_typed(client, "47")) == ["stamps", "people"]
    assert kinds(as_typed(client, "4700")) == ["people"]


def test_words_that_begin_a_name_come_before_parts_and_whoever_left_comes_last(client, quality):
    gone = TODAY - timedelta(days=3000)
    make_person(full_name="Anna Aldous", employee_number="A1", left_on=gone)
    make_person(full_name="Zoe Aldous", employee_number="A2")
    make_person(full_name="Bert Haldous", employee_number="A3")

    response = as_typed(client, "aldous")

    assert numbers(response, "people") == ["A2", "A1", "A3"]
    assert "left " in response.context["found"].hits[1].detail


def test_stamp_in_hands_comes_before_one_given_back(client, quality, amaranta):
    before = make_person(full_name="Bruno Pell", employee_number="B1")
    Stamp.objects.create(
        mark="K47", person=before, issued_on=TODAY - timedelta(days=9), returned_on=TODAY
    )

    labels = [hit.label for hit in as_typed(client, "k47").context["found"].hits]
    assert labels == ["Amaranta Kowal", "Bruno Pell"]


# Names


@pytest.mark.parametrize(
    ("name", "typed"),
    [
        ("Łucja Müller", "muller LUCJA"),
        ("Łucja Müller", "MÜLLER"),
        ("Søren Ångström", "soren angstrom"),
        ("Ángel Núñez", "nunez"),
        ("Jose Nunez", "josé núñez"),
        ("Jiří Dvořák", "JIRI DVORAK"),
    ],
)
def test_accents_and_capitals_make_no_difference(client, quality, name, typed):
    person = make_person(full_name=name)

    assert numbers(as_typed(client, typed), "people") == [person.employee_number]


@pytest.mark.parametrize(
    "text", ["", "plain", "ÉÈÊ", "Łódź", "ß", "100 % _x\\'y", "İı", "ﬁne", "Ångström", "日本"]
)
def test_database_folds_letters_as_python_does(text):
    person = make_person(full_name=text or " ")
    person.full_name = text
    Person.objects.filter(pk=person.pk).update(full_name=text)

    [folded] = Person.objects.filter(pk=person.pk).values_list(Folded("full_name"), flat=True)

    assert folded == fold(text)


def test_single_character_is_a_whole_number_and_no_part_of_a_name(client, quality, amaranta):
    assert numbers(as_typed(client, "a")) == []
    assert numbers(as_typed(client, "7")) == []
    Stamp.objects.create(mark="7", person=amaranta, issued_on=TODAY)
    assert numbers(as_typed(client, "7")) == ["7"]


def test_what_is_typed_has_a_limit_and_no_character_that_a_database_refuses(client, quality):
    assert Sought.of("a\0b  c ").text == "ab c"
    assert len(Sought.of("x" * 5000).text) == 120
    assert len(Sought.of("a b c d e f g h").words) == 6
    for text in ("x" * 5000, "ab " * 200, "\\", "'; --"):
        assert find(client, text).status_code == 200


def test_stamp_names_everybody_who_held_it_and_when(client, quality, amaranta):
    before = make_person(full_name="Bruno Pell")
    Stamp.objects.create(
        mark="K47",
        person=before,
        issued_on=TODAY - timedelta(days=400),
        returned_on=TODAY - timedelta(days=1),
    )

    page = " ".join(find(client, "K47").content.decode().replace("\xa0", " ").split())

    assert "Amaranta Kowal" in page
    assert "Bruno Pell" in page
    assert "held stamp K47 from" in page
    assert "holds stamp K47 since" in page


def test_no_more_than_some_are_shown_and_it_is_said(client, quality):
    for n in range(21):
        make_person(full_name=f"Namesake {n}")

    response = find(client, "Namesake")

    assert len(numbers(response)) == 20
    assert "There are more" in response.content.decode()


@pytest.mark.parametrize("text", ["nobody at all", "%", "_", "0", "<b>"])
def test_nothing_found_says_what_to_try(client, quality, text):
    response = find(client, text)

    assert response.status_code == 200
    assert "Nothing found" in response.content.decode()
    assert "<b></h1>" not in response.content.decode()


def test_empty_field_finds_nothing_and_asks(client, quality, amaranta):
    for text in ("", "   "):
        page = find(client, text).content.decode()
        assert "What are you looking for?" in page
        assert "Amaranta" not in page


def test_what_is_elsewhere_is_not_found(client, quality):
    elsewhere = make_person(make_site("Aldergate", "AL"), full_name="Rhoswen Carrick")
    Stamp.objects.create(mark="I9", person=elsewhere, issued_on=TODAY)
    make_board(elsewhere, number="AL-B-00001", work_order="WO-AL")
    make_certificate(elsewhere, number="AL-C-00001")
    worked_on(elsewhere, "UNIT-AL")
    session = make_session(elsewhere.site, number="AL-K-00001")

    for text in ("Carrick", "I9", "AL-B-00001", "WO-AL", "AL-C-00001", "UNIT-AL", session.number):
        found = find(client, text)
        assert found.status_code == 200
        assert found.context["found"].only is None
        assert numbers(found) == []
        assert "Nothing found" in found.content.decode()


def test_number_of_queries_does_not_grow_with_what_is_found(
    client, quality, django_assert_max_num_queries
):
    def queries():
        with django_assert_max_num_queries(22) as found:
            as_typed(client, "Namesake")
        return len(found)

    def make(n):
        person = make_person(full_name=f"Namesake {n}")
        Stamp.objects.create(mark=f"Namesake {n}", person=person, issued_on=TODAY)
        make_board(person, number=f"Namesake {n}", unit=f"namesake {n}")
        make_certificate(person, number=f"Namesake {n}")
        worked_on(person, f"Namesake {n}")
        make_session(number=f"Namesake {n}")
        make_exercise(code=f"Namesake {n}")

    make(1)
    queries()  # The session is written with the first request of a minute.
    few = queries()
    for n in range(2, 9):
        make(n)

    assert queries() == few


# While it is typed


def test_few_of_each_kind_are_shown_while_it_is_typed_and_lead_to_the_rest(client, quality):
    for n in range(7):
        make_person(full_name=f"Namesake {n}")

    response = as_typed(client, "namesake")

    page = response.content.decode()
    assert len(numbers(response)) == 5
    assert page.count('role="option"') == 6
    assert 'href="/find/?q=namesake"' in page
    assert "<html" not in page


def test_single_thing_is_not_opened_while_it_is_typed(client, quality, amaranta):
    for target in ("find-found", "found"):
        response = as_typed(client, "K47", target)
        assert response.status_code == 200
        assert "Amaranta Kowal" in response.content.decode()
        assert "<html" not in response.content.decode()


def test_one_place_found_by_two_stamps_is_opened_when_sent(client, quality, amaranta):
    Stamp.objects.create(mark="K47B", person=amaranta, issued_on=TODAY)

    assert find(client, "K47").url == reverse("people:person_detail", args=["88801"])


def test_nothing_is_said_of_an_empty_field_while_it_is_typed(client, quality):
    assert as_typed(client, " ").content.decode().strip() == ""
    assert "Nothing that you may see" in as_typed(client, "nobody at all").content.decode()


def test_index_answers_what_a_unit_begins_with(client, quality, amaranta):
    """One range of the index is read, whichever database sorts however."""
    if connection.vendor == "sqlite":
        explained = _plan()
        assert "USING INDEX practice_by_reference" in explained
    else:
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL enable_seqscan = off")
        explained = _plan()
        assert "Index Cond" in explained
        assert "practice_by_reference" in explained


def _plan():
    rows = PracticeRecord.objects.alias(in_order=InByteOrder(Upper("reference"))).filter(
        in_order__gte=Upper(Value("wo-")), in_order__lt=Upper(Value("wo-" + AFTER_ALL))
    )
    return rows.order_by("in_order").values("pk").explain()


def test_find_is_for_instructors_and_quality(client):
    assert find(client, "x").status_code == 302
    for role in ("operator", "line_lead", "administrator"):
        client.force_login(make_user(role))
        assert find(client, "x").status_code == 403
    client.force_login(make_user("instructor"))
    assert find(client, "x").status_code == 200
    assert client.post("/find/").status_code == 405


def test_list_that_was_typed_is_come_back_to_and_opens_nothing_by_itself(client, quality, amaranta):
    response = as_typed(client, "K47", "found")

    assert response.headers["HX-Replace-Url"] == "/find/?q=K47&listed=yes"
    back = client.get(response.headers["HX-Replace-Url"])
    assert back.status_code == 200
    assert "Amaranta Kowal" in back.content.decode()
