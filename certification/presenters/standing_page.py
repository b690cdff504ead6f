"""What the page of one person and one scope shows: the answer for a day, its evidence, its life."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from certification import access
from certification.domain.answers import Answer, Rule, Span, Standing
from certification.domain.disclosure import Reader, may_know, reader_for, spans_for
from certification.domain.facts import Facts, known
from certification.domain.months import add_months
from certification.domain.periods import CertificateHistory, certificate_histories
from certification.domain.standing import Timeline, timeline
from certification.models import Certificate, CertificateEvent, Scope
from certification.queries import standing_on_day
from people.models import Person, Role, User
from people.presenters.days import format_day
from people.presenters.symbols import STANDING_SYMBOLS

from . import (
    certificate_page as certificate_screen,
)
from . import (
    life_picture,
    register,
    standing_facts,
)
from . import (
    standing_words as said,
)

PRACTICE_SHOWN = 12

MARKS = {
    CertificateEvent.Kind.SUSPENDED: ("suspended", "is-reject"),
    CertificateEvent.Kind.REINSTATED: ("certified", "is-accept"),
    CertificateEvent.Kind.REVOKED: ("revoked", "is-reject"),
    CertificateEvent.Kind.ENDED: ("expired", "is-none"),
    CertificateEvent.Kind.EXTENDED: ("within", "is-accept"),
    CertificateEvent.Kind.RESTRICTED: ("remarks", "is-caution"),
    CertificateEvent.Kind.UNRESTRICTED: ("certified", "is-accept"),
}


@dataclass(frozen=True)
class SpanLine:
    """Days of one standing, in the words the reader may know it by."""

    span: Span
    said: str
    rule: Any


@dataclass(frozen=True)
class StandingScreen:
    """``said`` and the like are the standing as this reader may know it."""

    person: Person
    scope: Scope
    day: date
    today: date
    known_at: datetime | None
    in_full: bool
    is_own: bool
    answer: Answer
    said: str
    rule_said: Any
    then_said: str
    then_only: str
    now: Answer | None
    now_said: str
    ends: list[tuple[Any, date]]
    spans: list[SpanLine]
    pictures: list[tuple[str, SafeString]]
    used: list[standing_facts.FactLine] = field(default_factory=list)
    facts: list[standing_facts.FactLine] = field(default_factory=list)
    practice: list[standing_facts.FactLine] = field(default_factory=list)
    practice_count: int = 0
    acting: Certificate | None = None
    acts: Sequence[certificate_screen.ActLine] = ()

    @property
    def is_ahead(self) -> bool:
        return self.day > self.today

    @property
    def ends_soon(self) -> bool:
        return self.answer.standing is Standing.CERTIFIED and any(
            timedelta(0) <= day - self.day <= register.SOON for _kind, day in self.ends
        )


def build(
    person: Person,
    scope: Scope,
    user: User,
    *,
    day: date | None = None,
    known_at: datetime | None = None,
    all_practice: bool = False,
    now: datetime | None = None,
) -> StandingScreen:
    """Work out everything the page shows, for the reader and as known at an instant."""
    today = person.site.today(now)
    day = day or today
    facts = standing_on_day.facts_for(person, scope)
    line = timeline(facts, known_at)
    in_full = access.reads_in_full(user, person)
    reader = reader_for(in_full=in_full)
    spans = spans_for(line.spans, reader)
    answer = line.on(day) if in_full else _answer_without_reason(line, spans, day, reader)
    present = None
    if known_at is not None:
        everything = timeline(facts)
        present = (
            everything.on(day)
            if in_full
            else _answer_without_reason(
                everything, spans_for(everything.spans, reader), day, reader
            )
        )
    differs = present is not None and _told(present) != _told(answer)
    then = line.span_on(answer.changes_on) if answer.changes_on else None
    common: dict[str, Any] = {
        "person": person,
        "scope": scope,
        "day": day,
        "today": today,
        "known_at": known_at,
        "in_full": in_full,
        "is_own": user.person_id == person.pk,
        "answer": answer,
        "said": may_know(answer.standing, reader).standing,
        "rule_said": said.reason_for(answer.rule, reader),
        "then_said": may_know(then.standing, reader).standing if then else "",
        "then_only": _only_then(answer, then),
        "now": present if differs else None,
        "now_said": may_know(present.standing, reader).standing if present else "",
        "ends": [(said.ENDS[end.kind], end.last_day) for end in line.ends_after(day)]
        if in_full
        else _end_without_kind(answer, spans, day),
        "spans": [
            SpanLine(
                span, may_know(span.standing, reader).standing, said.reason_for(span.rule, reader)
            )
            for span in reversed(spans)
        ],
    }
    if not in_full:
        return StandingScreen(
            **common, pictures=life_picture.pictures(_life(person, scope, spans, day, today))
        )
    rows = standing_facts.Rows.of(person, scope)
    decides = user.person_id != person.pk and user.has_role(Role.QUALITY, site=person.site_id)
    wanted = standing_facts.FactsWanted(
        person,
        scope,
        known_at,
        frozenset(answer.facts_used),
        may_decide=decides,
        may_withdraw=user.person_id != person.pk,
    )
    lines = standing_facts.lines_of(rows, wanted)
    practice = standing_facts.practice_of(rows, wanted)
    by_key = {line.key: line for line in [*practice, *lines] if line.is_used}
    acting = _acting(rows, answer)
    return StandingScreen(
        **common,
        pictures=life_picture.pictures(
            _life(person, scope, spans, day, today, facts, known_at, rows)
        ),
        used=[by_key[key] for key in answer.facts_used if key in by_key],
        facts=lines,
        practice=practice if all_practice else practice[:PRACTICE_SHOWN],
        practice_count=len(practice),
        acting=acting,
        acts=certificate_screen.acts_on(acting, facts, today)
        if acting is not None and decides
        else (),
    )


def _told(answer: Answer) -> tuple[Standing, str, str]:
    return answer.standing, answer.certificate_number, answer.restriction


def _only_then(answer: Answer, then: Span | None) -> str:
    """What alone is allowed once the answer changes; in words where a restriction ends."""
    if then is None or then.standing is not Standing.CERTIFIED:
        return ""
    if then.restriction:
        return _("only: %(restriction)s") % {"restriction": then.restriction}
    return _("without a restriction") if answer.restriction else ""


def _answer_without_reason(
    line: Timeline, spans: Sequence[Span], day: date, reader: Reader
) -> Answer:
    """The answer for a reader to whom every lapse is one: it changes where the word does."""
    answer = line.on(day)
    if may_know(answer.standing, reader).reason:
        return answer
    [span] = [
        candidate
        for candidate in spans
        if candidate.first_day <= day <= (candidate.last_day or date.max)
    ]
    changes_on = span.last_day + timedelta(days=1) if span.last_day else None
    # Which of them it is, is nobody's to tell by comparing.
    return Answer(Standing.EXPIRED, "", "", Rule.PERIOD_OVER, (), changes_on)


def _end_without_kind(answer: Answer, spans: Sequence[Span], day: date) -> list[tuple[Any, date]]:
    """The last day of a yes, for whoever may not know what ends it."""
    if answer.standing is not Standing.CERTIFIED:
        return []
    otherwise_on = next(
        span.first_day
        for span in spans
        if span.first_day > day
        and (span.standing, span.restriction) != (answer.standing, answer.restriction)
    )
    return [(said.SEE_INSTRUCTOR, otherwise_on - timedelta(days=1))]


def _acting(rows: standing_facts.Rows, answer: Answer) -> Certificate | None:
    """The certificate from which acts begin: the one that answers, else the newest that stands."""
    standing_ones = [
        certificate for certificate in rows.certificates if not hasattr(certificate, "withdrawal")
    ]
    for certificate in standing_ones:
        if certificate.number == answer.certificate_number:
            return certificate
    return standing_ones[-1] if standing_ones else None


# The picture


@dataclass(frozen=True)
class LifeInFull:
    """How somebody stood from the first certificate on, drawn and in words."""

    spans: list[SpanLine]
    pictures: list[tuple[str, SafeString]]


def life_in_full(
    person: Person,
    scope: Scope,
    facts: Facts,
    *,
    day: date,
    today: date,
    known_at: datetime,
    ids: str = "",
) -> LifeInFull:
    """What the page shows of a life, as known at an instant, for whoever may know all of it.

    ``day`` is the one asked about; ``ids`` begins the ids within the pictures.
    """
    spans = spans_for(timeline(facts, known_at).spans, Reader.IN_FULL)
    rows = standing_facts.Rows.of(person, scope)
    life = _life(person, scope, spans, day, today, facts, known_at, rows)
    lines = [
        SpanLine(span, str(span.standing), said.reason_for(span.rule, Reader.IN_FULL))
        for span in spans
    ]
    return LifeInFull(lines, life_picture.pictures(life, ids))


def _life(
    person: Person,
    scope: Scope,
    spans: Sequence[Span],
    day: date,
    today: date,
    facts: Facts | None = None,
    known_at: datetime | None = None,
    rows: standing_facts.Rows | None = None,
) -> life_picture.Life:
    """The picture's contents; the band alone for a reader who may not know the facts."""
    reader = reader_for(in_full=facts is not None)
    bars = []
    for span in spans:
        key = may_know(span.standing, reader).standing
        shape, tone, word = STANDING_SYMBOLS[key]
        if span.restriction and span.standing is Standing.CERTIFIED:
            word = _("%(standing)s, restricted") % {"standing": word}
        bars.append(life_picture.Bar(span.first_day, span.last_day, key, str(word), shape, tone))
    names = {"name": person.full_name, "scope": scope}
    if facts is None or rows is None:
        title = _("Standing of %(name)s for %(scope)s over time. The table below it says the same.")
        return life_picture.Life(title % names, today, day, bars)
    kept = known(facts, known_at)
    title = _(
        "Standing of %(name)s for %(scope)s over time, above the certificates and events, vision "
        "tests and practice that it follows from. The tables below say the same."
    )
    asks_vision = any(fact.figures.vision_months for fact in kept.certificates)
    asks_practice = any(fact.figures.max_absence_months for fact in kept.certificates)
    return life_picture.Life(
        title % names,
        today,
        day,
        bars,
        _papers(rows, kept, known_at),
        _tests(kept) if asks_vision else None,
        [fact.performed_on for fact in kept.practice] if asks_practice else None,
    )


def _papers(
    rows: standing_facts.Rows, kept: Facts, known_at: datetime | None
) -> list[life_picture.Paper]:
    """Every certificate that was known, those withdrawn by then as such."""
    of: dict[str, CertificateHistory] = {
        history.certificate.number: history
        for history in certificate_histories(kept.certificates, kept.events)
    }
    removed = standing_facts.removals(rows.events)
    papers = []
    for certificate in rows.certificates:
        if known_at is not None and certificate.recorded_at > known_at:
            continue
        history = of.get(certificate.number)
        marks = []
        for event in rows.events:
            if event.certificate_id != certificate.pk or event.kind == CertificateEvent.Kind.VOIDED:
                continue
            if known_at is not None and event.recorded_at > known_at:
                continue
            by = removed.get(event.pk)
            shape, tone = MARKS[CertificateEvent.Kind(event.kind)]
            marks.append(
                life_picture.Mark(
                    event.effective_on,
                    shape,
                    tone,
                    f"{event.get_kind_display()} {format_day(event.effective_on)}",
                    is_gone=by is not None and (known_at is None or by.recorded_at <= known_at),
                )
            )
        through = history.period.valid_through if history else certificate.valid_through
        last_day = (history.good_through or certificate.issued_on) if history else through
        papers.append(
            life_picture.Paper(
                certificate.number,
                certificate.issued_on,
                through,
                last_day,
                tuple(marks),
                is_gone=history is None,
            )
        )
    return papers


def _tests(kept: Facts) -> list[life_picture.Test]:
    """Each test that counts, and through which day a pass keeps for the newest certificate."""
    asking = [fact for fact in kept.certificates if fact.figures.vision_months]
    months = max(
        asking, key=lambda certificate: (certificate.issued_on, certificate.number)
    ).figures.vision_months
    by_day = {
        test.tested_on: test
        for test in sorted(
            kept.vision_tests, key=lambda test: (test.tested_on, test.recorded_at, test.test_id)
        )
    }
    latest = list(by_day.values())
    tests = []
    for place, test in enumerate(latest):
        through = add_months(test.tested_on, months) if test.passed else None
        if through is not None and place + 1 < len(latest):
            through = min(through, latest[place + 1].tested_on - timedelta(days=1))
        tests.append(life_picture.Test(test.tested_on, through))
    return tests
