"""``manage.py load_content``: exercises, courses and criteria to begin with."""

from typing import Any

from django.core.management.base import BaseCommand
from django.db import transaction
from django.utils import timezone

from assessments.content.criteria import REVISIONS
from assessments.services.criteria import load_criteria_set
from training.services import content

ACTOR = "load_content"


class Command(BaseCommand):
    help = (
        "Adds the exercises and courses that come along, and the criteria as a draft for quality "
        "to confirm and publish. Safe to repeat: what is there under its code stays as it is."
    )

    @transaction.atomic
    def handle(self, *args: Any, **options: Any) -> None:
        at = timezone.now()
        for what, loaded in (
            ("Exercises", content.load_exercises(actor=ACTOR, at=at)),
            ("Courses", content.load_courses(actor=ACTOR, at=at)),
        ):
            self.stdout.write(f"{what}: {len(loaded.added)} added, {len(loaded.kept)} kept.")
        for criteria_set in REVISIONS:
            # A retired revision is history of the demo and nothing to begin with.
            if criteria_set.retired:
                continue
            made = load_criteria_set(content=criteria_set, actor=ACTOR, at=at)
            if made is None:
                self.stdout.write(
                    f"Criteria: {criteria_set.title}, rev. {criteria_set.revision}, kept."
                )
            else:
                self.stdout.write(
                    f"Criteria: {made} added as a draft. Boards can be graded once quality has "
                    "confirmed it against the documents it names and published it, under Criteria."
                )
