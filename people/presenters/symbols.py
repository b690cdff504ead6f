"""The alphabet of states: the shape, the tone and the word by which people tell them apart."""

from typing import Any, NamedTuple

from django.utils.translation import gettext_lazy as _


class Symbol(NamedTuple):
    """How one state shows: a shape of the alphabet, its tone, and the word that follows."""

    shape: str
    tone: str
    word: Any


STANDING_SYMBOLS = {
    "certified": Symbol("certified", "is-accept", _("certified")),
    "ending": Symbol("ending", "is-accept", _("certified")),
    "expired": Symbol("expired", "is-none", _("expired")),
    "vision_not_current": Symbol("vision", "is-caution", _("vision not current")),
    "not_current": Symbol("expired", "is-caution", _("not current: see your instructor")),
    "practice_lapsed": Symbol("lapsed", "is-caution", _("practice lapsed")),
    "suspended": Symbol("suspended", "is-reject", _("suspended")),
    "revoked": Symbol("revoked", "is-reject", _("revoked")),
    "never_certified": Symbol("never", "is-none", _("never certified")),
    "unknown_person": Symbol("unknown", "is-none", _("nobody has this number")),
}

VERDICT_SYMBOLS = {
    "accept": Symbol("accept", "is-accept", _("accept")),
    "accepted": Symbol("accept", "is-accept", _("accepted")),
    "remarks": Symbol("remarks", "is-accept", _("accepted with remarks")),
    "accepted_with_remarks": Symbol("remarks", "is-accept", _("accepted with remarks")),
    "reject": Symbol("reject", "is-reject", _("reject")),
    "rejected": Symbol("reject", "is-reject", _("rejected")),
    "not_applicable": Symbol("na", "is-none", _("not applicable")),
    "open": Symbol("open", "is-none", _("open")),
    "passed": Symbol("accept", "is-accept", _("passed")),
    "failed": Symbol("reject", "is-reject", _("did not pass")),
    "within": Symbol("within", "is-accept", _("within")),
    "outside": Symbol("outside", "is-reject", _("outside")),
    "too_close": Symbol("close", "is-caution", _("too close to call")),
    "too_close_to_call": Symbol("close", "is-caution", _("too close to call")),
}
