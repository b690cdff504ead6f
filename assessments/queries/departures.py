"""What of boards and written tests somebody's last day leaves open."""

from datetime import date

from django.utils.translation import gettext as _

from assessments.models import Board, Grading, Paper
from people.models import Person
from people.ports import OpenMatter


def matters_of_departure(person: Person, last_day: date) -> list[OpenMatter]:
    begun = Grading.objects.counted().filter(grader__person=person, replaced_by__isnull=True)
    papers = Paper.objects.standing().filter(person=person, end__isnull=True)
    return [
        OpenMatter(label, tuple(things.values_list("number", flat=True)))
        for label, things in (
            (_("Boards in their hands"), Board.objects.at_the_bench().filter(person=person)),
            (_("Boards of theirs to be graded"), Board.objects.waiting().filter(person=person)),
            (
                _("Boards that they have begun to grade"),
                Board.objects.waiting().filter(pk__in=begun.values("board")),
            ),
            (_("Written tests handed out to them"), papers),
        )
    ]
