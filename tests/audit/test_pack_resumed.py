"""A pack that is stopped anywhere goes on, and comes out as if it had not been."""

import errno
import json
import random
import shutil
import signal
import subprocess
import sys
import time
from datetime import datetime, timedelta
from functools import partial

import pytest
from django.conf import settings

from audit.models import EvidencePack
from audit.presenters.pack_contents import PackContents
from audit.services import evidence_packs as services
from audit.services.pack_file import InUse, PackFile
from records.models import TrailEntry
from tests.audit import packs

CONTENT = {f"data/{number}.bin": bytes([number]) * (1000 * number) for number in range(1, 9)}


def write_all(file, content=CONTENT):
    for path, data in content.items():
        if not file.passes(path, may_be_missing=False):
            file.add(path, lambda target, data=data: target.write(data), is_deflated=True)
    return file.finish()


@pytest.fixture
def whole(tmp_path):
    with PackFile(tmp_path / "whole", "T") as file:
        digest = write_all(file)[1]
    return (tmp_path / "whole" / "pack.zip").read_bytes(), digest


def test_zip_cut_off_anywhere_goes_on_to_the_same_bytes(whole, tmp_path):
    content, digest = whole
    lines = (tmp_path / "whole" / "pack.jsonl").read_bytes()
    rng = random.Random(20260503)
    for number in range(60):
        folder = tmp_path / f"cut-{number}"
        folder.mkdir()
        cut_zip, cut_list = rng.randrange(len(content) + 1), rng.randrange(len(lines) + 1)
        torn = content[:cut_zip] + rng.randbytes(rng.choice([0, 50]))
        (folder / "pack.zip").write_bytes(torn)
        # The list never says more than is safe on the disk: its lines end where the zip is whole.
        kept = [
            line
            for line in lines[:cut_list].splitlines(keepends=True)
            if line.endswith(b"\n") and json.loads(line)["end"] <= cut_zip
        ]
        half = lines[len(b"".join(kept)) :][: rng.randrange(40)]
        (folder / "pack.jsonl").write_bytes(b"".join(kept) + half)

        with PackFile(folder, "T") as file:
            assert write_all(file)[1] == digest
        assert (folder / "pack.zip").read_bytes() == content


def test_file_that_fails_halfway_leaves_nothing_of_itself(whole, tmp_path):
    def fails(target):
        target.write(b"x" * 100_000)
        raise OSError(errno.EIO, "gone")

    with PackFile(tmp_path / "fails", "T") as file:
        for path, data in CONTENT.items():
            with pytest.raises(OSError, match="gone"):
                file.add(path, fails, is_deflated=False)
            file.add(path, lambda target, data=data: target.write(data), is_deflated=True)
        assert file.finish()[1] == whole[1]


def test_one_process_alone_writes_a_pack(tmp_path):
    with PackFile(tmp_path / "pack", "T"), pytest.raises(InUse):
        PackFile(tmp_path / "pack", "T")


KILLED = """
import sys
from pathlib import Path
from audit.services.pack_file import PackFile
import time
with PackFile(Path(sys.argv[1]), "T") as file:
    for number in range(60):
        path = f"data/{number}.bin"
        if not file.passes(path, may_be_missing=False):
            file.add(path, lambda target: target.write(bytes(20_000)), is_deflated=False)
            file.save()
            print(number, flush=True)
    print(file.finish()[1], flush=True)
"""


def test_kill_9_at_any_moment_loses_no_file_that_was_written(tmp_path):
    rng = random.Random(7)

    def start(folder):
        arguments = [sys.executable, "-c", KILLED, str(folder)]
        return subprocess.Popen(arguments, stdout=subprocess.PIPE, text=True, cwd=settings.BASE_DIR)

    with start(tmp_path / "whole") as process:
        digest = process.communicate(timeout=60)[0].split()[-1]
    kills = 0
    for _kill in range(3):
        with start(tmp_path / "killed") as process:
            assert process.stdout.readline()
            time.sleep(rng.random() * 0.02)
            process.send_signal(signal.SIGKILL)
            kills += process.wait() == -signal.SIGKILL
    with start(tmp_path / "killed") as process:
        assert process.communicate(timeout=60)[0].split()[-1] == digest
    assert kills


# The pack itself


@pytest.fixture
def evidence(db):
    return packs.make_evidence()


def again(pack):
    """The same row as if nobody had worked on it yet."""
    EvidencePack.objects.filter(pk=pack.pk).update(
        finished_at=None, claim="", claimed_at=None, attempts=0, file="", done=0
    )
    pack.refresh_from_db()
    return pack


def test_same_question_gives_the_same_bytes_at_once_and_round_after_round(evidence):
    pack = packs.build(packs.request(evidence))
    first, files = pack.sha256, pack.done
    again(pack)
    rounds = 0
    while pack.finished_at is None:
        services.build_pack(
            pack_id=pack.pk,
            clock=lambda: packs.LATER,
            contents_of=PackContents,
            round_lasts=timedelta(microseconds=-1),
        )
        pack.refresh_from_db()
        rounds += 1
    assert (pack.sha256, rounds) == (first, files + 1)
    assert not (services.work_folder(pack)).exists()


class Fails(PackContents):
    """Contents of which one file cannot be written for some time."""

    error: BaseException

    def _write_trail(self, target):
        target.write(b"half")
        raise self.error


def test_pack_whose_worker_died_is_taken_up_when_the_claim_has_lapsed(evidence):
    pack = packs.request(evidence)
    Fails.error = SystemExit()
    with pytest.raises(SystemExit):
        services.build_pack(pack_id=pack.pk, clock=lambda: packs.LATER, contents_of=Fails)
    pack.refresh_from_db()
    assert pack.state == "running"

    def build_at(at):
        return services.build_due_packs(clock=lambda: at, contents_of=PackContents)

    assert build_at(packs.LATER + timedelta(minutes=4)) == 0
    assert build_at(packs.LATER + timedelta(minutes=6)) == 1
    pack.refresh_from_db()
    assert pack.state == "finished"
    first = pack.sha256
    assert packs.build(again(pack)).sha256 == first


def test_pack_that_takes_down_every_worker_is_closed_with_a_sentence(evidence):
    pack = packs.request(evidence)
    Fails.error = SystemExit()
    for attempt in range(5):
        at = packs.AT + attempt * timedelta(minutes=6)
        with pytest.raises(SystemExit):
            services.build_pack(
                pack_id=pack.pk, clock=partial(datetime.astimezone, at), contents_of=Fails
            )
    at = packs.AT + timedelta(hours=1)
    services.build_due_packs(clock=lambda: at, contents_of=PackContents)
    pack.refresh_from_db()
    assert pack.state == "failed"
    assert "several times" in pack.failure
    assert TrailEntry.objects.latest("number").act == "evidence pack could not be made"


def test_full_disk_is_said_and_leaves_nothing_behind(evidence):
    pack = packs.request(evidence)
    Fails.error = OSError(errno.ENOSPC, "No space left on device")
    assert services.build_pack(pack_id=pack.pk, clock=lambda: packs.LATER, contents_of=Fails)
    pack.refresh_from_db()
    assert pack.failure == "There is no room for it: make some, then ask for it again."
    assert not (services.work_folder(pack)).exists()


def test_another_version_of_the_contents_begins_anew(evidence):
    pack = packs.build(packs.request(evidence))
    first = pack.sha256
    folder = services.work_folder(again(pack))
    with PackFile(folder, pack.number) as file:
        file.add("data/of-before.csv", lambda target: target.write(b"x"), is_deflated=True)
    assert not services.build_pack(
        pack_id=pack.pk, clock=lambda: packs.LATER, contents_of=PackContents
    )
    pack.refresh_from_db()
    assert packs.build(pack).sha256 == first
    shutil.rmtree(folder, ignore_errors=True)
