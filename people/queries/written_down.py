"""What the trail says of where people were: made here, and rebuilt here."""

from collections.abc import Sequence
from typing import Any

from people.models import SiteMembership, SiteMembershipWithdrawal
from records.queries import rebuilding
from records.queries.rebuilding import Content, KeptTable, Written

from .employee_numbers import rebuilt_with_person

MOVES = "moves to a site"
WAS_THERE = "was at a site"
MOVE_WITHDRAWN = "move withdrawn"
MEMBERSHIP_ACTS = (MOVES, WAS_THERE)


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
    """Have where people were compared with what was written down of it."""
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
