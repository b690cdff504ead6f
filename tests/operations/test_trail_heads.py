"""The end of the trail leaves the house, and says later whether the trail was cut or rewritten."""

import stat
from datetime import UTC, datetime, timedelta

import pytest
from django.core import mail
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from django.utils import timezone

from config.celery import app
from operations.services import heads
from operations.tasks import publish_head
from records.domain.chain import FIRST_PREVIOUS_HASH, entry_hash
from records.models import TrailEntry, TrailHead, TrailPayload, append_only
from records.queries.heads import NotAHead, find_head, printed_head
from records.queries.verification import verify_records
from records.services import trail
from tests.factories import make_site

pytestmark = pytest.mark.django_db

AT = datetime(2026, 11, 25, 2, 50, tzinfo=UTC)


@pytest.fixture(autouse=True)
def data_dir(tmp_path, settings):
    settings.DATA_DIR = tmp_path
    return tmp_path


@pytest.fixture
def written():
    """Three entries, one a minute."""
    with transaction.atomic():
        for minute in range(3):
            trail.record(
                actor=None,
                act=f"act {minute}",
                about=("sign-in", "7"),
                at=AT - timedelta(minutes=3 - minute),
            )
    return list(TrailEntry.objects.order_by("number"))


def cut_the_end():
    """Take the last entry away, and set the recorded end back, so that the chain fits."""
    with append_only.lifted(connection):
        TrailPayload.objects.filter(entry=3).delete()
        TrailEntry.objects.filter(number=3).delete()
        last = TrailEntry.objects.get(number=2)
        TrailHead.objects.update(number=2, entry_hash=last.entry_hash)


def write_the_chain_anew():
    """Change the second entry, and work every hash out again from there."""
    previous = FIRST_PREVIOUS_HASH
    with append_only.lifted(connection):
        for entry in TrailEntry.objects.order_by("number"):
            entry.act = "act 1, otherwise" if entry.number == 2 else entry.act
            entry.previous_hash = previous
            entry.entry_hash = previous = entry_hash(entry.as_link())
            entry.save()
        TrailHead.objects.update(entry_hash=previous)


def test_every_day_the_end_is_filed_and_mailed_to_each_address_alone(written, data_dir, settings):
    settings.TRAIL_HEAD_TO = ["notary@example.org", "auditor@example.org"]

    head = heads.publish_head(at=AT)

    last = written[-1]
    assert str(head) == f"3-{last.entry_hash[:16]}"
    assert (data_dir / "trail-heads.txt").read_text() == (
        f"2026-11-25T02:50:00.000000Z 3 {last.entry_hash}\n"
    )
    assert [message.to for message in mail.outbox] == [[to] for to in settings.TRAIL_HEAD_TO]
    assert last.entry_hash in str(mail.outbox[0].body)
    assert f"verify_trail --head {head}" in str(mail.outbox[0].body)


def test_every_site_names_addresses_of_its_own_and_each_is_written_to_once(written, settings):
    settings.TRAIL_HEAD_TO = ["notary@example.org"]
    make_site("Castelmar", "CA", trail_head_to=["works@example.org", "notary@example.org"])
    make_site("Aldergate", "AL", trail_head_to=["customer@example.org"])

    heads.publish_head(at=AT)

    assert [message.to for message in mail.outbox] == [
        ["notary@example.org"],
        ["works@example.org"],
        ["customer@example.org"],
    ]


def test_the_file_is_appended_to_and_closed_to_others(written, data_dir):
    heads.publish_head(at=AT)
    heads.publish_head(at=AT + timedelta(days=1))

    file = data_dir / "trail-heads.txt"
    assert len(file.read_text().splitlines()) == 2
    assert not stat.S_IMODE(file.stat().st_mode) & 0o007


def test_without_addresses_nothing_is_mailed_and_without_entries_nothing_filed(data_dir):
    assert publish_head() == ""
    assert not (data_dir / "trail-heads.txt").exists()
    assert mail.outbox == []


def test_a_mail_server_that_is_away_does_not_keep_the_end_from_the_file(
    written, data_dir, settings, monkeypatch
):
    def away():
        raise OSError("No route.")

    settings.TRAIL_HEAD_TO = ["notary@example.org"]
    monkeypatch.setattr(heads, "get_connection", away)
    with pytest.raises(OSError, match="route"):
        heads.publish_head(at=AT)
    assert (data_dir / "trail-heads.txt").read_text().count("\n") == 1


def test_the_clock_asks_for_it_before_the_records_are_verified():
    schedules = {entry["task"]: entry["schedule"] for entry in app.conf.beat_schedule.values()}
    filed, verified = schedules["records.publish_head"], schedules["records.verify"]
    assert (max(filed.hour), max(filed.minute)) < (max(verified.hour), max(verified.minute))


@pytest.mark.parametrize("harm", [cut_the_end, write_the_chain_anew])
def test_a_trail_that_was_cut_or_written_anew_no_longer_holds_what_was_filed(written, harm):
    heads.publish_head(at=AT)
    assert verify_records().heads == 1

    harm()

    [fault] = verify_records().faults
    assert fault.where == "trail-heads.txt, line 1"
    assert "written anew or cut" in fault.reason


@pytest.mark.parametrize("harm", [cut_the_end, write_the_chain_anew])
def test_without_the_file_what_was_printed_shows_it(written, harm, capsys):
    end = printed_head(AT)
    call_command("verify_trail", "--head", end)
    assert f"{end} is entry 3 of 3, recorded at 2026-11-25T02:49" in capsys.readouterr().out

    harm()

    assert verify_records().fits, "from inside it cannot be seen"
    with pytest.raises(CommandError, match=f"does not hold {end}"):
        call_command("verify_trail", "--head", end)


def test_a_line_of_the_file_that_says_nothing_is_named(written, data_dir):
    heads.publish_head(at=AT)
    file = data_dir / "trail-heads.txt"
    file.write_text(file.read_text() + "2026-11-26\n")

    assert [str(fault) for fault in verify_records().faults] == [
        "trail-heads.txt, line 2 says nothing: it was changed or cut off."
    ]


def test_an_end_is_known_by_its_hash_and_by_its_short_form_in_any_letters(written):
    middle = written[1]
    for text in (
        middle.entry_hash,
        middle.entry_hash[:16],
        f"2-{middle.entry_hash[:16]}",
        f" 2-{middle.entry_hash.upper()} ",
    ):
        head = find_head(text)
        assert head is not None
        assert head.number == 2
    assert find_head(f"3-{middle.entry_hash}") is None


@pytest.mark.parametrize("text", ["", "2", "2-abc", "g" * 64, "abc"])
def test_what_is_no_end_of_a_trail_is_refused(written, text):
    with pytest.raises(NotAHead):
        find_head(text)
    with pytest.raises(CommandError, match="no end of a trail"):
        call_command("verify_trail", "--head", text)


def test_what_is_printed_is_the_end_at_that_instant(written):
    assert printed_head(AT - timedelta(minutes=2)) == f"2-{written[1].entry_hash[:16]}"
    assert printed_head(AT - timedelta(days=1)) == ""
    assert printed_head(timezone.now()) == f"3-{written[2].entry_hash[:16]}"
