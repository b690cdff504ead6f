"""The pages of sign-in speak the site's words and hold to its content security policy."""

import re
from html.parser import HTMLParser

import pytest
from django.template.loader import get_template
from django.urls import reverse

from tests.factories import PASSWORD, make_user

pytestmark = pytest.mark.django_db


class Inline(HTMLParser):
    """Collects what the policy would refuse: styles, event handlers and scripts in the page."""

    def __init__(self, text):
        super().__init__()
        self.found = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        names = dict(attrs)
        self.found += [name for name in names if name == "style" or name.startswith("on")]
        data = (names.get("type") or "").endswith("json")
        if tag == "style" or (tag == "script" and not names.get("src") and not data):
            self.found.append(tag)


@pytest.fixture
def someone():
    return make_user("instructor", email="ines@skarnfell.example", password=PASSWORD)


def sign_in(client, login, password=PASSWORD):
    return client.post(reverse("account_login"), {"login": login, "password": password})


def test_sign_in_asks_for_employee_number_or_email(client):
    page = client.get(reverse("account_login")).content.decode()

    assert "Employee number or e-mail" in page
    assert "placeholder=" not in page


def test_employee_number_signs_in(client, someone):
    assert sign_in(client, someone.employee_number).status_code == 302
    assert client.session["_auth_user_id"] == str(someone.pk)


def test_email_signs_in(client, someone):
    assert sign_in(client, someone.email).status_code == 302
    assert client.session["_auth_user_id"] == str(someone.pk)


def test_wrong_password_is_refused_with_a_sentence(client, someone):
    page = sign_in(client, someone.employee_number, "not it").content.decode()

    assert 'role="alert"' in page
    assert re.search(r"is-error.*?<p>[^<]{20,}", page, re.DOTALL)
    assert "_auth_user_id" not in client.session


@pytest.mark.parametrize(
    "name",
    ["account_login", "account_reset_password", "account_reset_password_done"],
)
def test_page_before_sign_in_holds_nothing_the_policy_refuses(client, name):
    answer = client.get(reverse(name))

    assert answer.status_code == 200
    assert Inline(answer.content.decode()).found == []


@pytest.mark.parametrize(
    "name",
    ["account_logout", "account_change_password"],
)
def test_page_after_sign_in_holds_nothing_the_policy_refuses(client, someone, name):
    sign_in(client, someone.employee_number)

    answer = client.get(reverse(name))

    assert answer.status_code == 200
    assert Inline(answer.content.decode()).found == []


def test_sign_out_is_a_form_and_not_a_link(client, someone):
    sign_in(client, someone.employee_number)

    page = client.get(reverse("account_change_password")).content.decode()

    assert f'<form method="post" action="{reverse("account_logout")}">' in page
    assert f'href="{reverse("account_logout")}"' not in page


def test_signing_out_says_so_on_the_next_page(client, someone):
    sign_in(client, someone.employee_number)

    answer = client.post(reverse("account_logout"), follow=True)

    assert "You are signed out." in answer.content.decode()
    assert "_auth_user_id" not in client.session


def test_signing_in_is_shown_and_not_announced(client, someone):
    sign_in(client, someone.employee_number)

    page = client.get(reverse("account_change_password")).content.decode()

    assert 'class="message"' not in page
    assert someone.person.full_name in page


def test_unknown_address_answers_in_the_look_of_the_site(client):
    answer = client.get("/no/such/page/")

    assert answer.status_code == 404
    assert 'class="title-block"' in answer.content.decode()


def test_broken_page_needs_no_context():
    page = get_template("500.html").render()

    assert "Something broke here" in page
    assert Inline(page).found == []
