"""How somebody who had left would stand on being back, scope by scope."""

from datetime import date

from certification.domain.answers import Standing
from certification.domain.disclosure import Reader, may_know
from certification.models import Scope
from certification.queries import standing_on_day
from people.models import Person
from people.ports import OpenMatter

from .standing_words import NEXT_STEPS, reason_for


def matters_on_return(person: Person, day: date) -> list[OpenMatter]:
    """For each scope they were ever certified in: how they stand that day, and what is missing.

    The days away ended what the schemes say by their own rules, and what was ended stays so.
    Whoever enters people need not know why somebody lapsed, so no lapse is told from another.
    """
    facts = standing_on_day.facts_for_many([person.pk]).by_person_and_scope
    scopes = Scope.objects.in_bulk([scope_id for _person, scope_id in facts])
    matters = []
    for (_person, scope_id), each in facts.items():
        answer = standing_on_day.answer_from(each, day)
        told = may_know(answer.standing, Reader.LINE_LEAD)
        items = [str(reason_for(answer.rule, Reader.LINE_LEAD))]
        if told.reason and answer.rule in NEXT_STEPS:
            items.append(str(NEXT_STEPS[answer.rule]))
        is_certified = answer.standing is Standing.CERTIFIED
        matters.append(OpenMatter(scopes[scope_id].title, tuple(items), ends=not is_certified))
    return sorted(matters, key=lambda matter: matter.label)
