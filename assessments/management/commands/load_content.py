"""``manage.py load_content``: exercises, courses, schemes and criteria to begin with."""

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from assessments.services.content_to_begin_with import add_content

ACTOR = "load_content"


class Command(BaseCommand):
    help = (
        "Adds the exercises and courses that come along, the scopes with their schemes as drafts, "
        "and the criteria as a draft for quality to confirm and publish. Safe to repeat: what is "
        "there under its code stays as it is."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        added = add_content(actor=ACTOR, at=timezone.now(), of_higher_apps=True)
        for what, loaded in (("Exercises", added.exercises), ("Courses", added.courses)):
            self.stdout.write(f"{what}: {len(loaded.added)} added, {len(loaded.kept)} kept.")
        for said in added.more:
            self.stdout.write(said)
        if added.known_as is not None:
            self.stdout.write(f"Criteria: {added.known_as}, kept.")
            return
        self.stdout.write(
            f"Criteria: {added.criteria} added as a draft. Boards can be graded once quality has "
            "confirmed it against the documents it names and published it, under Criteria."
        )
