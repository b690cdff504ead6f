"""The top line leads people by role to pages that exist."""

import pytest
from django.contrib.auth.models import AnonymousUser
from django.urls import resolve, reverse

from people.presenters import navigation


class Someone:
    is_authenticated = True
    is_superuser = False

    def __init__(self, *roles):
        self.roles = roles

    def role_names(self):
        return set(self.roles)


@pytest.fixture
def entries(monkeypatch):
    monkeypatch.setattr(navigation, "_entries", {})


@pytest.fixture
def request_by(rf):
    def make(path, *roles):
        request = rf.get(path)
        request.user = Someone(*roles)
        return request

    return make


def labels(links):
    return [link["label"] for link in links]


def test_page_is_shown_to_the_roles_it_is_for(entries, request_by):
    navigation.register("Sign in again", "account_reset_password", ["quality"], order=2)
    navigation.register("Password", "account_change_password", order=1)

    seen_by = {
        role: labels(navigation.navigation(request_by("/", role))["navigation"]["top"])
        for role in ("quality", "operator")
    }

    assert seen_by == {"quality": ["Password", "Sign in again"], "operator": ["Password"]}


def test_page_at_the_foot_is_not_in_the_top_line(entries, request_by):
    navigation.register("Password", "account_change_password", place="foot")

    shown = navigation.navigation(request_by("/", "operator"))["navigation"]

    assert labels(shown["top"]) == []
    assert labels(shown["all"]) == ["Password"]


def test_page_is_at_the_top_for_some_and_at_the_foot_for_others(entries, request_by):
    navigation.register("Check", "account_login", ["quality", "line_lead"], top_for=["line_lead"])

    def top(role):
        return labels(navigation.navigation(request_by("/", role))["navigation"]["top"])

    assert (top("line_lead"), top("quality")) == (["Check"], [])
    shown = navigation.navigation(request_by("/", "quality"))["navigation"]
    assert labels(shown["all"]) == ["Check"]


def test_kiosk_sees_only_what_names_its_role(entries, request_by):
    navigation.register("Password", "account_change_password")
    navigation.register("Mail", "account_reset_password", ["quality"])
    navigation.register("Check", "account_login", ["quality", "kiosk"])

    shown = navigation.navigation(request_by("/", "kiosk"))["navigation"]

    assert labels(shown["all"]) == ["Check"]


def test_page_that_does_not_exist_is_left_out(entries, request_by):
    navigation.register("Nowhere", "no_such_page")

    assert navigation.navigation(request_by("/", "operator"))["navigation"]["all"] == []


def test_find_field_is_only_for_the_roles_that_may_find(entries, request_by):
    navigation.register("Find", "account_login", ["instructor", "quality"], place="find")

    def find_url(role):
        return navigation.navigation(request_by("/", role))["navigation"]["find_url"]

    assert find_url("instructor") != ""
    assert find_url("operator") == ""


def test_find_stands_at_the_foot_for_phones_whose_top_line_has_no_field(entries, request_by):
    navigation.register("Find", "account_login", place="find")

    shown = navigation.navigation(request_by("/", "operator"))["navigation"]

    assert (labels(shown["top"]), labels(shown["all"])) == ([], ["Find"])


def test_page_one_is_on_is_marked(entries, request_by):
    navigation.register("Sign in", "account_login", order=1)
    navigation.register("Password", "account_change_password", order=2)

    path = reverse("account_change_password")
    marked = {
        link["label"]: link["current"]
        for link in navigation.navigation(request_by(path, "operator"))["navigation"]["top"]
    }

    assert marked == {"Sign in": "", "Password": "page"}


def test_page_below_marks_its_section(entries, request_by):
    navigation.register("Password", "account_change_password")

    path = reverse("account_change_password") + "more/"
    (link,) = navigation.navigation(request_by(path, "operator"))["navigation"]["top"]

    assert link["current"] == "true"


def test_page_that_stands_below_another_marks_the_one_it_belongs_to(entries, request_by):
    navigation.register("Account", "account_login", order=1)
    navigation.register(
        "Words", "account_reset_password", ["instructor"], covers=["account_reset_password_done"]
    )

    def marked(*roles):
        request = request_by(reverse("account_login") + "more/", *roles)
        request.resolver_match = resolve(reverse("account_reset_password_done"))
        shown = navigation.navigation(request)["navigation"]["top"]
        return {link["label"]: link["current"] for link in shown}

    assert marked("instructor") == {"Account": "", "Words": "true"}
    assert marked("operator") == {"Account": "true"}


def test_highest_role_is_named(entries, request_by):
    shown = navigation.navigation(request_by("/", "operator", "instructor"))["navigation"]

    assert str(shown["role_word"]) == "instructor"


def test_nobody_signed_in_is_led_nowhere(entries, rf):

    navigation.register("Password", "account_change_password")
    request = rf.get("/")
    request.user = AnonymousUser()

    assert navigation.navigation(request)["navigation"]["all"] == []


def test_page_says_how_many_things_wait_there(entries, request_by):
    navigation.register("Password", "account_change_password", count=lambda user: 3)
    navigation.register("Mail", "account_reset_password")

    shown = navigation.navigation(request_by("/", "quality"))["navigation"]

    assert {link["label"]: link["waiting"] for link in shown["all"]} == {"Password": 3, "Mail": 0}
