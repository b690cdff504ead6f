"""Where the links of a sign-in go is changed by whoever could give it a password, and told."""

import time
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.core import mail
from django.db import connection, transaction
from django.urls import reverse

from people.exceptions import PeopleError
from people.models import Role, SiteRole, User
from people.services import people, sign_ins
from records.models import TrailEntry
from tests.factories import NOW, TODAY, make_person, make_site, make_user

pytestmark = pytest.mark.django_db

OWN_ADDRESS = "mine@skarnfell.example"


def make_signed_in(*roles, is_superuser=False, **fields):
    person = make_person(email="runa@skarnfell.example", **fields)
    return make_user(*roles, person=person, email=person.email, is_superuser=is_superuser)


def change(person, actor, **details):
    return people.change_person(person=person, actor=actor, at=NOW, **details)


@pytest.fixture
def elsewhere():
    return make_site("Aldergate", "AL", time_zone="Europe/London")


@pytest.mark.parametrize("roles", [(), ("line_lead",), ("instructor",), ("quality",)])
def test_an_instructor_sends_nobodys_links_elsewhere(roles):
    user = make_signed_in(*roles)

    with pytest.raises(PeopleError, match="administrator"):
        change(user.person, make_user("instructor"), email=OWN_ADDRESS)

    assert User.objects.get(pk=user.pk).email == user.email
    assert User.objects.get(pk=user.pk).person.email == user.email


@pytest.mark.parametrize(
    "details",
    [
        {"email": OWN_ADDRESS},
        {"employee_number": "20999"},
        {"full_name": "Somebody Else"},
        {"left_on": TODAY},
        {"site": "elsewhere"},
    ],
    ids=lambda details: next(iter(details)),
)
@pytest.mark.parametrize("role", ["quality", "administrator", "role elsewhere", "superuser"])
def test_whoever_holds_more_is_out_of_an_instructors_reach(elsewhere, role, details):
    user = make_signed_in(
        *([role] if role in Role.values else []), is_superuser=role == "superuser"
    )
    if role == "role elsewhere":
        SiteRole.objects.create(user=user, site=elsewhere, role=Role.LINE_LEAD)
    if "site" in details:
        details = {"site": elsewhere}
    before = TrailEntry.objects.count()

    with pytest.raises(PeopleError, match="changed by administrators"):
        change(user.person, make_user("instructor"), **details)
    assert TrailEntry.objects.count() == before


def test_an_instructor_changes_the_particulars_of_whoever_is_within_reach(elsewhere):
    instructor = make_user("instructor")
    changed = change(make_signed_in("line_lead").person, instructor, full_name="Runa Vale")
    assert changed.full_name == "Runa Vale"

    # Whoever has no sign-in has no links either.
    assert change(make_person(), instructor, email=OWN_ADDRESS, site=elsewhere).email


def test_an_instructor_does_not_move_a_sign_in_to_where_they_administer(elsewhere):
    instructor = make_user("instructor")
    SiteRole.objects.create(user=instructor, site=elsewhere, role=Role.ADMINISTRATOR)

    with pytest.raises(PeopleError, match="moves them"):
        change(make_signed_in().person, instructor, site=elsewhere)


def test_an_administrator_changes_the_address_where_they_could_give_a_password(elsewhere):
    user = make_signed_in("quality")
    administrator = make_user("administrator")
    SiteRole.objects.create(user=user, site=elsewhere, role=Role.LINE_LEAD)

    with pytest.raises(PeopleError, match="all their sites"):
        change(user.person, administrator, email=OWN_ADDRESS)
    with pytest.raises(PeopleError, match="all their sites"):
        change(administrator.person, administrator, email=OWN_ADDRESS)

    SiteRole.objects.create(user=administrator, site=elsewhere, role=Role.ADMINISTRATOR)
    change(user.person, User.objects.get(pk=administrator.pk), email="new@skarnfell.example")
    assert User.objects.get(pk=user.pk).email == "new@skarnfell.example"


def test_the_former_address_and_the_trail_tell_whose_address_changed(
    django_capture_on_commit_callbacks,
):
    user = make_signed_in("quality", language="de", employee_number="10007")
    administrator = make_user("administrator", person=make_person(full_name="Ada Holm"))

    with django_capture_on_commit_callbacks(execute=True):
        change(user.person, administrator, email="new@skarnfell.example")

    entry = TrailEntry.objects.get(act="sign-in address changed")
    assert (entry.about_type, entry.about_id) == ("sign-in", str(user.pk))
    assert entry.actor == administrator
    assert '"person":"10007"' in entry.payload.body
    [message] = mail.outbox
    assert message.to == ["runa@skarnfell.example"]
    assert "10007" in message.body
    assert "hat Ada Holm sie ersetzt" in message.body
    assert "new@skarnfell.example" not in message.body


def test_a_mail_server_that_does_not_answer_undoes_no_change(
    monkeypatch, django_capture_on_commit_callbacks
):
    def refuse(*_args, **_kwargs):
        raise OSError("no answer")

    user = make_signed_in()
    monkeypatch.setattr("django.core.mail.backends.locmem.EmailBackend.send_messages", refuse)
    with django_capture_on_commit_callbacks(execute=True):
        change(user.person, make_user("administrator"), email="new@skarnfell.example")
    assert User.objects.get(pk=user.pk).email == "new@skarnfell.example"


def test_the_form_leaves_the_address_as_it_is_and_says_why(client):
    user = make_signed_in("line_lead", employee_number="10007", full_name="Runa Whitlock")
    client.force_login(make_user("instructor"))
    url = reverse("people:person_edit", args=["10007"])

    page = client.get(url).text
    assert "Links to set a password go there" in page
    typed = {
        "employee_number": "10007",
        "full_name": "Runa Vale",
        "kind": "own",
        "language": "en",
        "site": user.person.site_id,
        "email": OWN_ADDRESS,
    }
    assert client.post(url, typed).status_code == 302

    user.person.refresh_from_db()
    assert (user.person.full_name, user.person.email) == ("Runa Vale", "runa@skarnfell.example")


def test_the_page_of_whoever_is_out_of_reach_leads_to_no_form(client):
    user = make_signed_in("quality", employee_number="10007")
    client.force_login(make_user("instructor"))
    url = reverse("people:person_edit", args=["10007"])

    assert client.get(url).status_code == 404
    assert url not in client.get(reverse("people:person_detail", args=["10007"])).text
    client.force_login(make_user("administrator", site=user.person.site))
    assert url in client.get(reverse("people:person_detail", args=["10007"])).text


def test_the_terminal_changes_the_only_administrators_address():
    user = make_signed_in("administrator", employee_number="10001")

    sign_ins.make_administrator(
        employee_number="10001",
        full_name="Runa Whitlock",
        password="a lamp over the far bench",
        email="new@skarnfell.example",
        another=True,
        at=NOW,
    )

    user = User.objects.select_related("person").get(pk=user.pk)
    assert user.email == user.person.email == "new@skarnfell.example"
    assert TrailEntry.objects.filter(act="sign-in address changed").count() == 1


@pytest.mark.django_db(transaction=True)
def test_role_that_is_being_given_is_waited_for():
    """Whoever changes somebody looks at their roles once nobody is in the middle of giving one."""
    user, administrator = make_signed_in(), make_user("administrator")
    instructor = make_user("instructor")

    def change_number():
        try:
            change(user.person, instructor, employee_number="20999")
        except PeopleError as error:
            return str(error)
        finally:
            connection.close()
        return "changed"

    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            roles = [(user.person.site, "quality")]
            sign_ins.set_roles(user=user, roles=roles, actor=administrator, at=NOW)
            answer = pool.submit(change_number)
            time.sleep(0.3)
            assert not answer.done()
        assert "changed by administrators" in answer.result()
