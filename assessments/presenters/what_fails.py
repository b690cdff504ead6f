"""What fails most: by criterion, exercise, class or month, with the joints behind each number."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import Q
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from assessments import access
from assessments.domain.failure_rates import FailureRate, most_rejected_first
from assessments.models import Board, Criterion, Joint, Judgement, Photo
from assessments.queries import what_fails
from assessments.queries.what_fails import Attempt, BoardsLookedAt, By, Judged
from people.access import READERS
from people.models import Site, User
from people.presenters.days import format_month_and_year
from people.presenters.quantities import format_share

JOINTS_A_PAGE = 24
MOST_PHOTOS = 3
"""Photographs shown of one joint; its board has them all."""

TABS = {
    By.CRITERION: gettext_lazy("Criterion"),
    By.EXERCISE: gettext_lazy("Exercise"),
    By.CLASS: gettext_lazy("Class"),
    By.MONTH: gettext_lazy("Month"),
}
COLUMNS = ("by", "code", "title", "rejected", "judged")


@dataclass(frozen=True, slots=True)
class WhatFailsFilters:
    """Which boards are looked at."""

    months: int
    purpose: str
    site: Site | None
    now: datetime

    @property
    def purpose_name(self) -> str:
        return str(Board.Purpose(self.purpose).label) if self.purpose else ""

    @property
    def first_month(self) -> date:
        """As the calendar of the one site has it, or else that of UTC."""
        today = self.site.today(self.now) if self.site else self.now.date()
        return what_fails.first_month(today, self.months)

    def as_asked(self, **more: str) -> str:
        """The same in an address, with whatever else it asks for."""
        asked = {
            "months": str(self.months),
            "purpose": self.purpose,
            "site": self.site.prefix if self.site else "",
        }
        return urlencode({name: value for name, value in asked.items() if value} | more)


@dataclass(frozen=True, slots=True)
class Tab:
    """A way of counting, with the address of its table."""

    label: Any
    url: str
    is_here: bool


@dataclass(frozen=True, slots=True)
class FailureLine:
    """One line of a table: what was rejected how often, of how much, and where to see it.

    A month is named by its title alone and has no ``code``.
    """

    key: str
    code: str
    title: str
    rate: FailureRate
    rejected_url: str
    judged_url: str

    @property
    def share(self) -> str:
        return format_share(self.rate.share)

    @property
    def bar(self) -> str:
        """How long the bar is of 100, as a picture has it."""
        return f"{float(self.rate.share) * 100:.1f}"


@dataclass(frozen=True, slots=True)
class Overview:
    """A table, with the boards it was counted on and those that are left out for a while."""

    by: By
    looked_at: BoardsLookedAt
    left_out: int
    lines: tuple[FailureLine, ...]
    tabs: tuple[Tab, ...]


def by_named(said: str) -> By:
    """What is counted by; the criteria where nothing that exists is named."""
    return By(said) if said in set(By) else By.CRITERION


def _boards(user: User, filters: WhatFailsFilters) -> tuple[BoardsLookedAt, int]:
    """The boards that are looked at, and how many are left out while they are regraded."""
    sites = Site.objects.filter(pk__in=user.sites_as(*READERS))
    if filters.site is not None:
        sites = sites.filter(pk=filters.site.pk)
    asked = what_fails.handed_in_since(sites, filters.months, filters.now)
    if filters.purpose:
        asked &= Q(purpose=filters.purpose)
    counted = access.boards_counted_for(user).filter(asked)
    left_out = access.boards_not_counted_yet(user).filter(asked).count()
    return what_fails.boards_looked_at(counted), left_out


def overview(user: User, by: By, filters: WhatFailsFilters) -> Overview:
    """What was rejected on the boards that the user may read, counted one way."""
    looked_at, left_out = _boards(user, filters)
    attempts = what_fails.attempts_on(looked_at.boards)
    page = reverse("assessments:what_fails")
    return Overview(
        by,
        looked_at,
        left_out,
        tuple(_lines(by, attempts, filters)),
        tuple(
            Tab(label, f"{page}?{filters.as_asked(by=each)}", each == by)
            for each, label in TABS.items()
        ),
    )


def _lines(by: By, attempts: Sequence[Attempt], filters: WhatFailsFilters) -> Iterator[FailureLine]:
    rates = what_fails.rates_by(by, attempts)
    titles = _titles(by, rates, attempts)
    # Months are read as they follow each other.
    order = sorted(rates, reverse=True) if by == By.MONTH else most_rejected_first(rates)
    for key in order:
        code = "" if by == By.MONTH else key
        yield FailureLine(
            key,
            code,
            titles.get(key, ""),
            rates[key],
            joints_url(by, key, filters),
            joints_url(by, key, filters, show="judged"),
        )


def joints_url(by: By, key: str, filters: WhatFailsFilters, **more: str) -> str:
    """Where the joints behind a number are shown."""
    asked = filters.as_asked(by=by, key=key, **more)
    return f"{reverse('assessments:what_fails_joints')}?{asked}"


def _titles(by: By, keys: Iterable[str], attempts: Sequence[Attempt]) -> dict[str, str]:
    """What each key is called; of several revisions as the latest has it."""
    if by == By.CRITERION:
        criteria = Criterion.objects.filter(
            code__in=list(keys), criteria_set__published_at__isnull=False
        ).order_by("criteria_set__published_at", "pk")
        return {criterion.code: criterion.title for criterion in criteria}
    if by == By.MONTH:
        return {key: format_month_and_year(date.fromisoformat(f"{key}-01")) for key in keys}
    titles = {"": _("No class")}
    boards = sorted(
        {attempt.board.pk: attempt.board for attempt in attempts}.values(),
        key=lambda board: board.exercise.revision,
    )
    for board in boards:
        if by == By.EXERCISE:
            titles[board.exercise.code] = board.exercise.title
        elif board.session is not None:
            titles[board.session.number] = board.session.course_revision.course.title
    return titles


def csv_rows(user: User, filters: WhatFailsFilters) -> Iterator[list[Any]]:
    """Every table, one under the other."""
    attempts = what_fails.attempts_on(_boards(user, filters)[0].boards)
    for by in By:
        for line in _lines(by, attempts, filters):
            yield [by.value, line.key, line.title, line.rate.rejected, line.rate.judged]


@dataclass(frozen=True, slots=True)
class JointShown:
    """One joint behind a number (or the whole board) with what was judged and photographed."""

    board: Board
    joint: Joint | None
    is_rejected: bool
    handed_in_on: date
    judgements: tuple[Judgement, ...]
    photos: tuple[Photo, ...]
    more_photos: int


@dataclass(frozen=True, slots=True)
class JointsBehind:
    """What stands behind one number."""

    by: By
    code: str
    title: str
    rejected: int
    judged: int
    shows_all: bool
    page: Page
    joints: tuple[JointShown, ...]
    rejected_url: str
    judged_url: str
    back_url: str


def joints_behind(
    user: User, by: By, key: str, filters: WhatFailsFilters, *, shows_all: bool, page: str | None
) -> JointsBehind:
    """The joints that were rejected, or all that were judged, of one line of a table."""
    boards = _boards(user, filters)[0].boards
    if by != By.CRITERION:
        boards = tuple(board for board in boards if what_fails.key_of(by, board) == key)
    attempts = what_fails.attempts_on(boards)
    judged = [each for each in what_fails.judged_by(by, attempts) if each.key == key]
    rejected = [each for each in judged if each.is_rejected]
    shown = Paginator(judged if shows_all else rejected, JOINTS_A_PAGE).get_page(page)
    overview_url = reverse("assessments:what_fails")
    return JointsBehind(
        by=by,
        code="" if by == By.MONTH else key,
        title=_titles(by, {each.key for each in judged}, attempts).get(key, "") if judged else "",
        rejected=len(rejected),
        judged=len(judged),
        shows_all=shows_all,
        page=shown,
        joints=tuple(_shown(by, list(shown.object_list))),
        rejected_url=joints_url(by, key, filters),
        judged_url=joints_url(by, key, filters, show="judged"),
        back_url=f"{overview_url}?{filters.as_asked(by=by)}",
    )


def _shown(by: By, judged: Sequence[Judged]) -> Iterator[JointShown]:
    """What is shown of these, by two queries however many they are."""
    rows = {id(each): _rows_shown(by, each) for each in judged}
    judgements = (
        Judgement.objects.filter(pk__in=[row.pk for of in rows.values() for row in of])
        .select_related("criterion", "photo")
        .in_bulk()
    )
    photos = _photos_of(judged, judgements.values())
    for each in judged:
        attempt = each.attempt
        said = sorted(
            (judgements[row.pk] for row in rows[id(each)]), key=lambda one: one.criterion.order
        )
        gone_by = {one.photo_id for one in said}
        stages = {one.stage for one in said}
        own = [
            photo
            for photo in photos
            if photo.pk in gone_by
            or (photo.board_id == attempt.board.pk and photo.joint_id == _key(attempt))
        ]
        # First what was judged by, then what shows the stage at which it was judged.
        own.sort(key=lambda photo: (photo.pk not in gone_by, photo.stage not in stages))
        yield JointShown(
            attempt.board,
            attempt.joint,
            each.is_rejected,
            what_fails.handed_in_on(attempt.board),
            tuple(said),
            tuple(own[:MOST_PHOTOS]),
            max(len(own) - MOST_PHOTOS, 0),
        )


def _key(attempt: Attempt) -> int | None:
    return attempt.joint.pk if attempt.joint else None


def _rows_shown(by: By, judged: Judged) -> list[Any]:
    """The judgement that is counted, or of a joint those that reject."""
    rows: Mapping[str, Any] = judged.attempt.rows
    if by == By.CRITERION:
        return [rows[judged.key]]
    return [row for row in rows.values() if row.outcome == Judgement.Outcome.REJECT]


def _photos_of(judged: Sequence[Judged], judgements: Iterable[Judgement]) -> list[Photo]:
    attempts = [each.attempt for each in judged]
    joints = [attempt.joint.pk for attempt in attempts if attempt.joint]
    whole = [attempt.board.pk for attempt in attempts if attempt.joint is None]
    gone_by = [judgement.photo_id for judgement in judgements if judgement.photo_id]
    found = Photo.objects.filter(
        Q(joint__in=joints) | Q(board__in=whole, joint__isnull=True) | Q(pk__in=gone_by)
    )
    return list(found.select_related("joint__position").order_by("order", "pk"))
