from datetime import date
from zoneinfo import ZoneInfoNotFoundError

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction

from records.domain.canonical import sha256_of_text
from records.models import Proof, Signature, TrailEntry
from records.services.trail import sign

BOARD = ("grading", "31")


def test_a_signature_keeps_who_when_where_and_what_was_signed(account, at):
    signature = sign(
        actor=account,
        meaning="graded",
        about=BOARD,
        content={"stage": "soldered", "day": date(2026, 5, 4), "rejects": 1},
        at=at,
        zone="Europe/Madrid",
        printed_name="Ines Roca",
        proof=Proof.PASSKEY,
    )
    kept = Signature.objects.get(pk=signature.pk)

    assert (kept.signer, kept.printed_name, kept.meaning) == (account, "Ines Roca", "graded")
    assert (kept.about_type, kept.about_id, kept.proof) == (*BOARD, "passkey")
    assert kept.content == '{"day":"2026-05-04","rejects":1,"stage":"soldered"}'
    assert kept.content_sha256 == sha256_of_text(kept.content)
    assert kept.signed_at == at
    assert kept.signed_at_local.isoformat() == "2026-05-04T09:30:15.000250+02:00"


def test_the_name_printed_is_the_account_s_own_unless_said(account, at):
    signature = sign(actor=account, meaning="graded", about=BOARD, content={}, at=at)
    assert signature.printed_name == account.get_full_name()


def test_the_trail_repeats_the_signature(account, at):
    signature = sign(actor=account, meaning="graded", about=BOARD, content={"a": 1}, at=at)
    entry = TrailEntry.objects.get()

    assert signature.entry == entry
    assert (entry.act, entry.actor, entry.recorded_at) == ("signed", account, at)
    assert (entry.about_type, entry.about_id) == BOARD
    assert signature.content_sha256 in entry.payload.body


@pytest.mark.parametrize(
    ("change", "error"),
    [
        pytest.param({"meaning": ""}, ValidationError, id="no meaning"),
        pytest.param({"meaning": "x" * 81}, ValidationError, id="meaning too long"),
        pytest.param({"proof": "a nod"}, ValueError, id="unknown proof"),
        pytest.param({"zone": "Europe/Nowhere"}, ZoneInfoNotFoundError, id="unknown zone"),
        pytest.param({"content": {"mm": float("inf")}}, ValueError, id="content not canonical"),
    ],
)
def test_a_signature_that_says_too_little_is_refused(account, at, change, error):
    arguments = {"meaning": "graded", "about": BOARD, "content": {}, "at": at} | change
    with pytest.raises(error):
        sign(actor=account, **arguments)
    assert not Signature.objects.exists()
    assert not TrailEntry.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_signature_and_entry_stand_or_fall_together(account, at):
    with transaction.atomic():
        sign(actor=account, meaning="graded", about=BOARD, content={}, at=at)
        transaction.set_rollback(True)
    assert not Signature.objects.exists()
    assert not TrailEntry.objects.exists()
