"""Standing in words: why somebody is or is not certified, as far as every reader may know it."""

from typing import Any

from django.utils.translation import gettext_lazy as _

from certification.domain.answers import EndKind, Rule
from certification.domain.disclosure import Reader, may_know

NOT_CURRENT_REASON = _("Not current: see your instructor.")
"""All that is said of a lapse to whoever may not know which it is."""

# Why a vision test does not count is for its holder alone; everybody else learns currency.
RULES = {
    Rule.WITHIN_PERIOD: _("Within the period it was issued for."),
    Rule.WITHIN_EXTENSION: _("Within an extension of its period."),
    Rule.REVOKED: _("Revoked: it never counts again."),
    Rule.SUSPENDED: _("Suspended until somebody reinstates it."),
    Rule.PERIOD_OVER: _("Certificate expired."),
    Rule.EXTENSION_OVER: _("Certificate expired, its extension too."),
    Rule.ENDED: _("It was ended before its period was over."),
    Rule.NO_VISION_TEST: _("The vision test is not current."),
    Rule.VISION_FAILED: _("The vision test is not current."),
    Rule.VISION_TOO_OLD: _("The vision test is not current."),
    Rule.PRACTICE_GAP: _("No qualifying work recorded for longer than the scheme allows."),
    Rule.NO_CERTIFICATE: _("No certificate had been issued."),
    Rule.NO_SUCH_PERSON: _("Nobody has this number."),
}

# What to do about it next.
NEXT_STEPS = {
    Rule.SUSPENDED: _("Quality reinstates once the reason is dealt with."),
    Rule.NO_VISION_TEST: _("Have a vision test: it counts from its own day on."),
    Rule.VISION_FAILED: _("Have a vision test: it counts from its own day on."),
    Rule.VISION_TOO_OLD: _("Have a vision test: it counts from its own day on."),
    Rule.PRACTICE_GAP: _("Only a new certificate counts again: see below what it asks for."),
    Rule.PERIOD_OVER: _("Only a new certificate counts again: see below what it asks for."),
    Rule.EXTENSION_OVER: _("Only a new certificate counts again: see below what it asks for."),
    Rule.ENDED: _("Only a new certificate counts again: see below what it asks for."),
    Rule.REVOKED: _("Only a new certificate counts again: see below what it asks for."),
}

ENDS = {
    EndKind.CERTIFICATE: _("The certificate’s period"),
    EndKind.VISION: _("The vision test"),
    EndKind.PRACTICE: _("Practice: without more work recorded"),
}

SEE_INSTRUCTOR = _("See your instructor")


def reason_for(rule: Rule, reader: Reader) -> Any:
    """Why somebody stands like this, as a reader may know it."""
    return RULES[rule] if may_know(rule.standing, reader).reason else NOT_CURRENT_REASON
