"""What the database refuses about where people were."""

from records.models import append_only


def declare() -> None:
    append_only.protect(
        "people.SiteMembership", refusal="is append-only: withdraw it, and enter the right one"
    )
    append_only.protect("people.SiteMembershipWithdrawal")
