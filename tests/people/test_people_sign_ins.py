"""Sign-ins are opened, given roles and closed by administrators, within their reach."""

import re
from datetime import date
from threading import Barrier, Thread

import pytest
from django.db import connection, connections

from people.exceptions import PeopleError
from people.models import Installation, Role, Site, SiteRole, User
from people.services import sign_ins
from people.services.people import change_person
from records.models import TrailEntry, TrailPayload
from tests.factories import NOW, make_person, make_site, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def administrator():
    return make_user("administrator")


def roles_of(user):
    return set(SiteRole.objects.filter(user=user).values_list("site__prefix", "role"))


def test_a_sign_in_opens_with_a_password_that_is_kept_nowhere(administrator):
    person = make_person()

    user, password = sign_ins.open_sign_in(
        person=person, roles=[(person.site, "instructor")], actor=administrator, at=NOW
    )

    assert re.fullmatch(r"([a-z2-9]{4}-){3}[a-z2-9]{4}", password)
    assert user.check_password(password)
    assert user.password_is_one_time
    assert user.employee_number == person.employee_number
    assert roles_of(user) == {("CA", "instructor")}
    assert not any(password in payload.body for payload in TrailPayload.objects.all())


def test_nobody_gets_a_second_sign_in(administrator):
    with pytest.raises(PeopleError, match="can sign in already"):
        sign_ins.open_sign_in(person=make_user().person, actor=administrator, at=NOW)


def test_two_people_do_not_sign_in_by_one_address(administrator):
    make_user(email="shared@skarnfell.example")

    with pytest.raises(PeopleError, match="how somebody else signs in"):
        sign_ins.open_sign_in(
            person=make_person(email="Shared@skarnfell.example"), actor=administrator, at=NOW
        )


def test_roles_are_replaced_at_the_administrators_sites_alone(administrator):
    elsewhere = make_site("Aldergate", "AL", time_zone="Europe/London")
    user = make_user("instructor", "line_lead")
    SiteRole.objects.create(user=user, site=elsewhere, role=Role.QUALITY)

    sign_ins.set_roles(user=user, roles=[(make_site(), "quality")], actor=administrator, at=NOW)

    assert roles_of(user) == {("CA", "quality"), ("AL", "quality")}
    entry = TrailEntry.objects.get()
    assert '"after":["CA: quality"]' in entry.payload.body
    assert '"before":["CA: instructor","CA: line_lead"]' in entry.payload.body


def test_roles_at_another_site_are_not_given(administrator):
    elsewhere = make_site("Aldergate", "AL", time_zone="Europe/London")

    with pytest.raises(PeopleError, match="its administrators"):
        sign_ins.set_roles(
            user=make_user(), roles=[(elsewhere, "quality")], actor=administrator, at=NOW
        )


def test_a_site_keeps_an_administrator_who_can_sign_in(administrator):
    gone = make_user("administrator", is_active=False)
    assert gone.has_role("administrator")

    with pytest.raises(PeopleError, match="Nobody else administers Castelmar"):
        sign_ins.set_roles(user=administrator, roles=[], actor=administrator, at=NOW)

    other = make_user("administrator")
    sign_ins.set_roles(user=administrator, roles=[], actor=other, at=NOW)
    assert roles_of(administrator) == set()


def test_a_lost_password_is_replaced_by_a_one_time_one(administrator):
    user = make_user(password="the old one, long enough")

    password = sign_ins.give_password(user=user, actor=administrator, at=NOW)

    user.refresh_from_db()
    assert user.check_password(password)
    assert user.password_is_one_time


def test_nobody_takes_over_a_sign_in_with_roles_elsewhere(administrator):
    elsewhere = make_site("Aldergate", "AL", time_zone="Europe/London")
    user = make_user()
    SiteRole.objects.create(user=user, site=elsewhere, role=Role.QUALITY)

    with pytest.raises(PeopleError, match="roles at another site"):
        sign_ins.give_password(user=user, actor=administrator, at=NOW)
    with pytest.raises(PeopleError, match="roles at another site"):
        sign_ins.set_sign_in_active(user=user, active=False, actor=administrator, at=NOW)


def test_nobody_takes_over_whoever_may_do_everything(administrator):
    with pytest.raises(PeopleError, match="roles at another site"):
        sign_ins.give_password(user=make_user(is_superuser=True), actor=administrator, at=NOW)


def test_a_sign_in_is_closed_and_opened_again(administrator):
    user = make_user("instructor")

    sign_ins.set_sign_in_active(user=user, active=False, actor=administrator, at=NOW)
    assert not User.objects.get(pk=user.pk).is_active
    sign_ins.set_sign_in_active(user=user, active=True, actor=administrator, at=NOW)
    assert User.objects.get(pk=user.pk).is_active
    assert roles_of(user) == {("CA", "instructor")}


def test_ones_own_sign_in_is_somebody_elses_to_change(administrator):
    with pytest.raises(PeopleError, match="Another administrator"):
        sign_ins.set_sign_in_active(user=administrator, active=False, actor=administrator, at=NOW)
    with pytest.raises(PeopleError, match="your own password"):
        sign_ins.give_password(user=administrator, actor=administrator, at=NOW)


def make_administrator(**fields):
    return sign_ins.make_administrator(
        **{
            "employee_number": "10001",
            "full_name": "Runa Whitlock",
            "password": "a lamp over the far bench",
            "at": NOW,
            **fields,
        }
    )


NEW_SITE = sign_ins.NewSite("Castelmar", "CA", "Europe/Madrid")


def test_the_first_administrator_comes_with_organisation_and_site():
    user = make_administrator(organisation="Skarnfell Instruments", new_site=NEW_SITE)

    assert Installation.current().organisation == "Skarnfell Instruments"
    assert not Installation.is_demo()
    assert user.person.site == Site.objects.get(prefix="CA")
    assert user.check_password("a lamp over the far bench")
    assert not user.password_is_one_time
    assert roles_of(user) == {("CA", "administrator")}


def test_a_second_administrator_is_asked_for_by_name():
    make_administrator(new_site=NEW_SITE)

    with pytest.raises(PeopleError, match="--another"):
        make_administrator(employee_number="10002")
    assert make_administrator(employee_number="10002", another=True).has_role("administrator")


def test_somebody_known_becomes_administrator():
    person = make_person(employee_number="10001", full_name="Runa W.")

    user = make_administrator()

    assert user.person == person
    assert user.person.full_name == "Runa W."


def test_a_site_is_said_where_there_is_none_or_several():
    with pytest.raises(PeopleError, match="There is no site yet"):
        make_administrator()
    make_site()
    make_site("Aldergate", "AL", time_zone="Europe/London")
    with pytest.raises(PeopleError, match="Say which site: "):
        make_administrator()
    user = make_administrator(site=Site.objects.get(prefix="AL"))
    assert roles_of(user) == {("AL", "administrator")}


@pytest.mark.parametrize(
    ("site", "message"),
    [
        (sign_ins.NewSite("Castelmar", "ca", "Europe/Madrid"), "One to four capital letters"),
        (sign_ins.NewSite("Castelmar", "CA", "Madrid"), "is not a time zone"),
    ],
    ids=["prefix", "time zone"],
)
def test_a_site_that_cannot_be_is_refused(site, message):
    with pytest.raises(PeopleError, match=message):
        make_administrator(new_site=site)
    assert not User.objects.exists()


def test_last_who_administers_has_no_last_day(administrator):
    site = administrator.person.site
    other = make_user(Role.ADMINISTRATOR, person=make_person(site))
    change_person(person=other.person, left_on=date(2199, 1, 1), actor=administrator, at=NOW)
    me = administrator.person
    with pytest.raises(PeopleError, match="Nobody would be left who administers"):
        change_person(person=me, left_on=date(2199, 1, 1), actor=administrator, at=NOW)
    other.person.refresh_from_db()
    assert other.person.left_on == date(2199, 1, 1)
    # A day that is put off makes nobody leave sooner.
    change_person(person=other.person, left_on=date(2199, 2, 1), actor=administrator, at=NOW)


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
@pytest.mark.django_db(transaction=True)
def test_two_who_administer_do_not_end_each_other_at_once():
    one = make_user("administrator")
    other = make_user("administrator", person=make_person(one.person.site))
    together, outcomes = Barrier(2), []

    def end(actor, person):
        try:
            together.wait(timeout=120)
            change_person(person=person, left_on=date(2199, 1, 1), actor=actor, at=NOW)
            outcomes.append("done")
        except PeopleError as error:
            outcomes.append(str(error)[:24])
        finally:
            connections.close_all()

    pairs = [(one, other.person), (other, one.person)]
    threads = [Thread(target=end, args=pair) for pair in pairs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=300)
    assert sorted(outcomes) == ["Nobody would be left who", "done"]
