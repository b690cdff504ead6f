"""Two web machines and a worker's share a database, a Redis and a bucket, and no disk."""

import hashlib
import io
import json
import subprocess
import sys
import threading
import zipfile
from concurrent.futures import ThreadPoolExecutor
from http.client import HTTPException
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from assessments.models import Photo
from assessments.services import photos
from audit.models import EvidencePack
from certification.models import SigningKey
from config.object_storage import storage_of
from records.models import TrailEntry
from tests import factories, ready_python
from tests.assessments import pictures
from tests.audit import packs
from tests.object_server import object_server
from tests.services.processes import kill, wait_until
from tests.two_machines import Machine

pytestmark = [
    pytest.mark.services,
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor == "sqlite", reason="several machines need PostgreSQL"),
]

CSRF = "c" * 32


@pytest.fixture
def bucket(settings):
    """What the machines share of files; this process, which prepares what they serve, too."""
    with object_server() as server:
        settings.STORAGES = {**settings.STORAGES, "default": storage_of(server.url)}
        yield server


@pytest.fixture
def machine(link, bucket, tmp_path):
    """Start one more machine by its name, with a folder that holds nothing."""
    started = []

    def make(name: str) -> Machine:
        address = {"redis_url": link.as_uri(include_password=True), "files_url": bucket.url}
        made = Machine(tmp_path / name, public_url="http://127.0.0.1", **address)
        started.append(made)
        return made

    yield make
    for each in started:
        each.processes.end()


def as_(user) -> dict[str, str]:
    client = Client()
    client.force_login(user)
    return {"Cookie": f"sessionid={client.cookies['sessionid'].value}; csrftoken={CSRF}"}


def upload(machine: Machine, path: str, name: str, data: bytes, **headers: str):
    boundary = "b" * 30
    head = (
        f'--{boundary}\r\nContent-Disposition: form-data; name="photos"; filename="{name}"\r\n'
        "Content-Type: image/jpeg\r\n\r\n"
    )
    body = head.encode() + data + f"\r\n--{boundary}--\r\n".encode()
    kind = f"multipart/form-data; boundary={boundary}"
    sent = {"Content-Type": kind, "X-CSRFToken": CSRF, "Accept": "application/json"}
    return machine.ask("POST", path, body, **sent, **headers)


def run(machine: Machine, *command: str) -> subprocess.CompletedProcess[str]:
    return ready_python.run("manage.py", *command, environment=machine.processes.environment)


def test_what_one_machine_takes_in_the_others_have(machine, bucket, send, tmp_path):
    board, evidence = factories.make_board(), packs.make_evidence()
    quality = as_(evidence.quality)
    instructor = as_(factories.make_user("instructor"))
    a, b, c = machine("a"), machine("b"), machine("c")
    first, second = a.serve(), b.serve()
    _does_not_start_with_another_key(machine("d"))

    # A photograph that came to one is shown, and its smaller size made, by the other.
    jpeg = pictures.jpeg(1200, 800)
    address = reverse("assessments:board_photos_add", args=[board.number])
    status, answer, _ = upload(a, address, "E01.jpg", jpeg, **instructor)
    assert status == 200, answer
    [added] = json.loads(answer)["photos"]
    photo = Photo.objects.get(key=added["key"])
    original = reverse("assessments:photo_original", args=[photo.key])
    status, data, headers = b.ask("GET", original, **instructor)
    assert (status, data, headers["Cache-Control"]) == (200, jpeg, "private, no-store")
    small = reverse("assessments:photo_rendition", args=[photo.key, 160])
    made = b.ask("GET", small, **instructor)
    assert made[0] == 200
    assert a.ask("GET", small, **instructor)[1] == made[1]
    assert a.ask("GET", original)[0] == 302  # Whoever is nobody is asked who they are.

    # The same file a second time, sent to the other machine, is known there.
    status, answer, _ = upload(b, address, "again.jpg", jpeg, **instructor)
    assert "is here already" in json.loads(answer)["photos"][0]["says"]

    # A key that one made signs at the other, whatever dies.
    credential = reverse("certification:certificate_credential", args=[evidence.certificate.number])
    sent = {"Content-Type": "application/x-www-form-urlencoded", "X-CSRFToken": CSRF}
    assert a.ask("POST", credential, **sent, **quality)[0] in (200, 302)
    assert SigningKey.objects.count() == 1
    kill(first)
    assert b.ask("GET", "/credentials/status/1")[0] == 200

    # What a worker elsewhere puts together is handed out here.
    pack = packs.request(evidence)
    worker = c.processes.worker()
    send("evidence_packs.build", pack.pk)
    wait_until(lambda: EvidencePack.objects.filter(pk=pack.pk, finished_at__isnull=False).exists())
    pack.refresh_from_db()
    status, data, _ = b.ask(
        "GET", reverse("audit:evidence_pack_file", args=[pack.number]), **quality
    )
    assert (status, hashlib.sha256(data).hexdigest()) == (200, pack.sha256)
    names = zipfile.ZipFile(io.BytesIO(data)).namelist()
    assert len([name for name in names if "data/photographs/" in name]) == len(evidence.photos)

    verified = run(c, "verify_trail")
    assert verified.returncode == 0, verified.stdout + verified.stderr

    # Nothing of it is on any machine's own disk.
    for each in (a, b, c):
        kept = {path.name for path in each.folder.rglob("*") if path.is_file()}
        assert kept <= {"served.lock"}, each.folder
    assert {name.partition("/")[0] for name in bucket.names()} == {
        "originals", "renditions", "evidence-packs", "kept"
    }  # fmt: skip
    _is_one_machines_alone_only_while_no_other_serves(c, (second, worker), tmp_path / "register")


def _does_not_start_with_another_key(d: Machine) -> None:
    d.processes.environment["SECRET_KEY"] = "another one, though the site is the same" * 2
    web = d.processes.start(sys.executable, "-m", "gunicorn", "-c", "python:config.gunicorn")
    worker = d.processes.worker()
    assert (web.wait(150), worker.wait(150)) == (4, 1)  # gunicorn's for an app that cannot be had.
    assert d.processes.log.read_text().count("SECRET_KEY is another one on this machine") == 2


def _is_one_machines_alone_only_while_no_other_serves(c: Machine, serving, folder) -> None:
    folder.mkdir()
    site_name = factories.make_site().name
    rows = "".join(f"E{n:06d},Person {n},,{site_name}\n" for n in range(501))
    (folder / "people.csv").write_text("employee_number,full_name,email,site\n" + rows)
    refused = run(c, "import_register", str(folder))
    assert refused.returncode == 1
    assert "The register has 501 rows" in refused.stderr
    for process in serving:
        kill(process)
    # PostgreSQL may hear a moment later that nobody is there any more.
    wait_until(lambda: run(c, "import_register", str(folder)).returncode == 0, watch=lambda: None)
    assert TrailEntry.objects.filter(act="register imported").exists()


class _Stuck(BaseHTTPRequestHandler):
    """A bucket that says that a name is free, and never that what is written there is kept."""

    def do_HEAD(self) -> None:
        self.send_response(404)
        self.end_headers()

    def do_PUT(self) -> None:
        self.rfile.read(int(self.headers["Content-Length"]))
        self.server.came.set()  # type: ignore[attr-defined]
        self.server.over.wait()  # type: ignore[attr-defined]

    def log_message(self, *_args: object) -> None:
        pass


@pytest.fixture
def stuck():
    server = ThreadingHTTPServer(("127.0.0.1", 0), _Stuck)
    server.came, server.over = threading.Event(), threading.Event()
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield server
    server.over.set()
    server.shutdown()
    server.server_close()


def test_an_upload_that_is_killed_in_the_middle_leaves_no_row_without_its_object(
    machine, bucket, stuck
):
    board, user = factories.make_board(), factories.make_user("instructor")
    a = machine("a")
    a.processes.environment["FILES_URL"] = f"s3+http://A:s@127.0.0.1:{stuck.server_port}/files"
    web = a.serve()
    address = reverse("assessments:board_photos_add", args=[board.number])
    jpeg = pictures.jpeg(1200, 800)
    with ThreadPoolExecutor(1) as pool:
        sent = pool.submit(upload, a, address, "E01.jpg", jpeg, **as_(user))
        wait_until(stuck.came.is_set, watch=web.poll)
        kill(web)
        with pytest.raises((OSError, HTTPException)):
            sent.result()
    assert not Photo.every.exists()

    # Sent again, to whichever machine, it is taken in as if nothing had been.
    photo = photos.add_photo(
        board=board, file=io.BytesIO(jpeg), name="E01.jpg", actor=user, at=timezone.now()
    )
    assert bucket.names() == [photo.original.name]
