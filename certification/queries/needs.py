"""What somebody needs a class for: a certificate that ends or has ended, or a first one."""

from datetime import date, timedelta

from assessments.models import Board
from certification.domain.answers import Standing
from certification.models import StandingEnd, StandingSpan
from people.models import Person
from training.ports import Need

from .schemes_in_force import asking_for_boards

AHEAD = timedelta(days=120)
"""How long before a certificate's last day a class for the next one is of use."""

ENDED = (Standing.EXPIRED, Standing.PRACTICE_LAPSED)


def needs(person: Person, day: date) -> list[Need]:
    """Everything somebody needs next on a day, the most urgent first.

    What has ended comes first, then what ends soonest, then scopes whose boards they have begun
    without ever having been certified. What is suspended or revoked is no class's to mend.
    """
    exercises: dict[str, frozenset[str]] = {}
    titles: dict[str, str] = {}
    for asked in asking_for_boards():
        code = asked.scope.code
        exercises[code] = exercises.get(code, frozenset()) | asked.exercise_codes
        titles[code] = asked.scope.title
    spans = list(
        StandingSpan.objects.on(day)
        .filter(person=person)
        .select_related("scope")
        .prefetch_related("ends")
        .order_by("scope__title")
    )
    ended, ending = [], []
    for span in spans:
        code = span.scope.code
        if span.standing in ENDED:
            ended.append(Need(code, span.scope.title, None, exercises.get(code, frozenset())))
        elif span.standing == Standing.CERTIFIED and (by := _certificate_end(span, day + AHEAD)):
            ending.append(Need(code, span.scope.title, by, exercises.get(code, frozenset())))
    known = {span.scope.code for span in spans}
    begun = set(Board.objects.filter(person=person).values_list("exercise__code", flat=True))
    first = [
        Need(code, titles[code], None, codes)
        for code, codes in sorted(exercises.items(), key=lambda item: titles[item[0]])
        if code not in known and codes & begun
    ]
    return [*ended, *sorted(ending, key=lambda need: need.by or day), *first]


def _certificate_end(span: StandingSpan, latest: date) -> date | None:
    """The last day of the certificate behind a span, where it lies no later than a day."""
    days = [
        end.last_day
        for end in span.ends.all()
        if end.kind == StandingEnd.Kind.CERTIFICATE and end.last_day <= latest
    ]
    return min(days, default=None)
