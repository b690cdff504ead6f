"""Takes in the scopes and schemes that the product brings along, as drafts."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from certification.content import SchemeContent
from certification.content.starter import FOR_OPERATORS, SCHEMES, SCOPES
from certification.models import Scheme, Scope
from certification.queries.scheme_drafts import RULES
from people.models import User
from people.queries.languages import in_language
from records.services import trail

from .scheme_drafts import Draft, begin_scheme
from .schemes import Asked, create_scope


@dataclass(frozen=True, slots=True)
class Loaded:
    """What was added, by code, and what was there under its code and stayed as it is."""

    scopes: tuple[str, ...]
    schemes: tuple[str, ...]
    kept: tuple[str, ...]

    def said(self) -> str:
        if not self.scopes and not self.schemes:
            return _("Everything that comes along is here already, and stayed as it is.")
        added = [
            ngettext("%(n)d scope", "%(n)d scopes", len(self.scopes)) % {"n": len(self.scopes)},
            ngettext("%(n)d scheme as a draft", "%(n)d schemes as drafts", len(self.schemes))
            % {"n": len(self.schemes)},
        ]
        return _("Added: %(what)s. Nothing is published by that.") % {"what": ", ".join(added)}


@transaction.atomic
def load_starter(*, actor: User | str, at: datetime) -> Loaded:
    """Add each starter scope and scheme whose code is not known yet, schemes as drafts.

    What is there under its code, in whatever capitals, stays as it is. What is stored is in the
    site's language.
    """
    # Scopes before the trail, as everybody locks them who changes one; both before codes are
    # read, so that of two who load at once the second finds them there.
    list(Scope.objects.order_by("pk").select_for_update(no_key=True))
    trail.lock_trail()
    known = {code.casefold(): code for code in Scope.objects.values_list("code", flat=True)}
    schemes = {code.casefold() for code in Scheme.objects.values_list("code", flat=True)}
    with in_language(settings.LANGUAGE_CODE):
        scopes = [scope for scope in SCOPES if scope.code.casefold() not in known]
        for scope in scopes:
            create_scope(
                code=scope.code,
                title=_(scope.title),
                level=scope.level,
                joint_types=scope.joint_types,
                source_note=_(scope.source_note),
                actor=actor,
                at=at,
            )
        drafted = [scheme for scheme in SCHEMES if scheme.code.casefold() not in schemes]
        for scheme in drafted:
            draft = draft_from(scheme)
            begin_scheme(code=scheme.code, draft=draft, actor=actor, at=at, is_starter=True)
    kept = [one.code for one in SCOPES if one not in scopes]
    kept += [one.code for one in SCHEMES if one not in drafted]
    return Loaded(
        tuple(scope.code for scope in scopes),
        tuple(scheme.code for scheme in drafted),
        tuple(kept),
    )


def draft_from(scheme: SchemeContent) -> Draft:
    """A scheme that comes along, with those of its scopes that are there and not retired."""
    scopes = {
        scope.code.casefold(): scope for scope in Scope.objects.filter(retired_at__isnull=True)
    }
    there = {code: scopes[code.casefold()] for code in scheme.scopes if code.casefold() in scopes}
    return Draft(
        title=_(scheme.title),
        rules=rules_from(scheme),
        scopes=list(there.values()),
        requirements=[
            Asked(
                scope=there[asked.scope],
                exercise_code=asked.exercise,
                boards=asked.boards,
                purposes=asked.purposes,
                within_months=asked.within_months,
            )
            for asked in scheme.requirements
            if asked.scope in there
        ],
        sources={name: _(text) for name, text in scheme.sources.items()},
    )


def rules_from(scheme: SchemeContent) -> dict[str, Any]:
    """The figures of a scheme that comes along, as a draft has them."""
    return {name: getattr(scheme, name) for name in RULES} | {
        "reminder_steps": list(scheme.reminder_steps)
    }


def usual_figures(title: str) -> Draft:
    """What a scheme of the site's own begins with: the starter's figures, and no scope yet."""
    with in_language(settings.LANGUAGE_CODE):
        starter = draft_from(FOR_OPERATORS)
    sources = {name: text for name, text in starter.sources.items() if name != "requirements"}
    return Draft(title=title, rules=starter.rules, scopes=(), requirements=(), sources=sources)


def load_at_installation(actor: User | str, at: datetime) -> str:
    """Add what is not there yet, for the command that loads content; say what was added."""
    loaded = load_starter(actor=actor, at=at)
    return (
        f"Scopes: {len(loaded.scopes)} added. Schemes: {len(loaded.schemes)} added as drafts, for "
        f"quality to check and publish. Kept: {len(loaded.kept)}."
    )
