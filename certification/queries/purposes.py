"""What boards are handed out for: proposed from what the schemes in force ask."""

from collections.abc import Collection

from assessments.models import Board
from assessments.ports import ProposedPurpose
from certification.models import Certificate, SchemeRequirement
from people.models import Person


def proposed_purpose(
    exercise_codes: Collection[str], people: Collection[Person]
) -> ProposedPurpose:
    """Propose practice for exercises that no scheme in force names, and else what it counts.

    Re-qualification is proposed where every one of the people has been certified before in one
    of the scopes that the exercises lead to, and qualification where somebody has not.
    """
    asked = list(
        SchemeRequirement.objects.filter(
            exercise_code__in=exercise_codes,
            revision__published_at__isnull=False,
            revision__retired_at__isnull=True,
            scope__retired_at__isnull=True,
        ).select_related("scope")
    )
    if not asked:
        return ProposedPurpose(Board.Purpose.PRACTICE)
    scopes = {requirement.scope_id: requirement.scope.title for requirement in asked}
    certified = set(
        Certificate.objects.not_withdrawn()
        .filter(person__in=people, scope__in=scopes)
        .values_list("person", flat=True)
    )
    again = bool(people) and all(person.pk in certified for person in people)
    purpose = Board.Purpose.REQUALIFICATION if again else Board.Purpose.QUALIFICATION
    return ProposedPurpose(purpose, tuple(sorted(set(scopes.values()))))
