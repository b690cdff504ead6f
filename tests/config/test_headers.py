"""Every answer tells browsers to run and show only what the site itself serves."""

import io
import logging
import subprocess
import sys
from datetime import timedelta

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.files.uploadhandler import (
    MemoryFileUploadHandler,
    SkipFile,
    TemporaryFileUploadHandler,
)
from django.http import HttpResponse
from django.test import RequestFactory

from config.logs import LineFormatter
from config.middleware import content_security_policy, nothing_is_kept_on_the_way
from people.models import Person
from tests.factories import make_user

DAY = timedelta(days=1)


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/account/login/", "/no-such-page", "/static/css/tokens.css"])
def test_every_answer_carries_the_policy(client, path):
    response = client.get(path)
    response.close()
    policy = response.headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy


def test_an_answer_may_bring_a_policy_of_its_own():
    own = "default-src 'none'; sandbox"

    def answer(request):
        return HttpResponse(headers={"Content-Security-Policy": own})

    response = content_security_policy(answer)(RequestFactory().get("/"))
    assert response.headers["Content-Security-Policy"] == own


@pytest.mark.django_db
def test_other_sites_learn_no_addresses_and_may_not_frame(client):
    headers = client.get("/account/login/").headers
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["X-Content-Type-Options"] == "nosniff"


PAGES = ["/", "/my-card/", "/register/", "/register/csv/", "/account/login/", "/no-such-page"]


@pytest.mark.django_db
@pytest.mark.parametrize("path", PAGES)
@pytest.mark.parametrize("signed_in", [True, False])
def test_no_page_or_table_is_kept_by_anybody(client, path, signed_in):
    if signed_in:
        client.force_login(make_user("quality"))
    response = client.get(path)
    assert "no-store" in response.headers["Cache-Control"]


@pytest.mark.parametrize(
    ("media_type", "kept"),
    [
        ("text/html; charset=utf-8", False),
        ("text/csv", False),
        ("application/json", False),
        ("application/pdf", False),
        ("application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", False),
        ("image/jpeg", True),
    ],
)
def test_pictures_alone_say_how_long_they_are_kept(media_type, kept):
    def answer(request):
        response = HttpResponse(content_type=media_type)
        response.headers["Cache-Control"] = "private, max-age=60"
        return response

    response = nothing_is_kept_on_the_way(answer)(RequestFactory().get("/"))
    assert ("max-age" in response.headers["Cache-Control"]) == kept
    assert ("no-store" in response.headers["Cache-Control"]) != kept


def test_cookies_are_of_this_host_alone_where_there_is_https(tmp_path):
    """A browser takes a name that begins with __Host- by https, without Domain, for every path."""
    names = "SESSION_COOKIE_NAME", "CSRF_COOKIE_NAME", "COOKIE_PREFIX"
    code = f"from config import settings; print(*(getattr(settings, n) for n in {names}))"
    for public_url, expected in (
        ("https://training.example.org", "__Host-sessionid __Host-csrftoken __Host-"),
        ("http://127.0.0.1:8000", "sessionid csrftoken"),
    ):
        ended = subprocess.run(
            [sys.executable, "-c", code],
            cwd=settings.BASE_DIR,
            env={"PUBLIC_URL": public_url, "DATA_DIR": str(tmp_path), "SECRET_KEY": "k" * 60},
            capture_output=True,
            text=True,
            check=True,
        )
        assert ended.stdout.strip() == expected


@pytest.mark.django_db
@pytest.mark.parametrize(
    "path",
    [
        "/calendar/6Hs9-aQ_x.ics",
        "/account/password/reset/key/3-c8f2ab-0123456789/",
        "/c/CA-C-00012/6Hs9-c8f2ab/",
        "/c/?number=CA-C-00012&code=6Hs9-c8f2ab",
    ],
)
def test_secrets_in_addresses_stay_out_of_the_log(client, path):
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    line = settings.LOGGING["formatters"]["PLAIN"]
    handler.setFormatter(LineFormatter(line["format"], style=line["style"]))
    log = logging.getLogger("django.request")
    log.addHandler(handler)
    try:
        log.warning("Not Found: %s", path, extra={"status_code": 404})
        try:
            raise ValueError(path)
        except ValueError:
            log.exception("Internal Server Error: %s", path)
    finally:
        log.removeHandler(handler)
    lines = stream.getvalue()
    assert lines.count("[secret]") == 3
    assert "6Hs9" not in lines
    assert "c8f2ab" not in lines


@pytest.mark.django_db
@pytest.mark.parametrize("field", ["login", "password"])
def test_a_sign_in_without_end_is_refused_in_words(client, field):
    given = {"login": "4711", "password": "a password of a person"} | {field: "x" * 100_000}
    response = client.post("/account/login/", given)
    assert response.status_code == 200
    assert "_auth_user_id" not in client.session


@pytest.fixture
def spooled(monkeypatch):
    """Notes each file whose receipt begins."""
    begun = []

    def new_file(self, field_name, file_name, *more, **options):
        begun.append(file_name)
        raise SkipFile

    for handler in (MemoryFileUploadHandler, TemporaryFileUploadHandler):
        monkeypatch.setattr(handler, "new_file", new_file)
    return begun


def large(megabytes):
    return {"files": SimpleUploadedFile("E01.jpg", b"x" * (megabytes * 1024 * 1024))}


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/account/login/", "/boards/CA-B-00001/photos/add/", "/nowhere"])
def test_nothing_large_is_received_from_who_is_not_signed_in(client, spooled, path):
    response = client.post(path, large(2))
    assert response.status_code == 413
    assert response.content == b"At most 1 MB are taken at once. Send less, or in several parts."
    assert spooled == []


@pytest.mark.django_db
def test_a_program_is_told_in_the_form_of_problems(client, spooled):
    response = client.post("/api/v1/standings/", large(6), HTTP_AUTHORIZATION="Bearer nobody")
    assert response.status_code == 413
    assert response.headers["Content-Type"] == "application/problem+json"
    assert response.json()["status"] == 413
    assert spooled == []


@pytest.mark.django_db
def test_nothing_that_a_program_without_a_token_sends_is_received(client, spooled):
    for address in ("/api/v1/people", "/api/v1/people/", "/api/v1/nowhere"):
        assert client.post(address, large(4)).status_code in (401, 404), address
    assert spooled == []


@pytest.mark.django_db
@pytest.mark.parametrize("how", ["has left", "chose another password"])
def test_nothing_large_is_received_in_a_session_that_has_ended(client, spooled, how):
    user = make_user("instructor", password="a solder pot by the window")
    client.force_login(user)
    if how == "has left":
        Person.objects.filter(pk=user.person_id).update(left_on=user.person.site.today() - DAY)
    else:
        user.set_password("another pot by the door")
        user.save(update_fields=["password"])
    assert client.post("/boards/CA-B-00001/photos/add/", large(2)).status_code == 413
    assert spooled == []


@pytest.mark.django_db
def test_who_is_signed_in_sends_as_much_as_a_form_of_photographs_holds(client, spooled, settings):
    client.force_login(make_user("instructor"))
    address = "/boards/CA-B-00001/photos/add/"
    assert client.post(address, large(2)).status_code == 404, "there is no such board"
    settings.BODY_MAX_BYTES = 1024 * 1024
    assert client.post(address, large(2)).status_code == 413
