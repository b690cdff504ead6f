"""Removing what the rules of a site keep no longer, and changing those rules."""

import logging
import time
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from itertools import groupby
from typing import Any

from django.db import IntegrityError, OperationalError, transaction
from django.utils.translation import gettext as _

from assessments.models import Board, Photo
from assessments.services import removing as board_removing
from operations.backends.two_places import two_places
from operations.exceptions import ShownOtherRules
from operations.models import SiteRetention
from operations.queries.retention import (
    RETENTION_RUN,
    RULES,
    Rule,
    old_before,
    retention_of,
)
from people.models import Person, Site, User
from people.services.erasing import erase_person
from people.services.people import lock_person
from records.exceptions import Refusal
from records.services import trail
from training.models import PracticeRecord, VisionTest, WorkReport
from training.services import removing as fact_removing

log = logging.getLogger(__name__)

Kind = SiteRetention.Kind
WITHIN_S = 2400
BATCH = 500
CHANGED = "retention changed"
FILES_LEFT_SINCE = timedelta(days=3)


@transaction.atomic
def change_retention(
    *,
    site: Site,
    months: Mapping[str, int],
    shown: Mapping[str, int],
    proof: str,
    actor: User,
    at: datetime,
) -> SiteRetention:
    """Set for how many months a site keeps each kind; 0 is for ever.

    Raises
    ------
    ShownOtherRules
        If the rules are not those that the page showed: what would be removed is another.
    """
    site = Site.objects.select_for_update(no_key=True).get(pk=site.pk)
    retention = retention_of(site)
    before = {kind.value: retention.months(kind) for kind in Kind}
    if before != dict(shown):
        raise ShownOtherRules(
            _("Somebody has changed these rules since. Read them as they are now, then save.")
        )
    if before == dict(months):
        return retention
    for kind in Kind:
        setattr(retention, kind.value, months[kind])
    retention.save()
    payload = {"before": before, "after": dict(months), "proof": proof}
    trail.record(actor=actor, act=CHANGED, about=site, payload=payload, at=at)
    return retention


def remove_at_every_site(*, clock: Callable[[], datetime]) -> int:
    """Remove what is kept no longer, for at most `WITHIN_S`; return how many records went.

    Each person's are looked at and removed in one transaction under the lock that acts on their
    certificates take, so a certificate that is issued meanwhile keeps what it rests on; and under
    those of their boards, so that one of which a regrading is asked for meanwhile stays. What is
    left when the time is over, or by a crash, goes the next night.
    """
    places = two_places()
    if places is not None and not places.second_is_there():
        log.warning("No photograph is removed: the disk of OLD_PHOTOS_DIR is not there.")
    until = time.monotonic() + WITHIN_S
    board_removing.delete_left_files(clock() - FILES_LEFT_SINCE)
    count = 0
    for retention in SiteRetention.objects.select_related("site").order_by("site"):
        removed = {
            kind.value: sum(
                _remove_by_rule(retention.site, kind, rule, until, clock) for rule in RULES[kind]
            )
            for kind in Kind
            if retention.months(kind)
        }
        if any(removed.values()):
            with transaction.atomic():
                trail.record(
                    actor=None, act=RETENTION_RUN, about=retention.site, payload=removed, at=clock()
                )
        count += sum(removed.values())
    return count


def _remove_by_rule(
    site: Site,
    kind: SiteRetention.Kind,
    rule: Rule,
    until: float,
    clock: Callable[[], datetime],
) -> int:
    retention = retention_of(site)
    before = old_before(site, retention.months(kind), clock())
    keys = rule.candidates(site, before).values_list("pk", flat=True)
    waiting = list(keys)
    count = 0
    for start in range(0, len(waiting), BATCH):
        if time.monotonic() > until:
            break
        rows = list(rule.candidates(site, before).filter(pk__in=waiting[start : start + BATCH]))
        rows.sort(key=lambda row: (rule.person_of(row), row.pk))
        for person_id, theirs in groupby(rows, key=rule.person_of):
            keys_of_person = [row.pk for row in theirs]
            try:
                count += _remove_of_person(site, kind, rule, person_id, keys_of_person, clock())
            except (Refusal, IntegrityError, OperationalError):
                # It came into use meanwhile, or somebody held what this waited for and the other
                # way round.
                # Said without its text, which may name them; the others' goes all the same.
                log.warning("Nothing was removed of person %s: %s.", person_id, kind.value)
    return count


@transaction.atomic
def _remove_of_person(
    site: Site,
    kind: SiteRetention.Kind,
    rule: Rule,
    person_id: int,
    keys: list[int],
    at: datetime,
) -> int:
    """Remove of somebody's rows what is still to be removed once they are locked."""
    lock_person(Person.objects.get(pk=person_id))
    if rule.boards_of is not None:
        board_removing.hold_boards(rule.boards_of(keys))
    months = retention_of(site).months(kind)
    if not months:
        return 0
    rows = list(rule.candidates(site, old_before(site, months, at)).filter(pk__in=keys))
    stays = rule.stays(rows)
    going = [row for row in rows if row.pk not in stays]
    if going:
        # In one language, as all that the trail says is.
        reason = f"kept for {months} months at {site.prefix}: {kind.value}"
        REMOVE[type(going[0])](going, reason, at)
    return len(going)


def _remove_photos(photos: list[Any], reason: str, at: datetime) -> None:
    board_removing.remove_photo_files(photos=photos, reason=reason, actor=None, at=at)


def _remove_boards(boards: list[Any], reason: str, at: datetime) -> None:
    for board in boards:
        board_removing.remove_board(board=board, reason=reason, actor=None, at=at)


def _remove_vision_tests(tests: list[Any], reason: str, at: datetime) -> None:
    fact_removing.remove_vision_tests(tests=tests, reason=reason, actor=None, at=at)


def _remove_practice(records: list[Any], reason: str, at: datetime) -> None:
    fact_removing.remove_practice(records=records, reason=reason, actor=None, at=at)


def _remove_reports(reports: list[Any], reason: str, at: datetime) -> None:
    fact_removing.remove_uncounted_reports(reports=reports, reason=reason, actor=None, at=at)


def _erase_people(people: list[Any], reason: str, at: datetime) -> None:
    for person in people:
        erase_person(person=person, reason=reason, actor=None, at=at)


REMOVE: Mapping[type, Callable[[list[Any], str, datetime], None]] = {
    Photo: _remove_photos,
    Board: _remove_boards,
    VisionTest: _remove_vision_tests,
    PracticeRecord: _remove_practice,
    WorkReport: _remove_reports,
    Person: _erase_people,
}
