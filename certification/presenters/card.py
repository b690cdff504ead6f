"""The operator's page: what I am certified for, until when, what next, and why a joint failed."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Exists, OuterRef, Q
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments.models import Board, Judgement, Paper
from assessments.queries import board_results
from certification.domain.answers import Standing
from certification.models import Proposal, Scope, StandingEnd
from people.models import Person
from people.presenters.days import format_page_day
from training.models import ClassSession, Enrolment
from training.queries.classes import class_days

from . import register
from .path_picture import PathShown, paths_ahead
from .rights import Right, classes_of, last_vision_test, last_work, rights_of

FAULTS_SHOWN = 3


CURED_BY_CLASS = (Standing.EXPIRED, Standing.PRACTICE_LAPSED)


@dataclass(frozen=True, slots=True)
class Next:
    """One thing to do, the most urgent first; a day only where there is one."""

    title: str
    text: str
    by: date | None = None
    url: str = ""
    link: str = ""
    is_on_the_day: bool = False
    at_site: bool = False
    can_wait: bool = False


@dataclass(frozen=True, slots=True)
class Life:
    """How far a certificate has run and the right to the work runs, in units of 400."""

    today: float
    right: float

    @classmethod
    def of(cls, issued_on: date, through: date, right: date, today: date) -> "Life":
        whole = max((max(through, right) - issued_on).days, 1)

        def place(day: date) -> float:
            return round(min(max((day - issued_on).days, 0), whole) / whole * 400, 1)

        return cls(place(today), place(right))


@dataclass(frozen=True, slots=True)
class ScopeOnCard:
    """One kind of work: through which day the right to it runs, and what bears on that."""

    line: register.Line
    right: Right | None
    life: Life | None
    conditions: str
    renewable_from: date | None
    vision_tested_on: date | None
    worked_on: date | None
    class_session: ClassSession | None


@dataclass(frozen=True, slots=True)
class Card:
    """Everything on the page; `next` is never empty."""

    person: Person
    day: date
    next: list[Next]
    scopes: list[ScopeOnCard]
    paths: list[PathShown]
    proposals: list[Proposal]
    faulty_board: Board | None
    faults: list[Judgement]
    more_faults: int

    @property
    def is_quiet(self) -> bool:
        """Whether nothing is to be done, so that the days of the rights lead the page."""
        return self.next[0].can_wait


def card_of(person: Person, day: date) -> Card:
    filters = register.RegisterFilters(day=day)
    people = register.with_spans(None, Person.objects.filter(pk=person.pk), filters)
    lines = [
        line
        for line in register.lines_of(people.get(), filters, in_full=True)
        if line.scope is not None
    ]
    proposals = list(person.proposals.open().select_related("scope"))
    board, faults = latest_faults(person)
    rights = rights_of(person, day)
    tested_on, worked_on = last_vision_test(person), last_work(person)
    scopes = [line.scope for line in lines if line.scope is not None]
    classes = classes_of(person, scopes, day)
    return Card(
        person=person,
        day=day,
        next=_what_next(person, day, lines, proposals),
        scopes=[
            _on_card(line, line.scope, day, rights, tested_on, worked_on, classes)
            for line in lines
            if line.scope is not None
        ],
        paths=paths_ahead(person, day),
        proposals=proposals,
        faulty_board=board,
        faults=faults[:FAULTS_SHOWN],
        more_faults=max(len(faults) - FAULTS_SHOWN, 0),
    )


def latest_faults(person: Person) -> tuple[Board | None, list[Judgement]]:
    """The newest board with something rejected, and what that was.

    One that was made again since without a fault is behind them.
    """
    judged = Board.objects.filter(person=person, outcome__complete=True)
    made_better = judged.filter(
        exercise__code=OuterRef("exercise__code"),
        outcome__decided_at__gt=OuterRef("outcome__decided_at"),
        outcome__joints_rejected=0,
        outcome__score=100,
    )
    board = (
        judged.filter(Q(outcome__joints_rejected__gt=0) | Q(outcome__score__lt=100))
        .filter(~Exists(made_better))
        .with_list_columns()
        .order_by("-outcome__decided_at")
        .first()
    )
    if board is None:
        return None, []
    reading = board_results.read_board(board)
    faults = [judgement for joint in reading.joints for judgement in joint.rejections]
    if reading.board is not None:
        faults += reading.board.rejections
    severity = {"critical": 0, "major": 1, "minor": 2}
    faults.sort(key=lambda judgement: severity[judgement.criterion.severity])
    return board, faults


def _on_card(
    line: register.Line,
    scope: Scope,
    day: date,
    rights: dict[int, Right],
    tested_on: date | None,
    worked_on: dict[str, date],
    classes: dict[str, ClassSession],
) -> ScopeOnCard:
    certificate = line.certificate
    right = rights.get(scope.pk)
    life, renewable_from = None, None
    if certificate is not None and line.through is not None and right is not None:
        life = Life.of(certificate.issued_on, line.through, right.last_day or line.through, day)
        window = certificate.scheme_revision.renewal_window_days
        if window and line.through >= certificate.valid_through:
            renewable_from = certificate.valid_through - timedelta(days=window)
    return ScopeOnCard(
        line=line,
        right=right,
        life=life,
        conditions=_conditions(line),
        renewable_from=renewable_from,
        vision_tested_on=tested_on,
        worked_on=worked_on.get(scope.code),
        class_session=classes.get(scope.code),
    )


def _conditions(line: register.Line) -> str:
    """What has to go on being true, in a sentence; empty where the standing is gone already."""
    if line.span is None or line.certificate is None or line.standing != Standing.CERTIFIED:
        return ""
    revision = line.certificate.scheme_revision
    vision, gap = revision.vision_months, revision.max_absence_months
    if not gap:
        return _("If your vision test stays current.") if vision else ""
    if vision:
        text = ngettext(
            "If your vision test stays current and no month goes by without such work.",
            "If your vision test stays current and no %(n)d months go by without such work.",
            gap,
        )
    else:
        text = ngettext(
            "If no month goes by without such work.",
            "If no %(n)d months go by without such work.",
            gap,
        )
    return text % {"n": gap}


def _what_next(
    person: Person, day: date, lines: list[register.Line], proposals: list[Proposal]
) -> list[Next]:
    things = [
        *_broken(lines),
        *sorted([*_ending(day, lines), *_classes(person, day)], key=lambda line: line.by or day),
        *_boards(person),
        *_papers(person, day),
    ]
    return things or [_nothing_to_do(person, lines, proposals)]


def _boards(person: Person) -> list[Next]:
    return [
        Next(
            title=_("Board %(number)s") % {"number": board.number},
            text=_("%(exercise)s. Make it, then hand it in.") % {"exercise": board.exercise},
            url=reverse("assessments:board_detail", args=[board.number]),
            link=_("Open the board"),
        )
        for board in person.boards.at_the_bench().select_related("exercise")
    ]


def _papers(person: Person, day: date) -> list[Next]:
    """Written tests that are handed out and not ended; those on paper are brought."""
    papers = Paper.objects.standing().filter(person=person, end__isnull=True, medium="screen")
    return [
        Next(
            title=_("Written test"),
            text=_("%(test)s, from %(day)s on.")
            % {"test": paper.test.title, "day": format_page_day(paper.not_before)}
            if paper.not_before > day
            else _("%(test)s. Take it where nobody disturbs you.") % {"test": paper.test.title},
            url=reverse("assessments:paper_detail", args=[paper.number]),
            link=_("Open the test"),
        )
        for paper in papers.select_related("test").order_by("not_before", "pk")
    ]


def _classes(person: Person, day: date) -> list[Next]:
    """Classes that begin within the coming weeks, or are being held."""
    enrolments = Enrolment.objects.filter(
        person=person, session__ends_on__gte=day, session__starts_on__lte=day + register.SOON
    ).select_related("session__course_revision__course", "session__site")
    enrolments = enrolments.prefetch_related("session__days")
    return [
        Next(
            title=_("Class"),
            text=_("%(course)s, at %(place)s.")
            % {
                "course": enrolment.session.course_revision.course.title,
                "place": enrolment.session.room or enrolment.session.site.name,
            },
            by=next(held for held in class_days(enrolment.session) if held >= day),
            is_on_the_day=True,
            url=reverse("training:class_detail", args=[enrolment.session.number]),
            link=_("Open the class"),
        )
        for enrolment in enrolments
    ]


def _nothing_to_do(person: Person, lines: list[register.Line], proposals: list[Proposal]) -> Next:
    """What to say to somebody who has to do nothing, or can do nothing without being told."""
    if person.boards.waiting().exists():
        return Next(
            title=_("Wait for your result"),
            text=_("Your instructor has your work and is judging it."),
        )
    if proposals:
        return Next(
            title=_("Wait for quality"),
            text=_("Your instructor has proposed you. Quality decides, and it stands here then."),
        )
    ends = [line.next_end for line in lines if line.next_end]
    if ends:
        first = min(ends, key=lambda end: end.last_day)
        words = {
            StandingEnd.Kind.CERTIFICATE: _("The first thing to end is a certificate, on %(day)s."),
            StandingEnd.Kind.VISION: _("The first thing to end is your vision test, on %(day)s."),
            StandingEnd.Kind.PRACTICE: _(
                "Go on doing the work: with none recorded, the first stops after %(day)s."
            ),
        }[StandingEnd.Kind(first.kind)]
        return Next(
            title=_("Nothing for now"),
            can_wait=True,
            text=" ".join(
                [words % {"day": format_page_day(first.last_day)}, _("You will get a reminder.")]
            ),
        )
    text = _("You have no certificate and no board yet. Ask which exercise comes first.")
    if person.boards.exists():
        text = _("No board is in your hands. Ask which exercise comes next.")
    return Next(title=_("See your instructor"), text=text)


def _broken(lines: list[register.Line]) -> list[Next]:
    """What has already stopped, and the one thing that starts it again."""
    things = []
    stopped: dict[str, list[str]] = {}
    for line in lines:
        if line.scope is not None:
            stopped.setdefault(line.standing, []).append(line.scope.title)
    if scopes := stopped.get(Standing.VISION_NOT_CURRENT):
        things.append(
            Next(
                title=_("Vision test"),
                text=_("Until you pass one you may not do: %(scopes)s.")
                % {"scopes": "; ".join(scopes)},
                at_site=True,
            )
        )
    words = {
        Standing.SUSPENDED: (
            _("See your instructor"),
            _("Suspended: %(scopes)s. Until somebody reinstates it you may not do such work."),
        ),
        Standing.REVOKED: (
            _("See your instructor"),
            _("Revoked: %(scopes)s. Only a new certificate lets you do such work again."),
        ),
        Standing.EXPIRED: (
            _("Re-certification"),
            _("Ended: %(scopes)s. See your instructor for a board."),
        ),
        Standing.PRACTICE_LAPSED: (
            _("Re-certification"),
            _(
                "No qualifying work recorded for too long, so ended: %(scopes)s. "
                "See your instructor for a board."
            ),
        ),
    }
    for standing, (title, text) in words.items():
        if scopes := stopped.get(standing):
            things.append(
                Next(
                    title=title,
                    text=text % {"scopes": "; ".join(scopes)},
                    url=reverse("training:class_offers") if standing in CURED_BY_CLASS else "",
                    link=_("Classes to come") if standing in CURED_BY_CLASS else "",
                )
            )
    return things


def _ending(day: date, lines: list[register.Line]) -> list[Next]:
    """What ends within the coming weeks, each end once with the scopes that stop."""
    ends: dict[tuple[date, str], list[str]] = {}
    for line in lines:
        if line.standing != Standing.CERTIFIED or line.span is None or line.scope is None:
            continue
        for end in line.span.ends.all():
            if end.last_day <= day + register.SOON:
                ends.setdefault((end.last_day, end.kind), []).append(line.scope.title)
    titles = {
        StandingEnd.Kind.VISION: _("Vision test"),
        StandingEnd.Kind.CERTIFICATE: _("Re-certification"),
        StandingEnd.Kind.PRACTICE: _("Do some of this work"),
    }
    things = []
    for (last_day, kind), scopes in sorted(ends.items()):
        text = _("Without it these stop on %(day)s: %(scopes)s.")
        by_class = kind == StandingEnd.Kind.CERTIFICATE
        if kind == StandingEnd.Kind.PRACTICE:
            text = _("With none recorded, these stop on %(day)s: %(scopes)s.")
        things.append(
            Next(
                title=titles[StandingEnd.Kind(kind)],
                text=text
                % {
                    "day": format_page_day(last_day + timedelta(days=1)),
                    "scopes": "; ".join(scopes),
                },
                by=last_day,
                at_site=kind != StandingEnd.Kind.PRACTICE,
                url=reverse("training:class_offers") if by_class else "",
                link=_("Classes to come") if by_class else "",
            )
        )
    return things
