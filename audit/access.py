"""Who may read which work-log checks, evidence packs and lists of people."""

from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet
from django.http import Http404
from django.shortcuts import get_object_or_404

from assessments.access import board_for_reader
from certification.access import certificate_for_reader
from people.access import person_with_results
from people.models import Person, Role, Site, User
from people.queries.memberships import ever_at

from .models import EvidencePack, PeopleList, WorkLogCheck
from .models.evidence_packs import EvidencePackQuerySet
from .models.work_log import WorkLogCheckQuerySet


def work_log_checks_readable_by(user: User) -> WorkLogCheckQuerySet:
    """Checks against people of the user's sites alone: findings tell how everybody stood."""
    other_sites = Site.objects.exclude(pk__in=user.sites_as(Role.QUALITY))
    return WorkLogCheck.objects.exclude(sites__in=other_sites)


def work_log_check_for_quality(user: User, check_id: int) -> WorkLogCheck:
    return get_object_or_404(
        work_log_checks_readable_by(user).select_related("asked_by__person"), pk=check_id
    )


def evidence_packs_readable_by(user: User) -> EvidencePackQuerySet:
    """Packs of the user's sites alone: one tells of the boards and people of all of its sites."""
    other_sites = Site.objects.exclude(pk__in=user.sites_as(Role.QUALITY))
    return EvidencePack.objects.exclude(sites__in=other_sites)


def evidence_pack_for_quality(user: User, number: str) -> EvidencePack:
    readable = evidence_packs_readable_by(user).select_related(
        "asked_by__person", "site", "certificate", "person", "board", "head"
    )
    return get_object_or_404(readable, number=number)


def thing_to_pack(user: User, asked: Mapping[str, str]) -> tuple[dict[str, Any], Site | None]:
    """What a pack is to be about, as an address names it, and the site whose letters it bears.

    Nothing where a question is asked. What the user may not read, or not as quality, is not there.
    """
    thing: dict[str, Any] = {}
    if number := asked.get("certificate"):
        certificate = certificate_for_reader(user, number)
        thing, sites = {"certificate": certificate}, [certificate.person.site]
    elif number := asked.get("person"):
        person = person_with_results(user, number)
        thing, sites = {"person": person}, [person.site]
    elif number := asked.get("board"):
        board = board_for_reader(user, number)
        thing, sites = {"board": board}, [board.site]
    else:
        sites = [user.person.site] if user.person else []
    quality_at = user.sites_as(Role.QUALITY)
    site = next((site for site in sites if site.pk in quality_at), None)
    if site is None and thing.get("certificate") is None and thing:
        raise Http404
    # A certificate may be read where it was issued once its holder has moved.
    return thing, site or Site.objects.filter(pk__in=quality_at).order_by("pk").first()


def names_of(user: User, numbers: Collection[str]) -> dict[str, str]:
    """Names by employee number, of people who are or were at the user's sites as quality."""
    sites = user.sites_as(Role.QUALITY)
    people = Person.objects.filter(Q(site__in=sites) | Q(pk__in=ever_at(sites)))
    named = people.filter(employee_number__in=numbers)
    return dict(named.values_list("employee_number", "full_name"))


def people_lists_of(user: User, now: datetime) -> QuerySet[PeopleList]:
    """The lists that the user brought, without what they say: nobody else reads one."""
    lists = PeopleList.objects.filter(brought_by=user).kept(now)
    return lists.defer("rows", "doubts", "result", "undoing", "work")


def people_list_for(user: User, list_id: int, now: datetime) -> PeopleList:
    """One of them, as long as it is kept."""
    return get_object_or_404(PeopleList.objects.filter(brought_by=user).kept(now), pk=list_id)
