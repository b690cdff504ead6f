"""Who is put in a class without what its work asks for, in sentences."""

from collections.abc import Collection

from django.utils.translation import gettext as _

from people.models import Person
from people.presenters.days import format_day
from people.queries.site_days import Days
from training import ports
from training.models import ClassSession


def not_ready_sentences(session: ClassSession, people: Collection[Person]) -> list[str]:
    """Whose vision test will be over on the first day, as far as a standing of theirs rests on one.

    Read by whoever arranges for vision tests: an instructor at the site.
    """
    asked = ports.with_vision_ends(
        Person.objects.filter(pk__in=[person.pk for person in people]), Days(session.starts_on)
    )
    return [
        _("%(name)s has no current vision test on %(day)s: arrange for one before the class.")
        % {"name": person.full_name, "day": format_day(session.starts_on)}
        for person in asked.order_by("full_name", "pk")
        if person.vision_over_since is not None  # type: ignore[attr-defined]
    ]
