"""What the trail says of where people were, and what changed of them: made and rebuilt here."""

from collections.abc import Callable, Sequence
from typing import Any

from people.models import (
    LineLeadChange,
    NameChange,
    Return,
    SiteMembership,
    SiteMembershipWithdrawal,
)
from records.domain.kinds import kind_of
from records.queries import rebuilding
from records.queries.rebuilding import Content, KeptTable, Written

from .employee_numbers import rebuilt_with_person

MOVES = "moves to a site"
WAS_THERE = "was at a site"
MOVE_WITHDRAWN = "move withdrawn"
MEMBERSHIP_ACTS = (MOVES, WAS_THERE)
NAME_CHANGED = "name changed"
LINE_LEAD_CHANGED = "line lead changed"
RETURNED = "person returned"


def membership_content(row: SiteMembership) -> dict[str, Any]:
    return {
        "person": row.person.employee_number,
        "person_id": row.person_id,
        "site": row.site.prefix,
        "site_id": row.site_id,
        "from_day": row.from_day,
        "reason": row.reason,
        "entered_by": row.entered_by_id,
        "recorded_at": row.recorded_at,
    }


def withdrawal_content(row: SiteMembershipWithdrawal) -> dict[str, Any]:
    return {
        "person": row.membership.person.employee_number,
        "site": row.membership.site.prefix,
        "from_day": row.membership.from_day,
        "reason": row.reason,
        "withdrawn_by": row.withdrawn_by_id,
        "recorded_at": row.recorded_at,
    }


def name_change_content(row: NameChange) -> dict[str, Any]:
    return {**_change_content(row), "before": row.before, "after": row.after}


def line_lead_content(row: LineLeadChange) -> dict[str, Any]:
    """By the rows of the people, whose numbers may change."""
    return {**_change_content(row), "before_id": row.before_id, "after_id": row.after_id}


def _change_content(row: NameChange | LineLeadChange) -> dict[str, Any]:
    return {
        "person": row.person.employee_number,
        "person_id": row.person_id,
        "from_day": row.from_day,
        "reason": row.reason,
        "entered_by": row.entered_by_id,
        "recorded_at": row.recorded_at,
    }


def return_content(row: Return) -> dict[str, Any]:
    return {
        "person": row.person.employee_number,
        "person_id": row.person_id,
        "left_on": row.left_on,
        "returned_on": row.returned_on,
        "reason": row.reason,
        "entered_by": row.entered_by_id,
        "recorded_at": row.recorded_at,
    }


CHANGES: tuple[tuple[Any, str, Callable[[Any], dict[str, Any]]], ...] = (
    (NameChange, NAME_CHANGED, name_change_content),
    (LineLeadChange, LINE_LEAD_CHANGED, line_lead_content),
    (Return, RETURNED, return_content),
)
"""Facts with a day of their own: the table, the entry that writes a row down, and its content."""


def _changes(model: Any, content_of: Callable[[Any], dict[str, Any]]) -> rebuilding.Rebuild:
    rows = model.objects.select_related("person")
    return lambda written: rebuilt_with_person(
        written, rebuilding.rows_by_number(rows, written), content_of
    )


def _memberships(written: Sequence[Written]) -> dict[int, Content]:
    rows = SiteMembership.objects.select_related("person", "site")
    return rebuilt_with_person(
        written, rebuilding.rows_by_number(rows, written), membership_content
    )


def _withdrawals(written: Sequence[Written]) -> dict[int, Content]:
    rows = SiteMembershipWithdrawal.objects.select_related("membership__person", "membership__site")
    return rebuilt_with_person(
        written,
        rebuilding.rows_by_number(rows, written, "membership_id"),
        withdrawal_content,
        lambda row: row.membership.person_id,
    )


def register() -> None:
    """Have where people were, and what changed of them, compared with what was written down."""
    memberships = SiteMembership._meta.db_table
    withdrawals = SiteMembershipWithdrawal._meta.db_table
    rebuilding.register_entries(MEMBERSHIP_ACTS, memberships, _memberships)
    rebuilding.register_entries([MOVE_WITHDRAWN], withdrawals, _withdrawals)
    for kept in (
        KeptTable(
            SiteMembership,
            "site-membership",
            acts=MEMBERSHIP_ACTS,
            content_of=membership_content,
        ),
        KeptTable(
            SiteMembershipWithdrawal,
            "site-membership",
            "membership_id",
            (MOVE_WITHDRAWN,),
            content_of=withdrawal_content,
        ),
    ):
        rebuilding.register_table(kept)
    for model, act, content_of in CHANGES:
        rebuilding.register_entries([act], model._meta.db_table, _changes(model, content_of))
        rebuilding.register_table(
            KeptTable(model, kind_of(model.__name__), acts=(act,), content_of=content_of)
        )
