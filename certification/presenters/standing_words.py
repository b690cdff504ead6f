"""Standing in words: why somebody is or is not certified, as far as every reader may know it.

Whoever does not read somebody in full (a line lead) learns of every lapse by the same word, and
of everything that ends by the same day and no other. Were an expired period or rested work told
apart, what is left over would be the vision test.
"""

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from django.utils.translation import gettext_lazy as _

from certification.domain.answers import EndKind, Rule, Span, Standing

NOT_CURRENT = "not_current"
LAPSES = frozenset({Standing.EXPIRED, Standing.PRACTICE_LAPSED, Standing.VISION_NOT_CURRENT})
"""What is one and the same to whoever does not read in full."""

# Why a vision test does not count is for its holder alone; everybody else learns currency.
RULES = {
    Rule.WITHIN_PERIOD: _("Within the period it was issued for."),
    Rule.WITHIN_EXTENSION: _("Within an extension of its period."),
    Rule.REVOKED: _("Revoked: it never counts again."),
    Rule.SUSPENDED: _("Suspended until somebody reinstates it."),
    Rule.PERIOD_OVER: _("Its period is over."),
    Rule.EXTENSION_OVER: _("Its extension is over."),
    Rule.ENDED: _("It was ended before its period was over."),
    Rule.NO_VISION_TEST: _("The vision test is not current."),
    Rule.VISION_FAILED: _("The vision test is not current."),
    Rule.VISION_TOO_OLD: _("The vision test is not current."),
    Rule.PRACTICE_GAP: _("The work rested for longer than the scheme allows."),
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


def standing_said(standing: Standing, in_full: bool) -> str:
    """A standing's key as a reader may know it: health is for those who read in full."""
    if standing in LAPSES and not in_full:
        return NOT_CURRENT
    return standing.value


def rule_said(rule: Rule, in_full: bool) -> Any:
    """Why, as a reader may know it."""
    if rule.standing in LAPSES and not in_full:
        return _("Not current: see your instructor.")
    return RULES[rule]


def spans_told(spans: Iterable[Span], in_full: bool) -> list[Span]:
    """Spans as a reader may know them: one lapse after another is one, and names no certificate."""
    told: list[Span] = []
    for span in spans:
        if in_full or span.standing not in LAPSES:
            told.append(span)
        elif told and told[-1].standing in LAPSES:
            told[-1] = replace(told[-1], last_day=span.last_day)
        else:
            told.append(replace(span, certificate_number="", restriction=""))
    return told
