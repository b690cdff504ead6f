"""The operator's page: what I am certified for, until when, what next, and why a joint failed."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Q
from django.urls import reverse
from django.utils.translation import gettext as _

from assessments.models import Board, Judgement
from assessments.services import outcomes
from training.models import Person

from . import register
from .domain.answers import Standing
from .models import Proposal, StandingEnd

FAULTS_SHOWN = 3


@dataclass(frozen=True, slots=True)
class Next:
    """One thing to do, the most urgent first; a day only where there is one."""

    title: str
    text: str
    by: date | None = None
    url: str = ""
    link: str = ""


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
    boards_at_bench: list[Board]


def card_of(person: Person, day: date) -> Card:
    asked = register.Asked(day=day)
    people = register.with_spans(Person.objects.filter(pk=person.pk), asked)
    lines = [
        one for one in register.lines_of(people.get(), asked, in_full=True) if one.scope is not None
    ]
    at_bench = list(
        Board.objects.filter(person=person, handed_in_at__isnull=True, disposed_at__isnull=True)
        .with_list_columns()
        .order_by("handed_out_on", "number")
    )
    board, faults = latest_faults(person)
    return Card(
        person=person,
        day=day,
        next=_what_next(person, day, lines, at_bench),
        scopes=[_on_card(line, day) for line in lines],
        proposals=list(person.proposals.open().select_related("scope")),
        faulty_board=board,
        faults=faults[:FAULTS_SHOWN],
        more_faults=max(len(faults) - FAULTS_SHOWN, 0),
        boards_at_bench=at_bench,
    )


def latest_faults(person: Person) -> tuple[Board | None, list[Judgement]]:
    """The newest board judged to the end on which something was rejected, and what that was."""
    board = (
        Board.objects.filter(person=person, outcome__complete=True)
        .filter(Q(outcome__joints_rejected__gt=0) | Q(outcome__score__lt=100))
        .with_list_columns()
        .order_by("-outcome__decided_at")
        .first()
    )
    if board is None:
        return None, []
    reading = outcomes.read_board(board)
    faults = [said for one in reading.joints for said in one.rejections]
    if reading.board is not None:
        faults += reading.board.rejections
    severity = {"critical": 0, "major": 1, "minor": 2}
    faults.sort(key=lambda said: severity[said.criterion.severity])
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
    figures = line.certificate.figures
    vision, gap = figures.get("vision_months"), figures.get("max_absence_months")
    if vision and gap:
        return _(
            "If your vision test stays current and no %(months)d months go by without such work."
        ) % {"months": gap}
    if vision:
        return _("If your vision test stays current.")
    if gap:
        return _("If no %(months)d months go by without such work.") % {"months": gap}
    return ""


def _what_next(
    person: Person, day: date, lines: list[register.Line], at_bench: list[Board]
) -> list[Next]:
    things = [*_broken(lines), *_ending(person, day, lines)]
    for board in at_bench:
        things.append(
            Next(
                title=_("Board %(number)s") % {"number": board.number},
                text=_("%(exercise)s. Make it, then hand it in.") % {"exercise": board.exercise},
                url=reverse("assessments:board_detail", args=[board.number]),
                link=_("Open the board"),
            )
        )
    if things:
        return things
    ends = [line.next_end.last_day for line in lines if line.next_end]
    if ends:
        return [
            Next(
                title=_("Nothing for now"),
                text=_("The next thing that ends is far enough away. You will get a reminder."),
                by=min(ends),
            )
        ]
    waiting = Board.objects.filter(person=person).waiting().count()
    if waiting:
        return [
            Next(
                title=_("Wait for your result"),
                text=_("Your instructor has your work and is judging it."),
            )
        ]
    return [
        Next(
            title=_("See your instructor"),
            text=_("You have no certificate and no board yet. Ask which exercise comes first."),
        )
    ]


def _broken(lines: list[register.Line]) -> list[Next]:
    """What has already stopped, and the one thing that starts it again."""
    things = []
    blind = [
        line.scope.title
        for line in lines
        if line.standing == Standing.VISION_NOT_CURRENT and line.scope
    ]
    if blind:
        things.append(
            Next(
                title=_("Vision test"),
                text=_("Until you pass one you may not do: %(scopes)s.")
                % {"scopes": ", ".join(blind)},
            )
        )
    for line in lines:
        scope = line.scope.title if line.scope else ""
        if line.standing in (Standing.EXPIRED, Standing.PRACTICE_LAPSED):
            why = (
                _("Your certificate for %(scope)s has ended.")
                if line.standing == Standing.EXPIRED
                else _("You have not done %(scope)s for too long, so your certificate has ended.")
            )
            things.append(
                Next(
                    title=_("Re-certification"),
                    text=why % {"scope": scope} + " " + _("See your instructor for a board."),
                )
            )
        if line.standing == Standing.SUSPENDED:
            things.append(
                Next(
                    title=_("See your instructor"),
                    text=_("Your certificate for %(scope)s is suspended.") % {"scope": scope},
                )
            )
    return things


def _ending(person: Person, day: date, lines: list[register.Line]) -> list[Next]:
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
        after = last_day + timedelta(days=1)
        text = _("Without it these stop on %(day)s: %(scopes)s.")
        if kind == StandingEnd.Kind.PRACTICE:
            text = _("With none recorded, these stop on %(day)s: %(scopes)s.")
        things.append(
            Next(
                title=titles[StandingEnd.Kind(kind)],
                text=text % {"day": f"{after:%-d %b %Y}", "scopes": ", ".join(scopes)},
                by=last_day,
            )
        )
    return things
