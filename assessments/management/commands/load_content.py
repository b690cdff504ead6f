"""``manage.py load_content``: exercises, courses, schemes and criteria to begin with."""

from collections.abc import Collection
from dataclasses import replace
from typing import Any

from django.core.management.base import BaseCommand
from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from assessments import ports
from assessments.content import CriteriaSetContent
from assessments.content.criteria import NEWEST, REVISIONS
from assessments.models import CriteriaSet, Criterion
from assessments.services.criteria import load_criteria_set
from training.services import content

ACTOR = "load_content"


class Command(BaseCommand):
    help = (
        "Adds the exercises and courses that come along, the scopes with their schemes as drafts, "
        "and the criteria as a draft for quality to confirm and publish. Safe to repeat: what is "
        "there under its code stays as it is."
    )

    @transaction.atomic
    def handle(self, *args: Any, **options: Any) -> None:
        at = timezone.now()
        for what, loaded in (
            ("Exercises", content.load_exercises(actor=ACTOR, at=at)),
            ("Courses", content.load_courses(actor=ACTOR, at=at)),
        ):
            self.stdout.write(f"{what}: {len(loaded.added)} added, {len(loaded.kept)} kept.")
        for said in ports.load_more_content(actor=ACTOR, at=at):
            self.stdout.write(said)
        # What the newest revision replaced is history of the demo and nothing to begin with.
        known = _known_as(NEWEST)
        if known is not None:
            self.stdout.write(f"Criteria: {known}, kept.")
            return
        made = load_criteria_set(content=_numbered(NEWEST), actor=ACTOR, at=at)
        self.stdout.write(
            f"Criteria: {made} added as a draft. Boards can be graded once quality has "
            "confirmed it against the documents it names and published it, under Criteria."
        )


def _known_as(content: CriteriaSetContent) -> CriteriaSet | None:
    """The set that this content became, whatever a site has changed in it since.

    A site that revised an earlier set by itself has given the number away. Theirs is told from
    what comes along by the criteria that came with this revision.
    """
    new = _new_codes(content)
    sets = CriteriaSet.objects.filter(title=content.title, revision__gte=content.revision)
    for criteria_set in sets.order_by("revision"):
        has = Criterion.objects.filter(criteria_set=criteria_set, code__in=new).count()
        if 2 * has > len(new):
            return criteria_set
    return None


def _new_codes(content: CriteriaSetContent) -> Collection[str]:
    earlier = {
        criterion.code
        for before in REVISIONS
        if before.revision < content.revision
        for criterion in before.criteria
    }
    return {criterion.code for criterion in content.criteria} - earlier


def _numbered(content: CriteriaSetContent) -> CriteriaSetContent:
    """The content under its own number, or the next one that is free."""
    sets = CriteriaSet.objects.filter(title=content.title)
    last = sets.aggregate(last=Max("revision"))["last"] or 0
    return replace(content, revision=max(content.revision, last + 1))
