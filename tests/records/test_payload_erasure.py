import pytest
from django.core.management import call_command

from records.exceptions import AlreadyErased, RecordsError
from records.models import TrailEntry, TrailPayload
from records.queries.verification import verify_records
from records.services.trail import erase_payload, record


@pytest.fixture
def entry(account, at):
    details = {"name": "Marek Dvorsky"}
    return record(actor=account, act="visitor entered", about=account, payload=details, at=at)


def test_erasing_takes_the_details_and_says_who_when_and_why(entry, account, at):
    erasure = erase_payload(entry=entry, reason="asked for by the visitor", actor=account, at=at)

    payload = TrailPayload.objects.get(entry=entry)
    assert (payload.body, payload.salt) == ("", "")
    assert (payload.erased_at, payload.erased_reason) == (at, "asked for by the visitor")
    assert (erasure.act, erasure.actor) == ("payload erased", account)
    assert (erasure.about_type, erasure.about_id) == ("trail-entry", str(entry.number))


def test_the_chain_verifies_after_erasing_and_the_report_says_so(entry, account, at, capsys):
    erase_payload(entry=entry, reason="asked for", actor=account, at=at)

    report = verify_records(with_files=False)
    assert (report.entries, report.erased, report.faults) == (2, 1, [])
    call_command("verify_trail", "--skip-files")
    assert "with an erased payload: 1" in capsys.readouterr().out


def test_erasing_leaves_the_entry_as_it_was(entry, account, at):
    before = TrailEntry.objects.values().get(number=entry.number)
    erase_payload(entry=entry, reason="asked for", actor=account, at=at)
    assert TrailEntry.objects.values().get(number=entry.number) == before


def test_erasing_twice_is_refused(entry, account, at):
    erase_payload(entry=entry, reason="asked for", actor=account, at=at)
    with pytest.raises(AlreadyErased, match="entry 1 has been erased before") as refusal:
        erase_payload(entry=entry, reason="again", actor=account, at=at)
    assert isinstance(refusal.value, RecordsError)


def test_erasing_needs_a_reason(entry, account, at):
    with pytest.raises(ValueError, match="Say why"):
        erase_payload(entry=entry, reason=" ", actor=account, at=at)
    assert TrailPayload.objects.get(entry=entry).erased_at is None
