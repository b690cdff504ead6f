"""What the database refuses about schemes, certificates and their events."""

from records.models import append_only

FIGURES = (
    "id",
    "recorded_at",
    "scheme_id",
    "revision",
    "name",
    "validity_months",
    "expiry_rule",
    "renewal_window_days",
    "vision_months",
    "max_absence_months",
    "instructor_may_issue",
    "grader_needs_standing",
    "attempts",
    "wait_days",
    "retraining_boards",
    "written_test",
    "written_test_months",
    "is_starter",
    "publishing_reason",
    "published_at",
)
PROPOSED = (
    "id",
    "recorded_at",
    "person_id",
    "scope_id",
    "scheme_revision_id",
    "restriction",
    "note",
    "signature_id",
)
PUBLISHED = "is published and does not change: make a new revision"
CLOSED = "does not join a published revision: make a new one"


def _same(columns: tuple[str, ...], *json: str) -> str:
    """SQL that is true where no column changed; PostgreSQL compares JSON as text alone."""
    same = [f"NEW.{column} = OLD.{column}" for column in columns]
    as_text = [f"CAST(NEW.{column} AS TEXT) = CAST(OLD.{column} AS TEXT)" for column in json]
    return " AND ".join([*same, *as_text])


def _published(row: str, column: str) -> str:
    return (
        "EXISTS (SELECT 1 FROM certification_schemerevision r "
        f"WHERE r.id = {row}.{column} AND r.published_at IS NOT NULL)"
    )


CERTIFIED = (
    *("id", "recorded_at", "number", "person_id", "scope_id", "scheme_revision_id", "issued_on"),
    *("valid_through", "restriction", "origin", "issued_by", "issuer_certificate"),
    "outside_number",
)
CERTIFIED_OR_NULL = ("renews_id", "signature_id", "document_id")
CREDENTIAL = (
    *("id", "recorded_at", "certificate_id", "key_id", "restriction", "good_through"),
    *("status_list", "status_index"),
)
NAMED = ("id", "recorded_at", "certificate_id", "from_day", "reason", "signature_id")


def declare() -> None:
    for model in (
        "CertificateDocument",
        "CertificateEvent",
        "CertificateWithdrawal",
        "PublicCode",
    ):
        append_only.protect(f"certification.{model}")
    # Of somebody whose name is erased the certificate stays, under their number.
    same = " AND ".join(
        [
            _same(CERTIFIED, "figures", "evidence"),
            *(f"COALESCE(NEW.{name}, 0) = COALESCE(OLD.{name}, 0)" for name in CERTIFIED_OR_NULL),
        ]
    )
    erased = append_only.removed("person", "person_id", "name")
    append_only.protect("certification.Certificate", when_update=f"NOT ({same} AND {erased})")
    erased = append_only.removed("certificate", "certificate_id", "name")
    for model, columns in (("CertificateName", NAMED), ("Credential", CREDENTIAL)):
        append_only.protect(
            f"certification.{model}", when_update=f"NOT ({_same(columns)} AND {erased})"
        )
    append_only.protect(
        "certification.SigningKey",
        when_update=(
            f"OLD.lost_at IS NOT NULL OR NOT ({_same(('id', 'kid', 'started_at'), 'public_jwk')}) "
            "OR (OLD.ended_at IS NOT NULL AND (NEW.ended_at IS NULL "
            "OR NEW.ended_at <> OLD.ended_at))"
        ),
        refusal="keeps every key: it ends or is lost, once, and nothing else changes",
    )
    append_only.protect(
        "certification.SchemeRevision",
        when_update=(
            f"OLD.published_at IS NOT NULL AND NOT ({_same(FIGURES, 'reminder_steps', 'sources')} "
            "AND COALESCE(NEW.begun_from_id, 0) = COALESCE(OLD.begun_from_id, 0))"
        ),
        when_delete="OLD.published_at IS NOT NULL",
        refusal=PUBLISHED,
    )
    for model, column in (
        ("certification.SchemeRequirement", "revision_id"),
        ("certification.SchemeRevision_scopes", "schemerevision_id"),
    ):
        append_only.protect(
            model,
            when_update=f"{_published('OLD', column)} OR {_published('NEW', column)}",
            when_delete=_published("OLD", column),
            insert_when=_published("NEW", column),
            refusal=PUBLISHED,
            insert_refusal=CLOSED,
        )
    append_only.protect(
        "certification.Proposal",
        when_update=f"OLD.decision <> '' OR NOT ({_same(PROPOSED, 'evidence')})",
        refusal="is signed: it is decided once and then stays",
    )
