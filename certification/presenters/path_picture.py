"""The way to a certificate as a line of stops, and what counts next in one sentence."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from certification.domain.path import Path, State, Station, next_station
from certification.models import Proposal, SchemeRevision, Scope
from certification.queries.needs import needs
from certification.queries.path_sentences import Names, course_key, why_not_yet
from certification.queries.requirements import (
    Candidate,
    Requirement,
    candidate,
    requirements_of,
    unmet,
    ways_of,
)
from certification.queries.schemes_in_force import asking_for_boards
from people.models import Person
from people.presenters.days import format_page_day

DONE, NOW, WAIT, AGAIN, TO_DO = "done", "now", "wait", "again", "to-do"
LOOKS = {
    State.MET: DONE,
    State.AT_HAND: NOW,
    State.NEXT: NOW,
    State.WAITING: WAIT,
    State.RETRAINING: AGAIN,
    State.NOT_YET: TO_DO,
}


@dataclass(frozen=True, slots=True)
class Stop:
    """One thing on the way: how it looks, the word for that, and what there is of it."""

    title: str
    look: str
    word: str
    detail: str = ""
    url: str = ""


@dataclass(frozen=True, slots=True)
class PathShown:
    """The way of one person to one certificate.

    ``sentence`` says what counts next; ``met`` of ``asked`` things are there.
    """

    scope: Scope
    revision: SchemeRevision
    stops: Sequence[Stop]
    sentence: str
    met: int
    asked: int


def paths_ahead(person: Person, day: date) -> list[PathShown]:
    """The ways that somebody is on: what has ended, what ends soon, what they have begun."""
    needed = [need.scope_code for need in needs(person, day)]
    if not needed:
        return []
    asked = {one.scope.code: one for one in asking_for_boards()}
    candidates = [
        candidate(person, asked[code].scope, asked[code].revision, day)
        for code in needed
        if code in asked
    ]
    proposals = set(Proposal.objects.open().filter(person=person).values_list("scope", flat=True))
    ways, names = ways_of(candidates)
    return [
        shown(one, lines, way, names, is_proposed=one.scope.pk in proposals)
        for one, lines, way in zip(candidates, requirements_of(candidates), ways, strict=True)
    ]


def path_shown(one: Candidate, lines: Sequence[Requirement], *, is_proposed: bool) -> PathShown:
    """The way of one candidate whose requirements were read already."""
    [way], names = ways_of([one])
    return shown(one, lines, way, names, is_proposed=is_proposed)


def shown(
    one: Candidate,
    lines: Sequence[Requirement],
    way: Path,
    names: Names,
    *,
    is_proposed: bool,
) -> PathShown:
    stations = way.stations(one.day)
    stops: list[Stop] = []
    courses: set[str] = set()
    for station in stations:
        course = station.asked.after_course
        if course and course not in courses:
            courses.add(course)
            stops.append(_course(way, course, names, one.day))
        stops.append(_exercise(way, station, names))
    others = [line for line in lines if not line.exercise_code]
    stops += [
        Stop(line.text, DONE if line.met else NOW, _("met") if line.met else _("missing"),
             "" if line.met else line.next)
        for line in others
    ]  # fmt: skip
    missing = unmet(lines)
    stops.append(_certificate(one.scope, is_met=not missing, is_proposed=is_proposed))
    return PathShown(
        scope=one.scope,
        revision=one.revision,
        stops=stops,
        sentence=_sentence(way, stations, others, names, is_proposed=is_proposed),
        met=len(lines) - len(missing),
        asked=len(lines),
    )


def _course(way: Path, code: str, names: Names, day: date) -> Stop:
    title = names.get(course_key(code), code)
    attended = min(way.record.courses.get(code, ()), default=None)
    if attended is None or attended > day:
        return Stop(title, NOW, _("to attend"), _("on all of its days"))
    return Stop(title, DONE, _("attended"), format_page_day(attended))


def _exercise(way: Path, station: Station, names: Names) -> Stop:
    asked, hindrance = station.asked, station.hindrance
    url, detail = "", _passed(station)
    match station.state:
        case State.MET:
            word = _("met")
        case State.AT_HAND:
            board = way.board(hindrance.code) if hindrance else None
            word = _("being judged") if board and board.is_handed_in else _("at the bench")
            if board:
                detail, url = board.number, reverse("assessments:board_detail", args=[board.number])
        case State.NEXT:
            word = pgettext("on the way", "next")
        case State.WAITING:
            day = format_page_day(hindrance.until) if hindrance and hindrance.until else ""
            word = _("waiting until %(day)s") % {"day": day}
            detail = _failed(station.failed) or detail
        case State.RETRAINING:
            word, detail = _("training first"), _failed(hindrance.failed if hindrance else 0)
        case State.NOT_YET:
            word = _("not yet")
            if asked.after_exercise and hindrance and hindrance.code == asked.after_exercise:
                detail = _("after %(other)s") % {"other": names.get(hindrance.code, hindrance.code)}
    return Stop(names.get(asked.exercise, asked.exercise), LOOKS[station.state], word, detail, url)


def _passed(station: Station) -> str:
    return ngettext(
        "%(there)d of %(n)d board", "%(there)d of %(n)d boards", station.asked.boards
    ) % {
        "there": len(station.counting),
        "n": station.asked.boards,
    }


def _failed(attempts: int) -> str:
    if not attempts:
        return ""
    return ngettext("%(n)d attempt failed", "%(n)d attempts failed", attempts) % {"n": attempts}


def _certificate(scope: Scope, *, is_met: bool, is_proposed: bool) -> Stop:
    if is_proposed:
        return Stop(_("Certificate"), NOW, _("proposed"), scope.title)
    if is_met:
        return Stop(_("Certificate"), NOW, _("to be proposed"), scope.title)
    return Stop(_("Certificate"), TO_DO, _("not yet"), scope.title)


def _sentence(
    way: Path,
    stations: Sequence[Station],
    others: Sequence[Requirement],
    names: Names,
    *,
    is_proposed: bool,
) -> str:
    station = next_station(stations)
    if is_proposed:
        return _("It is proposed, and quality decides.")
    if station is None:
        first = next((line for line in others if not line.met), None)
        if first is not None:
            return first.next
        return _("Everything is met: an instructor can propose it.")
    title = names.get(station.asked.exercise, station.asked.exercise)
    hindrance = station.hindrance
    if hindrance is None:
        return ngettext(
            "Make and pass a board of %(exercise)s.",
            "Make and pass %(n)d boards of %(exercise)s.",
            station.missing,
        ) % {"n": station.missing, "exercise": title}
    if station.state != State.AT_HAND:
        return why_not_yet(hindrance, title, way.figures, names)
    board = way.board(hindrance.code)
    words = {"number": hindrance.code, "exercise": title}
    if board is not None and board.is_handed_in:
        return _("Board %(number)s of %(exercise)s is being judged.") % words
    return _("Make board %(number)s of %(exercise)s, then hand it in.") % words
