"""The standing that a certificate from elsewhere will give, before it is signed: in words."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _

from certification.domain.answers import EndKind, Rule, Span, Standing
from certification.queries.standing_if_entered import IfEntered
from people.presenters.days import format_day
from people.presenters.symbols import STANDING_SYMBOLS
from records.domain.shown import Line, Shown, digest_of

from .standing_words import ENDS, RULES

WITHOUT_VISION = (Rule.NO_VISION_TEST, Rule.VISION_TOO_OLD, Rule.VISION_FAILED)


@dataclass(frozen=True)
class Trap:
    """What keeps it from counting today, what to do about it, and where."""

    lead: str
    text: str
    url: str = ""
    link: str = ""


@dataclass(frozen=True)
class Ahead:
    """Days on which it will stand alike."""

    first_day: date
    last_day: date | None
    standing: str
    reason: Any


@dataclass(frozen=True)
class StandingToCome:
    """What the page shows above the signature.

    Attributes
    ----------
    standing : str
        Of today.
    reason : lazy str
    last_day : date
        Through which its period runs, or the paper's own end before that.
    traps : list of Trap
    ahead : list of Ahead
        From today on, with nothing more recorded.
    others : str
        Numbers of the person's other certificates for the scope, if there are any.
    asks_for_work : bool
        Whether days of work since it was issued would help.
    """

    coming: IfEntered
    standing: str
    reason: Any
    last_day: date
    traps: list[Trap]
    ahead: list[Ahead]
    others: str
    asks_for_work: bool


def standing_to_come(coming: IfEntered) -> StandingToCome:
    answer, certificate = coming.answer, coming.certificate
    ends = [end.effective_on for end in coming.ends]
    return StandingToCome(
        coming,
        answer.standing.value,
        RULES[answer.rule],
        min([certificate.valid_through, *ends]),
        _traps(coming),
        [_ahead(span, coming.today) for span in coming.spans],
        _others(coming),
        coming.work_is_missing or bool(coming.work),
    )


def _traps(coming: IfEntered) -> list[Trap]:
    traps, rule = [], coming.answer.rule
    person = coming.certificate.person
    months = coming.certificate.scheme_revision.vision_months
    if rule in WITHOUT_VISION:
        found = {
            Rule.NO_VISION_TEST: _("No vision test is recorded."),
            Rule.VISION_TOO_OLD: _("The last vision test is more than %(months)d months old."),
            Rule.VISION_FAILED: _("The last vision test was not passed."),
        }[rule]
        traps.append(
            Trap(
                found % {"months": months} if rule is Rule.VISION_TOO_OLD else found,
                _("It counts from the day of a test that is passed. Then show the standing again."),
                reverse("training:vision_test_new", args=[person.employee_number]),
                _("Enter a vision test in another window"),
            )
        )
    if rule is Rule.PERIOD_OVER or rule is Rule.ENDED:
        traps.append(
            Trap(
                _("It is over already."),
                _("Entered, it proves what held until then, and lets nobody work today."),
            )
        )
    elif coming.work_is_missing and coming.rests_through is not None:
        traps.append(_work_trap(coming, coming.rests_through))
    return traps


def _work_trap(coming: IfEntered, rests_through: date) -> Trap:
    months = coming.certificate.scheme_revision.max_absence_months
    latest = [day for day in coming.work if day <= rests_through]
    words = {
        "day": format_day(rests_through),
        "months": months,
        "from": format_day(latest[-1] if latest else coming.certificate.issued_on),
    }
    return Trap(
        _("Without work it lapsed after %(day)s.") % words,
        _(
            "The scheme ends a certificate after more than %(months)d months without this work, "
            "and later work does not cure it. Enter above a day of work after %(from)s and no "
            "later than %(day)s, and so on until the last one before today."
        )
        % words,
    )


def _ahead(span: Span, today: date) -> Ahead:
    return Ahead(max(span.first_day, today), span.last_day, span.standing.value, RULES[span.rule])


def _others(coming: IfEntered) -> str:
    numbers = coming.certificate.person.certificates.not_withdrawn().filter(
        scope=coming.certificate.scope
    )
    return ", ".join(numbers.order_by("number").values_list("number", flat=True))


def elsewhere_shown(coming: IfEntered, at: datetime) -> Shown:
    """What is shown to whoever enters a certificate from elsewhere."""
    certificate, to_come = coming.certificate, standing_to_come(coming)
    ends = coming.line.ends_after(coming.today) if coming.answers_itself else ()
    lines = {
        _("Name"): Line(certificate.holder_name),
        _("Employee number"): Line(certificate.person.employee_number),
        _("Scope"): Line(str(certificate.scope)),
        _("Scheme"): Line(str(certificate.scheme_revision)),
        _("Issued by"): Line(certificate.issued_by),
        _("Number on the paper"): Line(certificate.outside_number),
        _("Issued on"): Line(format_day(certificate.issued_on)),
        _("Last day"): Line(format_day(to_come.last_day)),
        _("Restriction"): Line(certificate.restriction or _("none")),
        _("Days of work"): Line(", ".join(format_day(day) for day in coming.work) or _("none")),
        _("Other certificates for the scope"): Line(to_come.others or _("none")),
        _("Today"): Line(f"{_word(to_come.standing)}: {to_come.reason}"),
    }
    lines |= {str(ENDS[EndKind(end.kind)]): Line(format_day(end.last_day)) for end in ends}
    for ahead in to_come.ahead[1:]:
        lines[_("From %(day)s") % {"day": format_day(ahead.first_day)}] = Line(
            f"{_word(ahead.standing)}: {ahead.reason}"
        )
    return Shown(digest_of(coming.to_sign()), at, lines)


def _word(standing: str) -> str:
    return str(STANDING_SYMBOLS[Standing(standing).value].word)
