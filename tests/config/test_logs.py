"""Lines in JSON find a request again, and name nobody."""

import io
import json
import logging
import smtplib
import subprocess
import sys
from types import SimpleNamespace

import pytest
from celery.app.task import Context
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from config.celery import app
from config.logs import JsonFormatter, LineFormatter
from operations.domain import request_ids
from operations.services import job_headers
from tests.factories import PASSWORD, make_person, make_site, make_user

pytestmark = pytest.mark.django_db

NAME, NUMBER, MAIL = "Wilhelmina Quastenberg", "8094417", "w.quastenberg@aldergate.example"
GIVEN_ID = "4bf92f3577b34da6a3ce929d0e0e4736"


@pytest.fixture
def lines():
    """What a collector would get, of all loggers and the finest level."""
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(JsonFormatter())
    loggers = [logging.getLogger(name) for name in ("", "django", "requests")]
    levels = [logger.level for logger in loggers]
    loggers[0].addHandler(handler)
    for logger in loggers:
        logger.setLevel(logging.INFO)
    yield lambda: [json.loads(line) for line in stream.getvalue().splitlines()]
    loggers[0].removeHandler(handler)
    for logger, level in zip(loggers, levels, strict=True):
        logger.setLevel(level)


def names_nobody(lines):
    text = json.dumps(lines, ensure_ascii=False)
    return not [each for each in (*NAME.split(), NUMBER, MAIL, PASSWORD) if each in text]


def test_each_request_is_one_line_with_its_id_route_status_and_time(client, lines):
    response = client.get("/health/check/?who=me", HTTP_X_REQUEST_ID=GIVEN_ID)
    assert response["X-Request-ID"] == GIVEN_ID
    [line] = [line for line in lines() if line["logger"] == "requests"]
    assert line["request_id"] == GIVEN_ID
    assert line["route"] == "operations:health_check"
    assert (line["method"], line["status"], line["level"]) == ("GET", 503, "INFO")
    assert line["duration_ms"] > 0
    assert line["time"].endswith("Z")


@pytest.mark.parametrize("given", ["", "short", "x" * 65, f"by {NAME}", MAIL, "a\r\nb: cdefgh"])
def test_an_id_that_is_not_well_formed_is_replaced(client, lines, given):
    response = client.get("/health/check/", HTTP_X_REQUEST_ID=given)
    made = response["X-Request-ID"]
    assert made != given
    assert len(made) == 32
    assert {line["request_id"] for line in lines() if line["logger"] == "requests"} == {made}


def test_the_main_job_leaves_no_person_in_the_log(lines, settings):
    """Signing in, finding, reading and asking about somebody, with what goes wrong on the way."""
    site = make_site()
    person = make_person(site, employee_number=NUMBER, full_name=NAME, email=MAIL)
    make_user(person=person, email=MAIL, password=PASSWORD)
    quality = make_user("quality", "instructor", "line_lead", "administrator", site=site)
    client = Client(raise_request_exception=False)
    sign_in = reverse("account_login")
    client.post(sign_in, {"login": NUMBER, "password": "not this one"})
    client.post(sign_in, {"login": MAIL, "password": PASSWORD})
    client.force_login(quality)
    for name, of, asked in (
        ("people:find", (), {"q": NAME}),
        ("people:person_detail", (NUMBER,), {}),
        ("certification:person_standing", (NUMBER,), {}),
        ("certification:bench_check", (), {"number": NUMBER, "scope": "X"}),
        ("certification:register", (), {"q": NAME}),
        ("audit:who_was_that", (), {"q": f"{NUMBER} 2026-05-03"}),
    ):
        client.get(reverse(name, args=of), asked)
    client.get(f"/people/{NUMBER}/{NAME}/", {"mail": MAIL})
    Client(enforce_csrf_checks=True).post(sign_in, {"login": MAIL})

    seen = lines()
    routes = {line.get("route") for line in seen}
    assert {"people:find", "certification:bench_check", "audit:who_was_that"} <= routes
    assert "none" in routes
    assert [line for line in seen if line["logger"] == "django.request"]
    assert names_nobody(seen)


def test_an_error_is_told_by_its_type_and_place_and_not_by_its_text(lines):
    """A database repeats the values that it refuses, a mail server the addresses."""
    make_person(employee_number=NUMBER, full_name=NAME)
    log = logging.getLogger("people")
    try:
        with transaction.atomic():
            make_person(employee_number=NUMBER, full_name=NAME)
    except IntegrityError as error:
        log.exception("Not stored.")
        log.warning("Not stored: %s", error)
    refused = smtplib.SMTPRecipientsRefused({MAIL: (550, NAME.encode())})
    log.error("The message to %s was not sent: %s", MAIL, refused)
    log.error(ValueError(NAME))
    told, short, mail, bare = lines()
    assert told["error"] == "django.db.utils.IntegrityError"
    assert told["caused_by"]
    assert any("test_logs.py" in place for place in told["places"])
    assert short["message"] == "Not stored: IntegrityError"
    assert mail["message"] == "The message to [address] was not sent: SMTPRecipientsRefused"
    assert bare["message"] == "ValueError"
    assert names_nobody(lines())


def test_a_job_that_fails_is_told_without_what_it_was_given(lines):
    @app.task(name="tests.fails", throws=())
    def fails(name):
        raise ValueError(name)

    fails.apply(args=[NAME])
    seen = [line for line in lines() if line["logger"].startswith("celery")]
    assert any(line.get("error") == "builtins.ValueError" for line in seen)
    assert names_nobody(seen)
    app.tasks.pop("tests.fails")


def test_a_job_carries_the_id_of_the_request_that_asked_for_it():
    outside = request_ids.current.set(GIVEN_ID)
    headers: dict[str, object] = {}
    job_headers.add_headers(headers=headers)
    request_ids.current.reset(outside)
    assert headers["request_id"] == GIVEN_ID

    for given, expected in ((headers, GIVEN_ID), ({}, "its own")):
        job_headers.job_begins(task=SimpleNamespace(request=Context({"id": "its own"}, **given)))
        assert request_ids.current.get() == expected
    job_headers.job_ends()
    assert request_ids.current.get() == ""


def test_a_line_for_people_has_the_id_too(client):
    formatter = LineFormatter("{request_id}: {message}", style="{")
    record = logging.LogRecord("people", logging.ERROR, "", 0, "Not stored.", (), None)
    assert formatter.format(record) == "-: Not stored."
    outside = request_ids.current.set(GIVEN_ID)
    assert formatter.format(record) == f"{GIVEN_ID}: Not stored."
    request_ids.current.reset(outside)


@pytest.mark.parametrize(
    ("environment", "expected"),
    [
        ({"LOG_FORMAT": "json"}, "JSON 20"),
        ({}, "PLAIN 30"),
        ({"LOG_LEVEL": "INFO"}, "PLAIN 20"),
        ({"LOG_FORMAT": "JSON", "LOG_LEVEL": "ERROR"}, "JSON 20"),
    ],
)
def test_a_setting_chooses_the_form(settings, tmp_path, environment, expected):
    code = (
        "import django, logging; from django.conf import settings; django.setup(); "
        "print(settings.LOG_FORMAT, logging.getLogger('requests').getEffectiveLevel())"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code],
        cwd=settings.BASE_DIR,
        env={
            "DJANGO_SETTINGS_MODULE": "config.settings",
            "DATA_DIR": str(tmp_path),
            "SECRET_KEY": "k" * 60,
            **environment,
        },
        capture_output=True,
        text=True,
        check=True,
    )
    assert ended.stdout.strip() == expected
