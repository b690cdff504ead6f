"""The operator's page: what I am certified for, until when, what next, and why a joint failed."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Exists, OuterRef, Q
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments.models import Board, Judgement
from assessments.queries import board_results
from certification.domain.answers import Standing
from certification.models import Proposal, StandingEnd
from people.models import Person
from people.presenters.days import format_page_day
from training.models import Enrolment
from training.queries.classes import class_days

from . import register

FAULTS_SHOWN = 3


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


@dataclass(frozen=True, slots=True)
class Life:
    """How far a certificate has run, in units of 400, for the line that shows it."""

    today: float

    @classmethod
    def of(cls, issued_on: date, through: date, today: date) -> "Life":
        whole = max((through - issued_on).days, 1)
        gone = min(max((today - issued_on).days, 0), whole)
        return cls(round(gone / whole * 400, 1))


@dataclass(frozen=True, slots=True)
class ScopeOnCard:
    line: register.Line
    life: Life | None
    conditions: str


@dataclass(frozen=True, slots=True)
class Card:
    """Everything on the page; `next` is never empty."""

    person: Person
    day: date
    next: list[Next]
    scopes: list[ScopeOnCard]
    proposals: list[Proposal]
    faulty_board: Board | None
    faults: list[Judgement]
    more_faults: int


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
    return Card(
        person=person,
        day=day,
        next=_what_next(person, day, lines, proposals),
        scopes=[_on_card(line, day) for line in lines],
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


def _on_card(line: register.Line, day: date) -> ScopeOnCard:
    certificate = line.certificate
    life = None
    if certificate is not None and line.through is not None and line.standing == "certified":
        life = Life.of(certificate.issued_on, line.through, day)
    return ScopeOnCard(line, life, _conditions(line))


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
            _("Not done for too long, so ended: %(scopes)s. See your instructor for a board."),
        ),
    }
    for standing, (title, text) in words.items():
        if scopes := stopped.get(standing):
            things.append(Next(title=title, text=text % {"scopes": "; ".join(scopes)}))
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
            )
        )
    return things
