"""Writing things down: the trail, signatures, and the erasing of a payload."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from secrets import token_hex
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import models, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from records.domain.canonical import canonical_text, sha256_of_text
from records.domain.chain import FIRST_PREVIOUS_HASH, SALT_BYTES, entry_hash, payload_digest
from records.domain.kinds import KINDS, kind_of
from records.exceptions import AlreadyErased
from records.models import Proof, Signature, TrailEntry, TrailHead, TrailPayload
from records.queries.trail_acts import ERASED, REMOVED, SIGNED, signature_payload

SYSTEM_LABEL = "system"
BATCH = 500

Actor = AbstractBaseUser | str | None
About = models.Model | tuple[str, str]
Payload = Mapping[str, Any] | None


def record(
    *, actor: Actor, act: str, about: About, payload: Payload = None, at: datetime | None = None
) -> TrailEntry:
    """Write one entry of the trail, in the transaction of the change it tells of.

    From here until the transaction ends nobody else can write to the trail, so record
    after the slow part of a change, not before.

    Parameters
    ----------
    actor : user, str or None
        The account that acted, the name of a program that did, or None for the system.
    act : str
        What was done, in words: ``"certificate suspended"``.
    about : model instance or (str, str)
        What it was done to; a pair gives type and number, as ``("person", "7")``.
    payload : mapping, optional
        Details, such as canonical JSON can hold; they can be erased later, the rest cannot,
        so names and notes belong here.
    at : datetime, optional
        The instant, now by default.

    Raises
    ------
    TransactionManagementError
        If no transaction is open: the entry and the change must stand or fall together.
    """
    return record_many(actor=actor, act=act, items=[(about, payload)], at=at)[0]


def record_many(
    *,
    actor: Actor,
    act: str,
    items: Iterable[tuple[About, Payload]],
    at: datetime | None = None,
) -> list[TrailEntry]:
    """Write one entry for each (about, payload), in order; what an import calls."""
    if act in (SIGNED, ERASED, *REMOVED.values()):
        raise ValueError(f"The act {act!r} is written by the service of that name alone.")
    return append_entries(actor=actor, act=act, items=items, at=at or timezone.now())


def lock_trail() -> None:
    """Wait until nobody else is in the middle of a change, and keep others waiting from here on.

    For whoever works out something from records and must not miss one that is being written:
    every change ends in the trail, so its end is what all of them wait for. Lasts until the
    transaction ends; where one has written to the trail already, it changes nothing.
    """
    _lock_head()


@transaction.atomic
def sign(
    *,
    actor: AbstractBaseUser,
    meaning: str,
    about: About,
    content: Mapping[str, Any],
    at: datetime,
    zone: str = "UTC",
    printed_name: str | None = None,
    proof: str = Proof.PASSWORD,
) -> Signature:
    """Sign something: keep who, when by which clock, what it means, and the text signed.

    The caller has made sure, just now and in the way that ``proof`` names, that the actor
    is who they say. The trail entry repeats the signature and hash, so neither can be
    changed without the other.

    Parameters
    ----------
    meaning : str
        Short and in words: ``"graded"``, ``"issued"``.
    content : mapping
        All that is signed for; it is stored as canonical JSON beside its SHA-256.
    zone : str, optional
        IANA name of the signer's site's time zone.
    printed_name : str, optional
        The signer's name as printed; the account's full name by default.
    """
    text = canonical_text(content)
    signature = Signature(
        signer_id=actor.pk,
        printed_name=printed_name or _full_name(actor),
        signed_at=at,
        zone=ZoneInfo(zone).key,
        meaning=meaning,
        content=text,
        content_sha256=sha256_of_text(text),
        proof=Proof(proof),
    )
    signature.about_type, signature.about_id = _kind_and_id(about)
    signature.clean_fields(exclude={"signer", "entry"})
    items = [(about, signature_payload(signature))]
    [signature.entry] = append_entries(actor=actor, act=SIGNED, items=items, at=at)
    signature.save(force_insert=True)
    return signature


@transaction.atomic
def erase_payload(*, entry: TrailEntry, reason: str, actor: Actor, at: datetime) -> TrailEntry:
    """Erase the details of one entry, for privacy; return the entry that says so.

    The chain stays whole, since the entry keeps the payload's digest; the salt goes too, so
    the payload cannot be guessed back. Copies in back-ups remain until those are replaced.

    Raises
    ------
    AlreadyErased
        If somebody did so before.
    """
    if not reason.strip():
        raise ValueError("Say why the payload is erased.")
    erased = TrailPayload.objects.filter(entry=entry, erased_at__isnull=True).update(
        body="", salt="", erased_at=at, erased_reason=reason
    )
    if not erased:
        raise AlreadyErased(
            _("The payload of trail entry %(number)d has been erased before.")
            % {"number": entry.number}
        )
    return append_entries(actor=actor, act=ERASED, items=[(entry, {"reason": reason})], at=at)[0]


def append_entries(
    *, actor: Actor, act: str, items: Iterable[tuple[About, Payload]], at: datetime
) -> list[TrailEntry]:
    """Chain entries to the end of the trail while its head is locked; for this app alone."""
    if not transaction.get_connection().in_atomic_block:
        raise transaction.TransactionManagementError(
            "The trail is written in the transaction of the change it tells of: "
            "open transaction.atomic() first."
        )
    actor_id, label = _actor_id_and_label(actor)
    entries, payloads = [], []
    head = _lock_head()
    for about, details in items:
        salt, body = token_hex(SALT_BYTES), canonical_text(details or {})
        about_type, about_id = _kind_and_id(about)
        entry = TrailEntry(
            number=head.number + 1,
            recorded_at=at,
            actor_id=actor_id,
            actor_label=label,
            act=act,
            about_type=about_type,
            about_id=about_id,
            previous_hash=head.entry_hash,
            payload_digest=payload_digest(salt, body),
        )
        entry.entry_hash = entry_hash(entry.as_link())
        entry.clean_fields(exclude={"actor"})
        head.number, head.entry_hash = entry.number, entry.entry_hash
        entries.append(entry)
        payloads.append(TrailPayload(entry=entry, salt=salt, body=body))
    if entries:
        TrailEntry.objects.bulk_create(entries, batch_size=BATCH)
        TrailPayload.objects.bulk_create(payloads, batch_size=BATCH)
        head.save(update_fields=["number", "entry_hash"])
    return entries


def _lock_head() -> TrailHead:
    """Lock and read the end of the trail; the first writer of all makes the row."""
    heads = TrailHead.objects.select_for_update()
    head = heads.first()
    if head is None:
        # Whoever loses the race to be first waits here, then finds the winner's row.
        TrailHead.objects.bulk_create(
            [TrailHead(number=0, entry_hash=FIRST_PREVIOUS_HASH)], ignore_conflicts=True
        )
        head = heads.get()
    return head


def _actor_id_and_label(actor: Actor) -> tuple[Any, str]:
    if actor is None or isinstance(actor, str):
        return None, actor or SYSTEM_LABEL
    if actor.pk is None:
        raise ValueError("Only an account that is stored can act: sign in first.")
    return actor.pk, actor.get_username()


def _full_name(actor: AbstractBaseUser) -> str:
    full_name = getattr(actor, "get_full_name", None)
    return str(full_name() if full_name else actor)


def _kind_and_id(about: About) -> tuple[str, str]:
    if isinstance(about, models.Model):
        if about.pk is None:
            raise ValueError("Only a thing that is stored can be written about: save it first.")
        return kind_of(str(about._meta.object_name)), str(about.pk)
    about_type, about_id = about
    if about_type not in KINDS:
        raise ValueError(f"{about_type} is no kind of thing that the records know.")
    return about_type, str(about_id)
