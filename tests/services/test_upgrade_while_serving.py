"""The next release's migrations run while this one serves: nobody is refused, nothing is lost."""

import http.client
import json
import os
import re
import shutil
import threading
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from urllib.parse import urlencode
from uuid import uuid4

import psycopg
import pytest
from django.conf import settings
from django.contrib.sessions.backends.db import SessionStore
from django.db import connection
from django.test import Client, override_settings

from assessments.queries import board_results
from assessments.services import grading as grading_services
from assessments.services import judgements
from operations.queries.database_rows import known_migrations
from operations.services.migrating import ADVISORY_KEY
from tests import factories, other_site, ready_python
from tests.factories import NOW, PASSWORD
from tests.other_site import LaterRelease, child, status_of
from tests.ready_python import Forked
from tests.services.processes import free_port, wait_until

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only"),
]

CSRF = "c" * 32
SETTINGS = "tests.services.plain_static"
BOARDS_TO_SIGN = 3
"""One before, one meanwhile, one after."""
EXPAND = """
from django.db import migrations, models

class Migration(migrations.Migration):
    dependencies = [("{app}", "{after}")]
    operations = [migrations.AddField("{model}", "{field}", models.{kind})]
"""
INDEX = """
from django.db import migrations, models
from records.models.while_serving import AddIndexWhileServing

class Migration(migrations.Migration):
    atomic = False
    dependencies = [("assessments", "9001_note")]
    operations = [
        AddIndexWhileServing("judgement", models.Index(fields=["note_too"], name="later_note"))
    ]
"""
FILL = """
from django.db import migrations, models

def fill(apps, schema_editor):
    apps.get_model("people", "Person").objects.filter(seal="").update(seal="old")

class Migration(migrations.Migration):
    atomic = False
    dependencies = [("people", "9001_seal")]
    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
"""


def last(app: str) -> str:
    return max(name for of, name in known_migrations() if of == app)


@pytest.fixture
def later(tmp_path, settings):
    """A release with a column that may be null, one with a default, an index and a fill."""
    settings.MIGRATION_MODULES = {}
    return LaterRelease(
        tmp_path / "later",
        SETTINGS,
        assessments={
            "9001_note": EXPAND.format(
                app="assessments",
                after=last("assessments"),
                model="judgement",
                field="note_too",
                kind="TextField(null=True)",
            ),
            "9002_index": INDEX,
        },
        people={
            "9001_seal": EXPAND.format(
                app="people",
                after=last("people"),
                model="person",
                field="seal",
                kind='CharField(max_length=9, default="", db_default="")',
            ),
            "9002_fill": FILL,
        },
    )


@pytest.fixture
def site(tmp_path):
    with other_site.postgres_site(tmp_path / "site", f"served_{os.getpid()}") as site:
        site.settings = SETTINGS
        ended = site.run("prepare")
        assert ended.returncode == 0, ended.stderr
        yield site


def make_rows(said: Path) -> None:
    """Boards to judge and boards to sign, with sessions of who does; tells their numbers."""
    hashers = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
    with override_settings(MIGRATION_MODULES={}, PASSWORD_HASHERS=hashers):
        factories.make_criteria_set()
        grader = factories.make_user("instructor", password=PASSWORD)
        signer = factories.make_user("instructor", password=PASSWORD)
        quality = factories.make_user("quality")
        exercise = factories.make_exercise()
        open_board = factories.make_board(exercise=exercise)
        grading_services.start_grading(board=open_board, grader=grader, at=NOW)
        to_sign = []
        for _ in range(BOARDS_TO_SIGN):
            board = factories.make_board(exercise=exercise)
            grading = grading_services.start_grading(board=board, grader=signer, at=NOW)
            for joint in [*board_results.joints_that_count(board), None]:
                for criterion in board_results.criteria_for(grading, "soldered", joint):
                    judgements.judge(
                        grading=grading,
                        joint=joint,
                        criterion=criterion,
                        outcome="accept",
                        seen=judgements.Circumstances(),
                        at=NOW,
                    )
            to_sign.append(board.number)
        factories.write_down()
        sessions = {}
        for name, user in {"grader": grader, "signer": signer, "quality": quality}.items():
            client = Client()
            client.force_login(user)
            sessions[name] = client.cookies[settings.SESSION_COOKIE_NAME].value
            assert SessionStore(sessions[name]).load()
    said.write_text(json.dumps({"open": open_board.number, "to_sign": to_sign, **sessions}))


class People:
    """Who works at the served site all the time, and what the site has acknowledged to each."""

    def __init__(self, port: int, rows: dict) -> None:
        self.port, self.rows = port, rows
        self.judged: list[str] = []
        self.signed: list[str] = []
        self.read = 0
        self.refused: list[str] = []
        self._over = threading.Event()
        self._may_sign = threading.Semaphore(0)
        self._threads = [
            threading.Thread(target=self._again_and_again, args=[act], daemon=True)
            for act in (self._judge, self._sign, self._read)
        ]

    def start(self) -> None:
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        self._over.set()
        for thread in self._threads:
            thread.join()

    def done(self) -> tuple[int, int, int]:
        return len(self.judged), len(self.signed), self.read

    def go_on(self) -> None:
        """Wait until each has done some more, and a board has been signed."""
        judged, signed, read = self.done()
        self._may_sign.release()
        wait_until(
            lambda: (
                bool(self.refused)
                or (
                    len(self.judged) > judged + 2
                    and self.read > read + 2
                    and len(self.signed) > signed
                )
            ),
            watch=self.done,
        )
        assert self.refused == []

    def _again_and_again(self, act: Callable[[], None]) -> None:
        # Whoever judges looks at the next one first: half of a core is left to the migrations.
        while not self._over.wait(0.05):
            try:
                act()
            except Exception as error:
                self.refused.append(repr(error))
                return

    def _judge(self) -> None:
        key = str(uuid4())
        fields = {
            "stage": "soldered",
            "joint": "E01",
            "criterion": "S-1",
            "key": key,
            "outcome": "reject" if len(self.judged) % 2 else "accept",
        }
        self._ask("grader", f"/boards/{self.rows['open']}/grade/judge/", fields)
        self.judged.append(key)

    def _sign(self) -> None:
        if not self._may_sign.acquire(timeout=0.2):
            return
        number = self.rows["to_sign"][len(self.signed)]
        address = f"/boards/{number}/grade/sign/soldered/"
        page = self._ask("signer", address)
        shown = dict(re.findall(r'name="([\w-]*shown[\w-]*)" value="([^"]+)"', page))
        self._ask("signer", address, {**shown, "password": PASSWORD}, expected=302)
        self.signed.append(number)

    def _read(self) -> None:
        self._ask("quality", "/register/")
        self._ask("quality", "/boards/")
        self.read += 1

    def _ask(self, who: str, path: str, fields: dict | None = None, expected: int = 200) -> str:
        cookies = {settings.SESSION_COOKIE_NAME: self.rows[who], settings.CSRF_COOKIE_NAME: CSRF}
        headers = {
            "Cookie": "; ".join(f"{name}={value}" for name, value in cookies.items()),
            "X-CSRFToken": CSRF,
            "Content-Type": "application/x-www-form-urlencoded",
            "Accept": "application/json" if fields and "key" in fields else "text/html",
        }
        body = None if fields is None else urlencode(fields)
        method = "GET" if fields is None else "POST"
        with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=120)) as link:
            link.request(method, path, body=body, headers=headers)
            answer = link.getresponse()
            text = answer.read().decode()
        assert answer.status == expected, f"{method} {path}: {answer.status} {text[:300]}"
        return text


@pytest.fixture
def start():
    """Start a process that is ended with the test."""
    started = []

    def start_process(*command: str, environment: dict[str, str]) -> Forked:
        process = Forked(command, environment=environment)
        started.append(process)
        return process

    yield start_process
    for process in started:
        if process.poll() is None:
            process.terminate()
        process.wait()
        process.stdout.close()


def line_with(process: Forked, words: str) -> str:
    """The first line of a process that holds these words."""
    assert process.stdout is not None
    seen = []
    for line in process.stdout:
        seen.append(line)
        if words in line:
            return line
    pytest.fail(f"It ended without “{words}”: {''.join(seen)}")


def test_the_next_release_migrates_while_this_one_serves(
    django_db_blocker, later, site, start, tmp_path
):
    def act():
        site.take_over()
        make_rows(tmp_path / "rows.json")

    with django_db_blocker.unblock():
        assert status_of(child(act)) == 0
    port = free_port()
    served = site.environment | {"BIND": f"127.0.0.1:{port}", "SECRET_KEY": settings.SECRET_KEY}
    web = start("-m", "gunicorn", "-c", "python:config.gunicorn", environment=served)
    people = People(port, json.loads((tmp_path / "rows.json").read_text()))
    wait_until(lambda: web.poll() is not None or answers(port), watch=lambda: None)
    people.start()
    # Another machine that is brought to the next release, with a folder of its own.
    shutil.copytree(site.folder, tmp_path / "other-machine")
    upgrade = ["manage.py", "prepare", "--skip-checks"]
    environment = site.environment | later.environment
    try:
        people.go_on()
        with psycopg.connect(site.url) as reading:
            # As a back-up does, that reads for an hour.
            reading.execute("SELECT count(*) FROM assessments_judgement")
            first = start(*upgrade, environment=environment)
            said = line_with(first, "trying again")
            assert f"process {reading.info.backend_pid} of PostgreSQL" in said
            second = start(
                *upgrade, environment=environment | {"DATA_DIR": str(tmp_path / "other-machine")}
            )
            line_with(second, "Another prepare is at work")
            assert "note_too" not in columns(site)
            # All of them get through, although a migration asks for the table again and again.
            people.go_on()
        assert first.wait() == 0
        assert second.wait() == 0
        people.go_on()
    finally:
        people.stop()

    assert people.refused == []
    assert "note_too" in columns(site)
    assert site.query(
        "SELECT indisvalid FROM pg_index WHERE indexrelid = 'later_note'::regclass"
    ) == [(True,)]
    kept = {str(key) for (key,) in site.query("SELECT key FROM assessments_undostep")}
    assert set(people.judged) <= kept, "every judgement that was acknowledged"
    signings = site.query(
        "SELECT number FROM assessments_board b JOIN assessments_grading g ON g.board_id = b.id "
        "JOIN assessments_stagesigning s ON s.grading_id = g.id"
    )
    assert sorted(people.signed) == sorted(number for (number,) in signings)
    assert site.query("SELECT DISTINCT seal FROM people_person") == [("old",)]
    # The version before still has its triggers as it wants them, and so has the next.
    assert "Everything fits." in site.run("verify_trail").stdout
    assert site.run("prepare").returncode != 0, "the one before prepares nothing any more"


def answers(port: int) -> bool:
    try:
        with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=60)) as link:
            link.request("GET", "/account/login/")
            return link.getresponse().status == 200
    except OSError:
        return False


def columns(site) -> set[str]:
    return {
        name
        for (name,) in site.query(
            "SELECT column_name FROM information_schema.columns "
            "WHERE table_name = 'assessments_judgement'"
        )
    }


def test_who_waits_in_vain_says_who_is_in_the_way_and_leaves_all_as_it_was(later, site, tmp_path):
    triggers = "SELECT count(*) FROM pg_trigger WHERE tgname LIKE 'keep\\_%'"
    before = site.query(triggers)
    with psycopg.connect(site.url) as reading:
        reading.execute("SELECT count(*) FROM assessments_judgement")
        ended = ready_python.run(
            *("manage.py", "prepare", "--wait-minutes", "0"),
            environment=site.environment | later.environment,
        )
        backend = reading.info.backend_pid
    assert ended.returncode != 0
    (sentence,) = ended.stderr.strip().splitlines()
    assert f"process {backend} of PostgreSQL" in sentence
    assert "run `manage.py prepare` again" in sentence
    assert site.query(triggers) == before
    assert "note_too" not in columns(site)
    assert site.query(f"SELECT pg_try_advisory_lock({ADVISORY_KEY})") == [(True,)]
