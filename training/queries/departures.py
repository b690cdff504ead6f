"""What of training somebody's last day leaves open."""

from datetime import date

from django.db.models import Q
from django.utils.translation import gettext as _

from people.models import Person
from people.ports import OpenMatter
from training.models import ClassSession, Tool


def matters_of_departure(person: Person, last_day: date) -> list[OpenMatter]:
    later = (
        ClassSession.objects.filter(ends_on__gt=last_day)
        .select_related("course_revision__course")
        .order_by("starts_on", "number")
    )
    tools = Tool.objects.filter(
        Q(retired_on__isnull=True) | Q(retired_on__gt=last_day), answers_for=person
    )
    return [
        OpenMatter(
            _("Classes they teach"),
            tuple(
                map(
                    str,
                    later.filter(
                        Q(instructor__person=person)
                        | Q(other_instructors__instructor__person=person)
                    ).distinct(),
                )
            ),
        ),
        OpenMatter(
            _("Classes they are enrolled in"),
            tuple(map(str, later.filter(enrolments__person=person))),
        ),
        OpenMatter(_("Tools they are responsible for"), tuple(map(str, tools))),
    ]
