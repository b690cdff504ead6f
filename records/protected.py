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


def declare() -> None:
    append_only.protect("records.Signature")
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
