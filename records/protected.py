"""What the database refuses about this app's own tables."""

from .domain.chain import FIRST_PREVIOUS_HASH
from .models import append_only

FOLLOWS_LAST_ENTRY = (
    f"(NEW.number = 1 AND NEW.previous_hash = '{FIRST_PREVIOUS_HASH}') OR EXISTS ("
    "SELECT 1 FROM records_trailentry e "
    "WHERE e.number = NEW.number - 1 AND e.entry_hash = NEW.previous_hash)"
)
ERASES_ONLY = (
    "OLD.erased_at IS NULL AND NEW.erased_at IS NOT NULL "
    "AND NEW.entry_id = OLD.entry_id AND NEW.body = '' AND NEW.salt = ''"
)


SIGNATURE = (
    *("id", "signer_id", "printed_name", "signed_at", "zone", "meaning", "about_type", "about_id"),
    *("content_sha256", "proof", "entry_id"),
)
SAME_SIGNATURE = " AND ".join(f"NEW.{name} = OLD.{name}" for name in SIGNATURE)
ITS_THING_IS_GONE = (
    "NEW.content = '' AND EXISTS (SELECT 1 FROM records_removal gone WHERE gone.what = 'row' "
    "AND gone.about_type = OLD.about_type AND gone.about_id = OLD.about_id)"
)
# Verification holds the text that is left against the entry that says so.
A_NAME_IS_ERASED = append_only.removed("signature", "id", "name")


def declare() -> None:
    append_only.protect(
        "records.Signature",
        when_update=(f"NOT ({SAME_SIGNATURE} AND (({ITS_THING_IS_GONE}) OR {A_NAME_IS_ERASED}))"),
    )
    append_only.protect("records.Removal")
    append_only.protect(
        "records.TrailEntry",
        insert_when=f"NOT ({FOLLOWS_LAST_ENTRY})",
        insert_refusal="takes only the entry that follows the last one",
    )
    append_only.protect(
        "records.TrailPayload",
        when_update=f"NOT ({ERASES_ONLY})",
        refusal="is append-only: a payload can be erased, once, and nothing else",
    )
    append_only.protect(
        "records.TrailHead",
        when_update="NOT (NEW.id = OLD.id AND NEW.number > OLD.number)",
        refusal="only moves forward with the trail",
    )
    append_only.protect(
        "records.NumberSeries",
        when_update=(
            "NOT (NEW.prefix = OLD.prefix AND NEW.kind = OLD.kind AND NEW.last > OLD.last)"
        ),
        refusal="only counts up: a number is never given twice",
    )
