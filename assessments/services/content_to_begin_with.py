"""What comes along with the program: exercises, courses, and criteria as a draft."""

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import datetime

from django.db import transaction
from django.db.models import Max

from assessments import ports
from assessments.content import CriteriaSetContent
from assessments.content.criteria import NEWEST, REVISIONS
from assessments.models import CriteriaSet, Criterion
from people.models import Site, User
from training.services import content

from .criteria import load_criteria_set


@dataclass(frozen=True)
class ContentAdded:
    """What was added, and what was there already.

    ``more`` is what higher apps say of what they bring along; ``criteria`` is None where a set,
    ``known_as``, was kept.
    """

    exercises: content.LoadResult
    courses: content.LoadResult
    more: tuple[str, ...]
    criteria: CriteriaSet | None
    known_as: CriteriaSet | None


@transaction.atomic
def add_content(*, actor: User | str, at: datetime, of_higher_apps: bool = False) -> ContentAdded:
    """Add what comes along; safe to repeat, since what is there under its code stays as it is.

    The criteria are a draft, by which nothing is judged before quality has confirmed and
    published it. What higher apps bring along (`ports.register_content`) is added at installation
    alone: in the browser whoever answers for it adds it, on its own pages.
    """
    # Of two who press at once the second waits, and finds what the first has added.
    Site.objects.select_for_update(no_key=True).order_by("pk").first()
    # First, since scopes are locked before the trail.
    more = tuple(ports.load_more_content(actor=actor, at=at)) if of_higher_apps else ()
    exercises = content.load_exercises(actor=actor, at=at)
    courses = content.load_courses(actor=actor, at=at)
    # What the newest revision replaced is history of the demo and nothing to begin with.
    known_as = _known_as(NEWEST)
    made = None
    if known_as is None:
        made = load_criteria_set(content=_numbered(NEWEST), actor=actor, at=at)
    return ContentAdded(exercises, courses, more, made, known_as)


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
