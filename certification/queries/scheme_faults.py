"""What is wrong with a scheme, and what is worth a look, in sentences that say what to do."""

from collections.abc import Callable, Mapping
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from certification.domain import scheme_rules
from certification.domain.scheme_rules import Fault, FaultKind
from certification.models import SchemeRevision

from .scheme_drafts import rules_of

SENTENCES: Mapping[FaultKind, Promise] = {
    FaultKind.NO_SCOPE: gettext_lazy("It covers no scope. Tick what it certifies."),
    FaultKind.NO_VALIDITY: gettext_lazy(
        "A certificate would be good for no month. Give at least 1."
    ),
    FaultKind.TOO_LONG: gettext_lazy("%(number)s months are too many. Give 600 at most."),
    FaultKind.WINDOW_TOO_LONG: gettext_lazy(
        "A certificate could be renewed from the day it is issued, over and over. Give at most "
        "%(number)s days before the end."
    ),
    FaultKind.STEP_TOO_LONG: gettext_lazy(
        "A reminder %(number)s days before the end would come before the certificate is issued. "
        "Take it away."
    ),
    FaultKind.SCOPE_RETIRED: gettext_lazy(
        "%(scope)s is retired. Take it out, or restore it under Scopes."
    ),
    FaultKind.SCOPE_NOT_COVERED: gettext_lazy(
        "Boards are asked for %(scope)s, which it does not cover. Tick the scope, or take them out."
    ),
    FaultKind.NO_SUCH_EXERCISE: gettext_lazy(
        "%(scope)s asks for %(exercise)s, of which no board can be handed out. Choose another "
        "exercise, or publish that one."
    ),
    FaultKind.NO_BOARDS: gettext_lazy(
        "%(scope)s asks for 0 boards of %(exercise)s. Ask for 1 at least, or take the line out."
    ),
    FaultKind.NOTHING_CREDITED: gettext_lazy(
        "No exercise asked for %(scope)s is credited to it or has a joint of its types, so nobody "
        "would show that work. Ask for boards of one that does."
    ),
    FaultKind.AFTER_NOT_ASKED: gettext_lazy(
        "%(exercise)s is to come after %(other)s, of which no boards are asked for %(scope)s. Ask "
        "for boards of that one too, or let %(exercise)s come after another."
    ),
    FaultKind.AFTER_EACH_OTHER: gettext_lazy(
        "For %(scope)s each of %(exercise)s comes after another of them, so none could begin. Let "
        "one come first."
    ),
    FaultKind.NO_SUCH_COURSE: gettext_lazy(
        "%(exercise)s is to come after the course %(other)s, of which no class can be planned. "
        "Choose another course, or publish that one."
    ),
    FaultKind.NO_SUCH_TEST: gettext_lazy(
        "It asks for the written test %(other)s, of which no paper can be handed out. Choose "
        "another test, or publish that one."
    ),
    FaultKind.NAMES_NO_BOARDS: gettext_lazy(
        "It asks for no boards for %(scope)s: certificates for it can only be entered from "
        "elsewhere."
    ),
    FaultKind.CREDITS_ANOTHER: gettext_lazy(
        "%(exercise)s is of other work than %(scope)s and is asked beside it, as preparation."
    ),
    FaultKind.NO_RETRAINING: gettext_lazy(
        "No course in use teaches %(exercise)s, and no practice boards stand for a class: after "
        "%(number)s failed attempts nobody could go on."
    ),
    FaultKind.NO_REMINDERS: gettext_lazy("Nobody is written to before an end."),
}


def sentence(fault: Fault) -> str:
    """One fault or remark in words."""
    return str(SENTENCES[fault.kind]) % {
        "scope": fault.scope,
        "exercise": fault.exercise,
        "number": fault.number,
        "other": fault.other,
    }


def faults_of(revision: SchemeRevision) -> list[str]:
    """What keeps a revision from being published; empty where nothing does."""
    return _said(scheme_rules.faults, revision)


def remarks_on(revision: SchemeRevision) -> list[str]:
    """What is worth a look before a revision is published, and stops nobody."""
    return _said(scheme_rules.remarks, revision)


def _said(look: Callable[[Any], list[Fault]], revision: SchemeRevision) -> list[str]:
    return [sentence(fault) for fault in look(rules_of(revision))]


def second_said(why: str) -> str:
    """Why a second person is asked for, by `scheme_drafts.refusing_for_second`."""
    if why == "own":
        return _("You changed it last. A second person publishes it: a site asks for two.")
    return _(
        "A site asks for two people: one looks through the draft and saves it, another publishes."
    )
