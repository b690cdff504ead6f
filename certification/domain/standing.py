"""Standing: what the register says of one person, one scope, one day.

Give everything recorded of a person and a scope to `timeline`, and ask it about any day.
"""

from bisect import bisect_right, insort
from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta

from .answers import (
    DECIDING,
    UNKNOWN_PERSON,
    Answer,
    End,
    EndKind,
    Rule,
    Span,
    Standing,
)
from .facts import (
    ALWAYS_KNOWN,
    CertificateFact,
    EventFact,
    EventKind,
    ExpiryRule,
    Facts,
    PracticeFact,
    SchemeFigures,
    VisionFact,
    known,
)
from .periods import (
    CertificateHistory,
    Period,
    certificate_histories,
    in_renewal_window,
    valid_through,
)
from .upkeep import PracticeRecord, VisionRecord

__all__ = [
    "ALWAYS_KNOWN",
    "UNKNOWN_PERSON",
    "Answer",
    "CertificateFact",
    "End",
    "EndKind",
    "EventFact",
    "EventKind",
    "ExpiryRule",
    "Facts",
    "History",
    "Period",
    "PracticeFact",
    "Rule",
    "SchemeFigures",
    "Span",
    "Standing",
    "Timeline",
    "VisionFact",
    "in_renewal_window",
    "timeline",
    "valid_through",
]


def timeline(facts: Facts, known_at: datetime | None = None) -> "Timeline":
    """Work out the standing of one person for one scope, for every day.

    Parameters
    ----------
    facts : Facts
        In any order.
    known_at : datetime or None
        Use only what was recorded at or before this instant. None uses everything.

    Returns
    -------
    Timeline

    Examples
    --------
    >>> from datetime import UTC
    >>> turret = CertificateFact(
    ...     "CA-C-00012",
    ...     SchemeFigures(validity_months=24),
    ...     issued_on=date(2024, 2, 29),
    ...     renews="",
    ...     recorded_at=datetime(2024, 2, 29, 15, 0, tzinfo=UTC),
    ... )
    >>> found = timeline(Facts([turret]))
    >>> found.on(date(2026, 2, 28)).standing.value
    'certified'
    >>> found.on(date(2026, 3, 1)).standing.value
    'expired'
    """
    facts = known(facts, known_at)
    return Timeline(
        certificate_histories(facts.certificates, facts.events),
        VisionRecord(facts.vision_tests),
        PracticeRecord(facts.practice),
    )


class History:
    """The same facts as known at different instants, each state worked out once.

    Parameters
    ----------
    facts : Facts
        All facts of one person and one scope.
    """

    __slots__ = ("_facts", "_instants", "_timelines")

    def __init__(self, facts: Facts) -> None:
        instants = {event.recorded_at for event in facts.events}
        for withdrawable in (facts.certificates, facts.vision_tests, facts.practice):
            for fact in withdrawable:
                instants.add(fact.recorded_at)
                if fact.withdrawn_at is not None:
                    instants.add(fact.withdrawn_at)
        self._facts = facts
        self._instants = sorted(instants)
        self._timelines: dict[int | None, Timeline] = {}

    def as_known_at(self, known_at: datetime | None = None) -> "Timeline":
        """Return `timeline` for an instant; None is everything that is recorded."""
        state = None if known_at is None else bisect_right(self._instants, known_at)
        if state not in self._timelines:
            self._timelines[state] = timeline(self._facts, known_at)
        return self._timelines[state]


class Timeline:
    """The standing of one person for one scope on every day.

    Made by `timeline`.

    Attributes
    ----------
    spans : tuple of Span
        From the day the first certificate was issued on, without gaps; the last is open.
        Empty where there is no certificate. On all days before: never certified.
    """

    __slots__ = (
        "_changes",
        "_changes_on",
        "_first_days",
        "_histories",
        "_practice",
        "_rests_through",
        "_spans",
        "_vision",
    )

    def __init__(
        self,
        of_certificates: Iterable[CertificateHistory],
        vision: VisionRecord,
        practice: PracticeRecord,
    ) -> None:
        self._histories = list(of_certificates)
        if len(self._histories) > 1:
            self._histories.sort(
                key=lambda history: (history.certificate.issued_on, history.certificate.number)
            )
        self._vision = vision
        self._practice = practice
        self._rests_through = [
            practice.last_good_day(history.certificate.issued_on, months)[0] if months else None
            for history in self._histories
            for months in [history.certificate.figures.max_absence_months]
        ]
        self._changes = self._make_changes()
        self._first_days: list[date] | None = None
        self._spans: tuple[Span, ...] | None = None
        self._changes_on: list[date | None] | None = None

    @property
    def spans(self) -> tuple[Span, ...]:
        # Made when first asked for: whoever looks up a million days needs the changes alone.
        if self._spans is None:
            self._spans = self._make_spans()
        return self._spans

    def changes(self) -> Iterator[tuple[date, Rule, str]]:
        """The first day of each span, its rule and certificate: the quick way to all of them."""
        histories = self._histories
        for day, place, rule, _restriction in self._changes:
            yield day, rule, histories[place].certificate.number

    def _index(self, day: date) -> int:
        if self._first_days is None:
            self._first_days = [change[0] for change in self._changes]
        return bisect_right(self._first_days, day) - 1

    def _before(self) -> Span:
        last_day = self._changes[0][0] - timedelta(days=1) if self._changes else None
        return Span(
            date.min, last_day, Standing.NEVER_CERTIFIED, "", "", Rule.NO_CERTIFICATE, date.min
        )

    def span_on(self, day: date) -> Span:
        """Return the span that a day lies in: the quick way to a standing alone."""
        index = self._index(day)
        return self.spans[index] if index >= 0 else self._before()

    def on(self, day: date) -> Answer:
        """Return the answer for a day, with everything it rests on."""
        index = self._index(day)
        if index < 0:
            span, changes_on = self._before(), self._changes[0][0] if self._changes else None
        else:
            if self._changes_on is None:
                self._changes_on = _changes_on(self.spans)
            span, changes_on = self.spans[index], self._changes_on[index]
        return Answer(
            span.standing,
            span.certificate_number,
            span.restriction,
            span.rule,
            self._facts_used(day, index),
            changes_on,
        )

    def ends_after(self, day: date) -> tuple[End, ...]:
        """Return what will end, by itself, the standing that somebody has on a day.

        Each end is worked out on its own, so one may lie beyond another. All days of a
        span have the same ends.

        Parameters
        ----------
        day : date

        Returns
        -------
        tuple of End
            Ordered by last day; empty unless the person is certified on the day.
        """
        span = self.span_on(day)
        if span.standing != Standing.CERTIFIED:
            return ()
        history = self._history(span.certificate_number)
        number, figures = history.certificate.number, history.certificate.figures
        ends = [End(EndKind.CERTIFICATE, history.last_day, f"certificate:{number}")]
        if figures.vision_months:
            last_day, test = self._vision.last_good_day(day, figures.vision_months)
            ends.append(End(EndKind.VISION, last_day, f"vision:{test.test_id}"))
        if figures.max_absence_months:
            last_day, rests_from = self._practice.last_good_day(
                history.certificate.issued_on, figures.max_absence_months
            )
            ends.append(End(EndKind.PRACTICE, last_day, f"practice:{number}:{rests_from}"))
        return tuple(sorted(ends, key=lambda end: (end.last_day, end.kind)))

    def good_through(self, day: date) -> date | None:
        """Return the last day of the certificate that answers for a day, whatever it says.

        After everything that extended, ended or revoked it; None where there is none. All
        days of a span have the same.
        """
        number = self.span_on(day).certificate_number
        return self._history(number).good_through if number else None

    def _history(self, number: str) -> CertificateHistory:
        return next(history for history in self._histories if history.certificate.number == number)

    def _make_changes(self) -> list[tuple[date, int, Rule, str]]:
        """Walk through the days on which any certificate changes, the earliest first.

        Certificates go by their place, the newest last. ``deciding`` holds, in order, the
        places of those that let no older one answer.

        Returns
        -------
        list of tuple
            The first day of each span, the place of the certificate that answers, its rule
            and its restriction.
        """
        if len(self._histories) == 1:
            return [(day, 0, rule, only) for day, rule, only in self._changes_of(0)]
        changes: dict[date, list[tuple[int, Rule, str]]] = defaultdict(list)
        for place in range(len(self._histories)):
            for day, rule, restriction in self._changes_of(place):
                changes[day].append((place, rule, restriction))
        rules: dict[int, Rule] = {}
        restrictions: dict[int, str] = {}
        deciding: list[int] = []
        answers: list[tuple[date, int, Rule, str]] = []
        for day in sorted(changes):
            for place, rule, restriction in changes[day]:
                decided = rules.get(place) in DECIDING
                rules[place], restrictions[place] = rule, restriction
                if rule in DECIDING and not decided:
                    insort(deciding, place)
                elif decided and rule not in DECIDING:
                    deciding.remove(place)
            # Places are issued in turn, so the newest issued by this day is the last of them.
            answering = deciding[-1] if deciding else len(rules) - 1
            answer = answering, rules[answering], restrictions[answering]
            if not answers or answers[-1][1:] != answer:
                answers.append((day, *answer))
        return answers

    def _make_spans(self) -> tuple[Span, ...]:
        spans = []
        before: tuple[int, Rule] | None = None
        stands_since = date.min
        for index, (first_day, answering, rule, restriction) in enumerate(self._changes):
            if (answering, rule) != before:
                before, stands_since = (answering, rule), first_day
            following = self._changes[index + 1][0] if index + 1 < len(self._changes) else None
            spans.append(
                Span(
                    first_day,
                    following - timedelta(days=1) if following else None,
                    rule.standing,
                    self._histories[answering].certificate.number,
                    restriction,
                    rule,
                    stands_since,
                )
            )
        return tuple(spans)

    def _changes_of(self, place: int) -> Iterator[tuple[date, Rule, str]]:
        """What one certificate says by itself: rule and restriction, each from its first day."""
        history = self._histories[place]
        issued_on, figures = history.certificate.issued_on, history.certificate.figures
        days = history.days_of_change()
        if figures.vision_months:
            days += self._vision.days_of_change(issued_on, history.last_day, figures.vision_months)
        rests_through = self._rests_through[place]
        if rests_through is not None and rests_through < history.last_day:
            days.append(rests_through + timedelta(days=1))
        days.append(issued_on)
        days.sort()
        restriction, before = history.certificate.restriction, None
        asked: date | None = None
        for day in days:
            if day < issued_on or day == asked:
                continue
            asked, rule = day, self._rule_on(place, day)
            if history.restrictions:
                restriction = history.restriction_on(day)
            if (rule, restriction) != before:
                yield day, rule, restriction
                before = rule, restriction

    def _rule_on(self, place: int, day: date) -> Rule:
        """The first rule that applies to one certificate on a day."""
        history = self._histories[place]
        if history.revoked_on is not None and history.revoked_on <= day:
            return Rule.REVOKED
        if history.suspensions and history.suspension_on(day):
            return Rule.SUSPENDED
        if day > history.last_day:
            if not history.moved_by:
                return Rule.PERIOD_OVER
            ended = history.moved_by[-1].kind == EventKind.ENDED
            return Rule.ENDED if ended else Rule.EXTENSION_OVER
        months = history.certificate.figures.vision_months
        if months and not self._vision.is_current_on(day, months):
            test = self._vision.test_on(day)
            if test is None:
                return Rule.NO_VISION_TEST
            return Rule.VISION_TOO_OLD if test.passed else Rule.VISION_FAILED
        rests_through = self._rests_through[place]
        if rests_through is not None and day > rests_through:
            return Rule.PRACTICE_GAP
        return Rule.WITHIN_PERIOD if day <= history.unextended_through else Rule.WITHIN_EXTENSION

    def _facts_used(self, day: date, index: int) -> tuple[str, ...]:
        """What the certificates rest on that had to be asked about a day, newest first.

        After them the event that restricts the one that answers, in the span at ``index``.
        """
        used: dict[str, None] = {}
        issued = bisect_right(
            self._histories, day, key=lambda history: history.certificate.issued_on
        )
        for place in reversed(range(issued)):
            rule = self._rule_on(place, day)
            used.update(dict.fromkeys(self._facts_behind(place, day, rule)))
            if rule in DECIDING:
                break
        if index >= 0 and (event := self._histories[self._changes[index][1]].restricted_by(day)):
            used[f"event:{event.event_id}"] = None
        return tuple(used)

    def _facts_behind(self, place: int, day: date, rule: Rule) -> Iterator[str]:
        """What one certificate rests on in what it says about a day."""
        history = self._histories[place]
        certificate, figures = history.certificate, history.certificate.figures
        yield f"certificate:{certificate.number}"
        if rule == Rule.REVOKED and history.revoked_by:
            yield f"event:{history.revoked_by.event_id}"
            return
        if rule == Rule.SUSPENDED and (suspension := history.suspension_on(day)):
            yield from (f"event:{fact.event_id}" for fact in suspension.by(day))
            return
        earlier = history.period.runs_on_from
        while earlier:
            yield f"certificate:{earlier}"
            earlier = self._history(earlier).period.runs_on_from
        if day > history.unextended_through:
            yield from (f"event:{fact.event_id}" for fact in history.moved_by)
        if day > history.last_day:
            return
        if figures.vision_months and (test := self._vision.test_on(day)):
            yield f"vision:{test.test_id}"
        if figures.max_absence_months and rule.standing != Standing.VISION_NOT_CURRENT:
            walk = self._practice.walk(certificate.issued_on, figures.max_absence_months, day)
            yield from (f"practice:{step}" for step in walk)


def _changes_on(spans: tuple[Span, ...]) -> list[date | None]:
    """For each span the first later day with another standing, certificate or restriction."""
    last_days: list[date | None] = []
    following: Span | None = None
    changes_on: date | None = None
    for span in reversed(spans):
        if following and _said(span) != _said(following):
            changes_on = following.first_day
        last_days.append(changes_on)
        following = span
    last_days.reverse()
    return last_days


def _said(span: Span) -> tuple[Standing, str, str]:
    return span.standing, span.certificate_number, span.restriction
