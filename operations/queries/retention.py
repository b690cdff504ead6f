"""What the rules of a site remove next, and what stays for what reason."""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Any

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from assessments.models import Board, Grading, Photo, Question, ReadingRequest, StudyPhoto
from assessments.queries.photo_room import is_being_corrected
from assessments.queries.removed_files import removed_file
from audit.models import EvidencePack
from certification.domain.months import add_months
from certification.queries import in_use
from operations.backends.two_places import two_places
from operations.models import SiteRetention
from people.models import Person, Site
from people.queries.erased import erased
from records.models import TrailEntry
from records.queries.trail_acts import REMOVED
from training.models import PracticeRecord, VisionTest, WorkReport

Kind = SiteRetention.Kind
RETENTION_RUN = "kept no longer"
"""The act under which the trail says what one night removed at a site."""
LOOKED_AT = 500
"""Of each kind, how many a page looks at; a night looks at all."""
SHOWN = 50

Stays = Mapping[int, str]
"""Why a row stays, in a sentence, by its key."""


@dataclass(frozen=True)
class Rule:
    """One kind of record.

    Attributes
    ----------
    candidates : callable
        Rows at a site from before a day, in the order in which they are removed.
    stays : callable
        Of some of them, why which stay.
    person_of : callable
        The key of the person whose row is locked while it is looked at and removed.
    in_words : callable
        What a page calls one, by number and never by name.
    day_of : callable
        The day that its months are counted from.
    boards_of : callable, optional
        Of rows, by key, the boards that are locked before it is asked whether they stay: whoever
        begins something on a board locks it, and not its person.
    """

    candidates: Callable[[Site, date], QuerySet[Any]]
    stays: Callable[[Collection[Any]], Stays]
    person_of: Callable[[Any], int]
    in_words: Callable[[Any], str]
    day_of: Callable[[Any], date]
    boards_of: Callable[[Collection[int]], QuerySet[Board]] | None = None


@dataclass(frozen=True)
class Line:
    """One record that is old enough, on a page; ``stays`` says why it is not removed."""

    text: str
    day: date
    stays: str = ""


@dataclass(frozen=True)
class Outlook:
    """What becomes of one kind at a site in the next run.

    Attributes
    ----------
    before : date
        What is from before this day is old enough.
    count : int
        How many are.
    looked_at : int
        How many of them, the oldest, this tells of.
    goes, stays : tuple of Line
        The first of each.
    goes_count, stays_count : int
        How many of each among those looked at.
    """

    kind: SiteRetention.Kind
    months: int
    before: date
    count: int
    looked_at: int
    goes: tuple[Line, ...]
    stays: tuple[Line, ...]
    goes_count: int
    stays_count: int


def retention_of(site: Site) -> SiteRetention:
    """The rules of a site; of one that has none, those that keep everything."""
    return SiteRetention.objects.filter(site=site).first() or SiteRetention(site=site)


def outlook(site: Site, now: datetime) -> list[Outlook]:
    """What the next run removes at a site, of each kind that is not kept for ever."""
    retention = retention_of(site)
    return [
        _outlook(site, kind, retention.months(kind), now) for kind in Kind if retention.months(kind)
    ]


def old_before(site: Site, months: int, now: datetime) -> date:
    """The day before which something is old enough, by the site's calendar."""
    return add_months(site.today(now), -months)


def last_run(site: Site) -> TrailEntry | None:
    """The last that removed something at a site."""
    entries = TrailEntry.objects.filter(about_type="site", about_id=str(site.pk), act=RETENTION_RUN)
    return entries.select_related("payload").order_by("-number").first()


def _outlook(site: Site, kind: SiteRetention.Kind, months: int, now: datetime) -> Outlook:
    before = old_before(site, months, now)
    lines: list[Line] = []
    count = 0
    for rule in RULES[kind]:
        candidates = rule.candidates(site, before)
        rows = list(candidates[: LOOKED_AT - len(lines)])
        stays = rule.stays(rows)
        count += candidates.count() if len(lines) + len(rows) == LOOKED_AT else len(rows)
        lines += [Line(rule.in_words(row), rule.day_of(row), stays.get(row.pk, "")) for row in rows]
    going = [line for line in lines if not line.stays]
    staying = [line for line in lines if line.stays]
    return Outlook(
        kind=kind,
        months=months,
        before=before,
        count=count,
        looked_at=len(lines),
        goes=tuple(going[:SHOWN]),
        stays=tuple(staying[:SHOWN]),
        goes_count=len(going),
        stays_count=len(staying),
    )


def _midnight(site: Site, day: date) -> datetime:
    return datetime.combine(day, time(0), tzinfo=site.zone).astimezone(UTC)


# Photographs and boards


def _judged_out() -> Q:
    """Of a board: every stage is signed, or it was cancelled."""
    return Q(outcome__complete=True) | Q(cancelled_at__isnull=False)


def _boards(site: Site, before: date) -> QuerySet[Board]:
    instant = _midnight(site, before)
    signed_since = Q(gradings__signings__signature__signed_at__gte=instant)
    return (
        Board.objects.filter(_judged_out(), site=site, handed_out_on__lt=before)
        .exclude(pk__in=Board.objects.filter(signed_since, site=site).values("pk"))
        .exclude(cancelled_at__gte=instant)
        .select_related("person")
        .order_by("handed_out_on", "pk")
    )


def _boards_stay(boards: Collection[Board]) -> Stays:
    keys = {board.pk for board in boards}
    stays = _on_a_disk_that_is_away(keys) | _read_anew(boards)
    stays |= {
        pk: _("The certificate or proposal %(number)s rests on it.") % {"number": number}
        for pk, number in in_use.boards_in_use(boards).items()
    }
    studied = StudyPhoto.objects.filter(Q(joint__board__in=keys) | Q(photo__board__in=keys))
    for pk in studied.values_list("photo__board", flat=True):
        stays[pk] = _("A measurement study shows it.")
    for pk in Question.objects.filter(photo__board__in=keys).values_list("photo__board", flat=True):
        stays[pk] = _("A written test shows it.")
    packs = EvidencePack.objects.filter(board__in=keys).values_list("board", "number")
    for pk, number in packs:
        stays[pk] = _("The evidence pack %(number)s is about it.") % {"number": number}
    return stays


def _on_a_disk_that_is_away(keys: Collection[int]) -> dict[int, str]:
    """Of boards those with photographs, which nothing can be deleted of where one may lie there."""
    places = two_places()
    if places is None or places.second_is_there():
        return {}
    kept = Photo.every.filter(board__in=keys).exclude(removed_file())
    return dict.fromkeys(kept.values_list("board", flat=True), _("The second disk is not there."))


def _read_anew(boards: Collection[Board]) -> dict[int, str]:
    """Of boards of which every stage is signed, those that are looked at again all the same."""
    by_key = {board.pk: board for board in boards}
    asked = ReadingRequest.objects.filter(board__in=by_key, answered_at__isnull=True)
    stays = dict.fromkeys(
        asked.values_list("board", flat=True), _("A regrading of it was asked for.")
    )
    corrections = Grading.objects.filter(board__in=by_key, replaces__isnull=False)
    for pk in corrections.order_by().values_list("board", flat=True).distinct():
        if is_being_corrected(by_key[pk]):
            stays[pk] = _("Somebody has begun a correction of it.")
    return stays


def _photos(site: Site, before: date) -> QuerySet[Photo]:
    judged_out = Board.objects.filter(_judged_out(), site=site)
    return (
        Photo.every.filter(board__in=judged_out, recorded_at__lt=_midnight(site, before))
        .exclude(removed_file())
        .select_related("board__site", "board__person")
        .order_by("recorded_at", "pk")
    )


def _photos_stay(photos: Collection[Photo]) -> Stays:
    boards = {photo.board_id: photo.board for photo in photos}
    stays = _boards_stay(boards.values())
    return {photo.pk: stays[photo.board_id] for photo in photos if photo.board_id in stays}


# Vision tests and work done


def _vision_tests(site: Site, before: date) -> QuerySet[VisionTest]:
    tests = VisionTest.objects.filter(person__site=site, tested_on__lt=before)
    return tests.select_related("person__site").order_by("tested_on", "pk")


def _vision_tests_stay(tests: Collection[VisionTest]) -> Stays:
    stays = {
        pk: _("The certificate %(number)s rests on it.") % {"number": number}
        for pk, number in in_use.vision_tests_in_use(tests).items()
    }
    here = {test.person_id for test in tests if test.person.left_on is None}
    last: dict[int, int] = {}
    for person, pk in (
        VisionTest.objects.not_withdrawn()
        .filter(person__in=here)
        .order_by("tested_on", "recorded_at", "test_id")
        .values_list("person", "pk")
    ):
        last[person] = pk
    newest = set(last.values())
    for test in tests:
        if test.pk in newest:
            stays.setdefault(test.pk, _("It is the last of somebody who is here."))
    return stays


def _practice(site: Site, before: date) -> QuerySet[PracticeRecord]:
    return (
        PracticeRecord.objects.filter(person__site=site, performed_on__lt=before)
        .exclude(in_use.practice_in_use())
        .select_related("person")
        .order_by("performed_on", "pk")
    )


def _refused_reports(site: Site, before: date) -> QuerySet[WorkReport]:
    """Reported work that was refused: nothing rests on it. Confirmed, it goes with the work."""
    refused = WorkReport.objects.filter(
        person__site=site,
        decision__confirmed=False,
        decision__recorded_at__lt=_midnight(site, before),
    )
    return refused.select_related("person__site", "decision").order_by(
        "decision__recorded_at", "pk"
    )


def _undecided_reports(site: Site, before: date) -> QuerySet[WorkReport]:
    """Reported work that nobody decided on, from the day it was reported: work of long ago may be
    reported today, and is then still to be looked at."""
    return (
        WorkReport.objects.undecided()
        .filter(person__site=site, recorded_at__lt=_midnight(site, before))
        .select_related("person__site")
    )


# People


def _people(site: Site, before: date) -> QuerySet[Person]:
    gone = Person.objects.filter(site=site, left_on__lt=before)
    # Who has a name, an address or an employer again since they were erased goes again.
    gone = gone.exclude(erased(), email="", employer="")
    return gone.order_by("left_on", "pk")


def _nothing_stays(rows: Collection[Any]) -> Stays:
    return {}


def _left_on(person: Person) -> date:
    assert person.left_on is not None  # noqa: S101 - as its candidates are chosen
    return person.left_on


RULES: Mapping[str, tuple[Rule, ...]] = {
    # Photographs first: a board that stays may lose them, and one that goes has them no more.
    Kind.PHOTOGRAPHS: (
        Rule(
            _photos,
            _photos_stay,
            lambda photo: photo.board.person_id,
            lambda photo: f"{photo.board.number}, {photo.pk}",
            lambda photo: photo.board.site.today(photo.recorded_at),
            lambda keys: Board.objects.filter(
                pk__in=Photo.every.filter(pk__in=keys).values("board")
            ),
        ),
    ),
    Kind.BOARDS: (
        Rule(
            _boards,
            _boards_stay,
            lambda board: board.person_id,
            lambda board: board.number,
            lambda board: board.handed_out_on,
            lambda keys: Board.objects.filter(pk__in=keys),
        ),
    ),
    Kind.VISION_TESTS: (
        Rule(
            _vision_tests,
            _vision_tests_stay,
            lambda test: test.person_id,
            lambda test: f"{test.test_id}, {test.person.employee_number}",
            lambda test: test.tested_on,
        ),
    ),
    Kind.PRACTICE: (
        Rule(
            _practice,
            _nothing_stays,
            lambda practice: practice.person_id,
            lambda practice: f"{practice.person.employee_number}, {practice.scope_code}",
            lambda practice: practice.performed_on,
        ),
        Rule(
            _refused_reports,
            _nothing_stays,
            lambda report: report.person_id,
            lambda report: (
                _("%(number)s, %(scope)s (reported, and refused)")
                % {"number": report.person.employee_number, "scope": report.scope_code}
            ),
            lambda report: report.person.site.today(report.decision.recorded_at),
        ),
        Rule(
            _undecided_reports,
            _nothing_stays,
            lambda report: report.person_id,
            lambda report: (
                _("%(number)s, %(scope)s (reported, and not decided on)")
                % {"number": report.person.employee_number, "scope": report.scope_code}
            ),
            lambda report: report.person.site.today(report.recorded_at),
        ),
    ),
    Kind.PEOPLE: (
        Rule(
            _people,
            _nothing_stays,
            lambda person: person.pk,
            lambda person: person.employee_number,
            _left_on,
        ),
    ),
}
ACTS = frozenset(REMOVED.values())
