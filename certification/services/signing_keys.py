"""Keys that the site signs credentials with: made, ended by a next one, and lost.

The private half of a key is a file in `SIGNING_KEYS_DIR` that its owner alone reads; the public
half is a row. Where several machines serve the site, the file is an object in their bucket,
encrypted under `SECRET_KEY`: all have it, whichever made it. One key signs at a time. Whoever
makes, ends or loses one waits at the trail for others who do.
"""

from datetime import datetime

from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _

from certification.domain.compact_jws import public_jwk, thumbprint
from certification.exceptions import CertificationError, KeyNotHere
from certification.models import SigningKey
from people.services import kept_secrets
from records.backends.kept_folder import KeptFolder, kept_folder
from records.services import trail

MADE = "signing key made"
ENDED = "signing key ended"
LOST = "signing key lost"


@transaction.atomic
def make_key(*, actor: trail.Actor, at: datetime) -> SigningKey:
    """Make the first key; raise CertificationError where one signs already."""
    trail.lock_trail()
    current = SigningKey.objects.current()
    if current is not None:
        raise CertificationError(
            _("Key %(kid)s signs already. Rotate to have another one sign from now on.")
            % {"kid": current.kid}
        )
    return _begin(actor, at)


@transaction.atomic
def rotate_key(*, actor: trail.Actor, at: datetime) -> SigningKey:
    """Have a new key sign from now on; what earlier ones signed still counts."""
    trail.lock_trail()
    current = SigningKey.objects.current()
    if current is not None:
        _end(current, actor, at)
    return _begin(actor, at)


@transaction.atomic
def lose_key(*, kid: str, reason: str, actor: trail.Actor, at: datetime) -> SigningKey:
    """Have nothing count that a key has signed or will; return the key that signs from now on.

    Raises
    ------
    CertificationError
        If there is no such key, it was lost before, or no reason is given.
    """
    trail.lock_trail()
    key = SigningKey.objects.filter(kid=kid).first()
    if key is None:
        raise CertificationError(
            _("There is no key %(kid)s. “signing_key list” names them all.") % {"kid": kid}
        )
    if key.lost_at is not None:
        raise CertificationError(_("Key %(kid)s is known to be lost.") % {"kid": kid})
    if not reason.strip():
        raise CertificationError(_("Say how it was lost: the reason is kept with the key."))
    if key.ended_at is None:
        _end(key, actor, at)
    key.lost_at, key.lost_reason = at, reason.strip()
    key.save(update_fields=["lost_at", "lost_reason"])
    payload = {"reason": key.lost_reason}
    trail.record(actor=actor, act=LOST, about=("signing-key", kid), payload=payload, at=at)
    transaction.on_commit(lambda: keys_folder().remove(_file_name(kid)))
    return SigningKey.objects.current() or _begin(actor, at)


def current_key(*, at: datetime) -> SigningKey:
    """The key that signs now, made where there is none yet."""
    key = SigningKey.objects.current()
    if key is not None:
        return key
    with transaction.atomic():
        trail.lock_trail()  # Whoever was first has committed once this is ours.
        return SigningKey.objects.current() or _begin(None, at)


def private_half(key: SigningKey) -> Ed25519PrivateKey:
    """What a key signs with.

    Raises
    ------
    KeyNotHere
        If this machine does not have it, or cannot read it.
    """
    try:
        private = serialization.load_pem_private_key(read_file(_file_name(key.kid)), password=None)
    except (OSError, ValueError) as error:
        raise _not_here(key) from error
    if not isinstance(private, Ed25519PrivateKey) or thumbprint(public_jwk(private)) != key.kid:
        raise _not_here(key)
    return private


def _not_here(key: SigningKey) -> KeyNotHere:
    return KeyNotHere(
        _(
            "This machine does not have the site’s signing key, so nothing can be signed. Whoever "
            "runs the site copies %(file)s from a back-up or from the machine that has it, or has "
            "another key sign by “signing_key rotate”."
        )
        % {"file": f"{keys_folder()}/{_file_name(key.kid)}"}
    )


def _begin(actor: trail.Actor, at: datetime) -> SigningKey:
    private, jwk, kid = _generate()
    _write(kid, private)
    key = SigningKey.objects.create(kid=kid, public_jwk=jwk, started_at=at)
    payload = {"public_jwk": jwk}
    trail.record(actor=actor, act=MADE, about=("signing-key", kid), payload=payload, at=at)
    return key


def _generate() -> tuple[Ed25519PrivateKey, dict[str, str], str]:
    """A new key, its public half and what it is called: no command takes a name with a hyphen
    in front for anything but an option."""
    while True:
        private = Ed25519PrivateKey.generate()
        jwk = public_jwk(private)
        kid = thumbprint(jwk)
        if not kid.startswith("-"):
            return private, jwk, kid


def _end(key: SigningKey, actor: trail.Actor, at: datetime) -> None:
    key.ended_at = at
    key.save(update_fields=["ended_at"])
    trail.record(actor=actor, act=ENDED, about=("signing-key", key.kid), at=at)


def keys_folder() -> KeptFolder:
    return kept_folder(settings.SIGNING_KEYS_DIR, named="signing-keys", is_private=True)


def read_file(name: str) -> bytes:
    """A private half as PEM; raises FileNotFoundError, and ValueError if it cannot be decrypted."""
    data = keys_folder().read(name)
    return kept_secrets.unlocked(data) if settings.SEVERAL_MACHINES else data


def add_file(name: str, pem: bytes) -> None:
    """Keep a private half; raises FileExistsError."""
    keys_folder().add(name, kept_secrets.locked(pem) if settings.SEVERAL_MACHINES else pem)


def _file_name(kid: str) -> str:
    return f"{kid}.pem"


def _write(kid: str, private: Ed25519PrivateKey) -> None:
    """Write the file whole and for its owner alone; it is on the disk once this returns."""
    text = private.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    try:
        add_file(_file_name(kid), text)
    except OSError as error:
        raise CertificationError(
            _("The key cannot be written to %(folder)s (%(why)s): let this program write there.")
            % {"folder": keys_folder(), "why": error.strerror}
        ) from error
