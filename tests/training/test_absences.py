"""Days away are entered by a line lead or an instructor, and nobody keeps why."""

from datetime import date, timedelta

import pytest

from people.models import Person
from records.models import TrailEntry
from tests.factories import NOW, TODAY, make_person, make_user
from training.exceptions import TrainingError
from training.models import Absence, AwayLimit
from training.queries.absences import away_on, limits_of
from training.services import absences as services

pytestmark = pytest.mark.django_db

PAGE = "/days-away/"


@pytest.fixture
def lead(client):
    user = make_user("line_lead")
    client.force_login(user)
    return user


@pytest.fixture
def ada(lead):
    return make_person(full_name="Ada Byrne", line_lead=lead.person)


def enter(person, actor, first=0, last=4):
    return services.enter_absence(
        person=person,
        from_day=TODAY + timedelta(days=first),
        through_day=TODAY + timedelta(days=last),
        actor=actor,
        at=NOW,
    )


def test_line_lead_enters_days_and_takes_them_out_again(client, lead, ada):
    first = lead.person.site.today() + timedelta(days=3)
    days = {"from_day": first.isoformat(), "through_day": (first + timedelta(days=9)).isoformat()}

    for _pressed in range(2):
        assert client.post(PAGE, {"person": "Ada Byrne", **days}).status_code == 302

    absence = Absence.objects.get()
    assert (absence.person, absence.entered_by) == (ada, lead)
    assert "Ada Byrne" in client.get(PAGE).text
    take_out = f"{PAGE}{absence.pk}/take-out/"
    assert client.post(take_out).status_code == 302
    assert client.post(take_out).status_code == 404
    acts = TrailEntry.objects.filter(about_type="person", about_id=str(ada.pk))
    assert list(acts.order_by("number").values_list("act", flat=True)) == [
        "absence entered",
        "absence taken out",
    ]


def test_somebody_elses_people_are_not_found(client, lead, ada):
    other = make_person(full_name="Bo Lind")

    answer = client.post(
        PAGE, {"person": "Bo Lind", "from_day": "2030-01-01", "through_day": "2030-01-02"}
    )

    assert answer.status_code == 422
    assert "Nobody whom you may choose" in answer.text
    with pytest.raises(TrainingError, match="Days away of Bo Lind are entered by"):
        enter(other, lead)
    # The page was shown while she was theirs.
    absence = enter(ada, lead)
    Person.objects.filter(pk=ada.pk).update(line_lead=None)
    with pytest.raises(TrainingError, match="Days away of Ada Byrne"):
        services.remove_absence(absence=absence, actor=lead, at=NOW)
    assert Absence.objects.get() == absence


@pytest.mark.parametrize(
    ("first", "last", "message"),
    [(3, 2, "comes before the first"), (0, 366, "more than a year"), (-9, -1, "are over")],
)
def test_days_that_cannot_be_are_refused(lead, ada, first, last, message):
    with pytest.raises(TrainingError, match=message):
        enter(ada, lead, first, last)
    assert not Absence.objects.exists()


def test_first_and_last_day_are_among_those_away(lead, ada):
    enter(ada, lead, 1, 2)
    enter(make_person(line_lead=lead.person), lead, 9, 9)

    days = [TODAY + timedelta(days=number) for number in range(5)]

    assert away_on([ada.pk], days) == {ada.pk: {days[1], days[2]}}
    assert away_on([ada.pk], []) == {}


def test_limit_is_set_changed_and_lifted(client, lead, ada):
    number = lead.person.employee_number

    for people, expected in (("2", {lead.person_id: 2}), ("0", {lead.person_id: 0}), ("", {})):
        answer = client.post(f"{PAGE}limit/", {"lead": number, "people": people})
        assert answer.status_code == 302
        assert limits_of([lead.person_id]) == expected
    assert client.post(f"{PAGE}limit/", {"lead": number, "people": "1000"}).status_code == 422
    other = make_user("line_lead")
    with pytest.raises(TrainingError, match="is set by themselves"):
        services.limit_away(lead=lead.person, people=1, actor=other, at=NOW)
    assert not AwayLimit.objects.exists()


def test_instructor_sets_the_limit_of_those_who_lead_people_there(lead, ada):
    services.limit_away(lead=lead.person, people=3, actor=make_user("instructor"), at=NOW)

    assert AwayLimit.objects.get().people == 3


def test_days_of_a_year_that_there_is_not_are_refused(client, lead, ada):
    answer = client.post(
        PAGE, {"person": "Ada Byrne", "from_day": "0001-01-01", "through_day": str(date.max)}
    )

    assert (answer.status_code, Absence.objects.count()) == (422, 0)
