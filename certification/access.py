"""Who may see and decide which certificate and proposal.

A certificate, with the boards it stands on, is read by its holder and by instructors and
quality at the holder's site; a line lead sees how their people stand and not this. It is
suspended, revoked and so on by quality at that site, never by its holder. The site that issued
it reads it still once the holder has moved. Unknown and forbidden answer alike.
"""

from collections.abc import Sequence

from django.db.models import Q, QuerySet
from django.http import Http404
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _

from certification.exceptions import CertificationError
from people import access as people_access
from people.access import LARGEST_ROW
from people.models import Person, Role, Site, User
from people.models.people import PersonQuerySet
from people.queries.memberships import site_then

from .models import (
    Certificate,
    CertificateDocument,
    ClassPlan,
    Operation,
    Proposal,
    SchemeRevision,
    Scope,
)
from .models.class_plans import ClassPlanQuerySet


def certificates_readable_by(user: User) -> QuerySet[Certificate]:
    sites = user.sites_as(Role.INSTRUCTOR, Role.QUALITY)
    return Certificate.objects.alias(issued_at=site_then("issued_on")).filter(
        Q(person=user.person_id or 0) | Q(person__site__in=sites) | Q(issued_at__in=sites)
    )


def certificate_for_reader(user: User, number: str) -> Certificate:
    return get_object_or_404(
        certificates_readable_by(user).select_related(
            "person__site",
            "scope",
            "scheme_revision__scheme",
            "renews",
            "signature",
            "document",
            "withdrawal",
        ),
        number=number,
    )


def certificates_acted_on_by(user: User) -> QuerySet[Certificate]:
    """Certificates the user may suspend, extend, revoke: at their site and not their own."""
    return Certificate.objects.filter(person__site__in=user.sites_as(Role.QUALITY)).exclude(
        person=user.person_id or 0
    )


def certificate_for_quality(user: User, number: str) -> Certificate:
    return get_object_or_404(
        certificates_acted_on_by(user).select_related("person__site", "scope", "scheme_revision"),
        number=number,
    )


def person_for_quality(user: User, employee_number: str) -> Person:
    """Somebody whose certificates the user acts on: at their site, and not themselves."""
    person = people_access.person_with_results(user, employee_number)
    if person.pk == user.person_id or not user.has_role(Role.QUALITY, site=person.site_id):
        raise Http404
    return person


def document_for_reader(user: User, number: str) -> CertificateDocument:
    document = certificate_for_reader(user, number).document
    if document is None:
        raise Http404
    return document


def person_and_scope(user: User, employee_number: str, scope_code: str) -> tuple[Person, Scope]:
    """Somebody whose results the user may read, and a scope they could be certified for."""
    person = people_access.person_with_results(user, employee_number)
    return person, get_object_or_404(Scope, code=scope_code)


def person_and_scope_for_standing(
    user: User, person_pk: int, scope_pk: int
) -> tuple[Person, Scope]:
    """Somebody whose standing the user may read, line leads included, and a scope."""
    people = people_access.people_with_standing_for(user).select_related("site", "line_lead")
    return get_object_or_404(people, pk=person_pk), get_object_or_404(Scope, pk=scope_pk)


def may_propose(user: User, person: Person) -> bool:
    """Instructors at somebody's site may propose them, and nobody themselves."""
    return user.person_id != person.pk and user.has_role(Role.INSTRUCTOR, site=person.site_id)


def person_to_propose(user: User, employee_number: str, scope_code: str) -> tuple[Person, Scope]:
    """Somebody the user may propose, and a scope to propose them for."""
    person, scope = person_and_scope(user, employee_number, scope_code)
    if not may_propose(user, person):
        raise Http404
    return person, scope


def proposals_readable_by(user: User) -> QuerySet[Proposal]:
    return Proposal.objects.filter(
        person__site__in=user.sites_as(Role.INSTRUCTOR, Role.QUALITY)
    ).exclude(person=user.person_id or 0)


def proposals_waiting_for(user: User) -> QuerySet[Proposal]:
    """Open proposals that wait for the user, as one who issues certificates."""
    waiting = Proposal.objects.open().filter(person__site__in=user.sites_as(Role.QUALITY))
    return waiting.exclude(person=user.person_id or 0)


def proposals_to_decide(user: User) -> int:
    """How many proposals wait for the user, as one who issues certificates."""
    return proposals_waiting_for(user).count() if user.sites_as(Role.QUALITY) else 0


def proposal_for_reader(user: User, proposal_id: int) -> Proposal:
    """A proposal at the user's site; about themselves it is somebody else's to see."""
    return get_object_or_404(
        proposals_readable_by(user).select_related(
            "person__site",
            "scope",
            "scheme_revision__scheme",
            "renews",
            "signature__signer",
            "certificate",
            "decided_by",
        ),
        pk=proposal_id,
    )


def people_for_quality(user: User) -> PersonQuerySet:
    """People for whom the user may enter a certificate from elsewhere: never themselves."""
    return (
        Person.objects.filter(site__in=user.sites_as(Role.QUALITY))
        .exclude(pk=user.person_id or 0)
        .select_related("site")
    )


CHECKS = (Role.LINE_LEAD, Role.INSTRUCTOR, Role.QUALITY, Role.KIOSK)


def sites_to_check_at(user: User) -> list[Site]:
    """Sites where the user may ask whether somebody may do some work, whoever it is.

    A line lead reads the standing of their own people, and asks about anybody who comes to
    the line: a contractor, or somebody lent by another line. The bench check says no more
    than yes or no, and that much about anybody at the site, so it is asked at the site.
    """
    return list(Site.objects.filter(pk__in=user.sites_as(*CHECKS)))


DRAFTERS = (Role.INSTRUCTOR, Role.QUALITY)
"""Who drafts schemes. Like criteria they are the organisation's: a role at any site counts."""


def may_draft(user: User) -> bool:
    return user.has_role(*DRAFTERS)


def may_publish(user: User) -> bool:
    """Whether somebody keeps scopes and operations, and publishes and retires schemes."""
    return user.has_role(Role.QUALITY)


def revision_for_reader(user: User, revision_id: int) -> SchemeRevision:
    """A published revision of a scheme; a draft for those who work on it."""
    readable = SchemeRevision.objects.all()
    if not may_draft(user):
        readable = readable.filter(published_at__isnull=False)
    return get_object_or_404(
        readable.select_related(
            "scheme", "begun_from", "published_by__person", "changed_by__person"
        ),
        pk=min(revision_id, LARGEST_ROW),
    )


def scope_by_id(scope_id: int) -> Scope:
    return get_object_or_404(Scope, pk=min(scope_id, LARGEST_ROW))


def operation_by_id(operation_id: int) -> Operation:
    return get_object_or_404(
        Operation.objects.select_related("scope"), pk=min(operation_id, LARGEST_ROW)
    )


IN_FULL = (Role.INSTRUCTOR, Role.QUALITY)
"""Roles to which everything about the standing of people at their sites is open."""


def reads_in_full(user: User, person: Person) -> bool:
    """Whether a user may know of somebody how their standing lapsed, or will."""
    return user.person_id == person.pk or user.has_role(*IN_FULL, site=person.site_id)


def class_plans_readable_by(user: User) -> ClassPlanQuerySet:
    """Plans of which the user teaches or audits at every site: they name people of all."""
    return ClassPlan.objects.within(user.sites_as(*IN_FULL))


def class_plan_for_reader(user: User, plan_id: int) -> ClassPlan:
    return get_object_or_404(
        class_plans_readable_by(user).select_related("made_by__person", "sent_by__person"),
        pk=min(plan_id, LARGEST_ROW),
    )


def class_plan_for_instructor(user: User, plan_id: int) -> ClassPlan:
    plans = class_plans_readable_by(user).within(user.sites_as(Role.INSTRUCTOR))
    return get_object_or_404(plans, pk=min(plan_id, LARGEST_ROW))


def sites_to_plan_at(user: User) -> QuerySet[Site]:
    return Site.objects.filter(pk__in=user.sites_as(Role.INSTRUCTOR))


def may_change_class_plan(user: User, plan: ClassPlan) -> bool:
    return set(plan.sites.values_list("pk", flat=True)) <= user.sites_as(Role.INSTRUCTOR)


def refuse_sites(user: User, sites: Sequence[Site]) -> None:
    """Raise CertificationError where somebody is no instructor at one of the sites."""
    taught = user.sites_as(Role.INSTRUCTOR)
    strange = next((site for site in sites if site.pk not in taught), None)
    if strange is not None:
        raise CertificationError(
            _("Classes of %(site)s are planned by its instructors.") % {"site": strange}
        )
