"""What the database refuses about where people were, and what changed of them."""

from records.models import append_only


def declare() -> None:
    append_only.protect(
        "people.SiteMembership", refusal="is append-only: withdraw it, and enter the right one"
    )
    append_only.protect("people.SiteMembershipWithdrawal")
    append_only.protect("people.NameChange", removable=("name-change", "id"))
    for model in ("LineLeadChange", "Return"):
        append_only.protect(f"people.{model}")
