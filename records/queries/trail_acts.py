"""Acts of the trail that mean more than an entry, and what it repeats of a signature."""

from typing import Any

from records.models import Signature

SIGNED = "signed"


ERASED = "payload erased"

REMOVED = {
    "row": "removed",
    "file": "file removed",
    "name": "name erased",
}
"""What the trail calls a removal, by what is gone."""


def signature_payload(signature: Signature) -> dict[str, Any]:
    """What the trail repeats of a signature."""
    return {
        "printed_name": signature.printed_name,
        "signed_at": signature.signed_at,
        "zone": signature.zone,
        "meaning": signature.meaning,
        "proof": str(signature.proof),
        "content_sha256": signature.content_sha256,
    }
