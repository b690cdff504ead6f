"""The demo stays on one machine, in the folder's own database: its passwords are no secret."""

from pathlib import Path
from types import SimpleNamespace

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.utils import timezone
from gunicorn.errors import AppImportError

from config import gunicorn
from demo.scenario import loading as scenario
from demo.scenario import people
from operations.management.commands.runserver import Runserver
from operations.queries import own_machine
from operations.services import heartbeats
from people.models import Installation

HERE = "http://127.0.0.1:8000"
ELSEWHERE = "http://training.example.org"

pytestmark = pytest.mark.each_database


@pytest.fixture
def own_database(monkeypatch):
    """Lets a test ask about addresses alone, whichever database the suite runs on."""
    monkeypatch.setattr(own_machine, "_database_is_the_folders_own", lambda: True)
    # It ends by closing the connection, which here holds the transaction of the test.
    monkeypatch.setattr(heartbeats, "record_start", lambda: None)


@pytest.fixture
def loaded(monkeypatch, db):
    """Notes what would be loaded."""
    calls = []
    monkeypatch.setattr(scenario, "load", lambda **given: calls.append(given))
    return calls


@pytest.fixture
def demo(db):
    return Installation.objects.create(id=1, organisation="Demo", demo_loaded_at=timezone.now())


@pytest.mark.parametrize(
    "bind",
    [
        "127.0.0.1:8000",
        "127.0.0.2:8000",
        "[::1]:8000",
        "localhost:80",
        "LOCALHOST.:8000",
        "[::ffff:127.0.0.1]:8000",
        "localhost",
    ],
)
def test_loopback_addresses_may_have_it(bind, own_database, settings):
    settings.PUBLIC_URL = HERE
    own_machine.refuse_demo_elsewhere(bind=bind)


@pytest.mark.parametrize(
    "bind",
    [
        "0.0.0.0:8000",
        "[::]:8000",
        ":8000",
        "",
        ":::8000",
        "::1:8000",
        "192.168.7.8:8000",
        "10.0.0.1",
        "training.example.org:8000",
        "localhost.example.org:8000",
        "127.0.0.1.example.org:8000",
        "[::ffff:10.0.0.1]:8000",
        "[fe80::1]:8000",
        "0:8000",
        "[:8000",
    ],
)
def test_every_other_address_is_refused_in_a_sentence(bind, own_database, settings):
    settings.PUBLIC_URL = HERE
    with pytest.raises(own_machine.DemoRefused, match="is open to others: listen on 127"):
        own_machine.refuse_demo_elsewhere(bind=bind)


@pytest.mark.parametrize(
    "url",
    [
        "http://localhost",
        "http://localhost.:8000",
        "http://[::1]:8000",
        "http://127.0.0.2",
        "https://LocalHost:8443",
    ],
)
def test_public_urls_of_this_machine_may_have_it(url, own_database, settings):
    settings.PUBLIC_URL = url
    own_machine.refuse_demo_elsewhere(bind="127.0.0.1:8000")


@pytest.mark.parametrize(
    "url",
    [
        ELSEWHERE,
        "https://training.example.org",
        "http://192.168.7.8:8000",
        "http://0.0.0.0:8000",
        "http://[::]:8000",
        "http://127.0.0.1@training.example.org",
        "http://localhost.example.org",
        "http://127.0.0.1.example.org",
    ],
)
def test_every_other_public_url_is_refused_in_a_sentence(url, own_database, settings):
    settings.PUBLIC_URL = url
    with pytest.raises(own_machine.DemoRefused, match=r"PUBLIC_URL leads to .*: leave"):
        own_machine.refuse_demo_elsewhere(bind="127.0.0.1:8000")


@pytest.mark.parametrize(
    ("vendor", "name", "own"),
    [
        pytest.param("sqlite", "{data}/jointworthy.sqlite3", True, id="the folder's own"),
        pytest.param("sqlite", "{data}/../jointworthy.sqlite3", False, id="beside the folder"),
        pytest.param("sqlite", "{data}/sub/jointworthy.sqlite3", False, id="in a folder below"),
        pytest.param("sqlite", ":memory:", False, id="in memory"),
        pytest.param("postgresql", "{data}/jointworthy", False, id="a server's"),
    ],
)
def test_database_is_the_folders_own(vendor, name, own, settings, monkeypatch, tmp_path):
    settings.PUBLIC_URL, settings.DATA_DIR = HERE, tmp_path
    connection = SimpleNamespace(vendor=vendor, settings_dict={"NAME": name.format(data=tmp_path)})
    monkeypatch.setattr(own_machine, "connection", connection)
    if own:
        own_machine.refuse_demo_elsewhere(bind="127.0.0.1:8000")
    else:
        with pytest.raises(own_machine.DemoRefused, match="DATABASE_URL names another"):
            own_machine.refuse_demo_elsewhere(bind="127.0.0.1:8000")


def test_folder_reached_by_a_link_is_the_folder(settings, monkeypatch, tmp_path):
    (tmp_path / "kept").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "kept")
    settings.PUBLIC_URL, settings.DATA_DIR = HERE, tmp_path / "link"
    name = str(tmp_path / "kept/jointworthy.sqlite3")
    connection = SimpleNamespace(vendor="sqlite", settings_dict={"NAME": name})
    monkeypatch.setattr(own_machine, "connection", connection)
    own_machine.refuse_demo_elsewhere(bind="127.0.0.1:8000")


@pytest.mark.parametrize("if_empty", [False, True])
def test_load_demo_is_refused(loaded, own_database, settings, if_empty):
    settings.PUBLIC_URL = ELSEWHERE
    with pytest.raises(CommandError, match=r"PUBLIC_URL leads to training\.example\.org"):
        call_command("load_demo", if_empty=if_empty)
    settings.PUBLIC_URL = HERE
    with pytest.raises(CommandError, match=r"0\.0\.0\.0 is open to others"):
        call_command("load_demo", if_empty=if_empty, bind="0.0.0.0:8000")
    assert loaded == []
    call_command("load_demo", if_empty=if_empty, bind="127.0.0.1:8000")
    assert len(loaded) == 1


def test_load_demo_goes_by_the_database_of_the_suite(loaded, settings):
    settings.PUBLIC_URL = HERE
    if connection.vendor == "sqlite":
        call_command("load_demo")
        assert len(loaded) == 1
    else:
        with pytest.raises(CommandError, match="SQLite database in DATA_DIR"):
            call_command("load_demo")
        assert loaded == []


def test_sign_ins_are_not_shown_elsewhere(demo, own_database, settings, capsys):
    settings.PUBLIC_URL = HERE
    call_command("demo_sign_ins", bind="127.0.0.1:8000")
    assert people.PASSWORD in capsys.readouterr().out
    with pytest.raises(CommandError, match="every address is open to others"):
        call_command("demo_sign_ins", bind=":8000")
    settings.PUBLIC_URL = ELSEWHERE
    with pytest.raises(CommandError, match="PUBLIC_URL leads to"):
        call_command("demo_sign_ins", bind="127.0.0.1:8000")
    assert people.PASSWORD not in capsys.readouterr().out


def test_serve_refuses_before_anything_is_made(own_database, settings, monkeypatch):
    prepared = []
    monkeypatch.setattr("operations.management.commands.serve.call_command", prepared.append)
    settings.PUBLIC_URL = HERE
    for host in ("0.0.0.0", "::", "[::]", "", "192.168.7.8"):
        with pytest.raises(CommandError, match="is open to others"):
            call_command("serve", demo=True, host=host)
    settings.PUBLIC_URL = ELSEWHERE
    with pytest.raises(CommandError, match="PUBLIC_URL leads to"):
        call_command("serve", demo=True)
    assert prepared == []


@pytest.mark.parametrize(
    ("host", "bind"), [("::1", "[::1]"), ("[::1]", "[::1]"), ("127.0.0.1", "127.0.0.1")]
)
def test_serve_passes_on_where_it_listens(own_database, settings, monkeypatch, host, bind, db):
    given = {}
    serve = "operations.management.commands.serve"
    monkeypatch.setattr(
        f"{serve}.call_command", lambda name, *words, **more: given.update({name: more})
    )
    monkeypatch.setattr(f"{serve}.refuse_taken_port", lambda host, port: None)
    monkeypatch.setattr(
        f"{serve}.run_together", lambda commands, *, environment, **more: given.update(environment)
    )
    settings.PUBLIC_URL = HERE
    call_command("serve", demo=True, host=host, port=8123)
    assert given["BIND"] == given["load_demo"]["bind"] == f"{bind}:8123"


def test_demo_that_is_there_is_not_served_elsewhere(demo, own_database, settings, monkeypatch):
    serve = "operations.management.commands.serve"
    monkeypatch.setattr(f"{serve}.call_command", lambda *given, **more: None)
    monkeypatch.setattr(f"{serve}.refuse_taken_port", lambda host, port: None)
    settings.PUBLIC_URL = ELSEWHERE
    with pytest.raises(CommandError, match="PUBLIC_URL leads to"):
        call_command("serve")


@pytest.mark.parametrize(
    ("address", "refused"),
    [
        pytest.param(("127.0.0.1", 8000), False, id="this machine"),
        pytest.param(("::1", 8000), False, id="this machine by IPv6"),
        pytest.param("/run/site.sock", False, id="a socket among its files"),
        pytest.param(("0.0.0.0", 8000), True, id="every address"),
        pytest.param(("", 8000), True, id="no address"),
        pytest.param(("::", 8000), True, id="every address by IPv6"),
    ],
)
def test_web_process_ends_rather_than_serve_it_elsewhere(
    demo, own_database, settings, address, refused
):
    settings.PUBLIC_URL = HERE
    worker = SimpleNamespace(cfg=SimpleNamespace(address=[("127.0.0.1", 8000), address]))
    if refused:
        with pytest.raises(AppImportError, match="is open to others"):
            gunicorn.post_worker_init(worker)
    else:
        gunicorn.post_worker_init(worker)
        settings.PUBLIC_URL = ELSEWHERE
        with pytest.raises(AppImportError, match="PUBLIC_URL leads to"):
            gunicorn.post_worker_init(worker)


@pytest.mark.parametrize("refused", ["0.0.0.0:8123", "[::]:8123"])
def test_server_for_development_serves_it_to_this_machine_alone(
    demo, own_database, settings, monkeypatch, refused
):
    served = []
    monkeypatch.setattr(Runserver, "run", lambda self, **_options: served.append(self.addr))
    settings.PUBLIC_URL = HERE
    with pytest.raises(CommandError, match="is open to others"):
        call_command("runserver", refused)
    assert served == []
    call_command("runserver")
    call_command("runserver", "[::1]:8123")
    assert served == ["127.0.0.1", "::1"]


def test_site_without_the_demo_is_served_anywhere(settings, db):
    settings.PUBLIC_URL = ELSEWHERE
    own_machine.refuse_loaded_demo_elsewhere(bind="0.0.0.0:8000")
    gunicorn.post_worker_init(SimpleNamespace(cfg=SimpleNamespace(address=[("0.0.0.0", 8000)])))


def test_compose_file_offers_no_demo(settings):
    top = Path(settings.BASE_DIR)
    for name in ("docker-compose.yml", "Dockerfile"):
        started = [line for line in (top / name).read_text().splitlines() if "#" not in line]
        assert not any("demo" in line for line in started), name
