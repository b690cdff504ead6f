"""What the trail and signatures say of scopes, operations and schemes, and how it is rebuilt."""

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.db.models import Q

from certification.models import Operation, SchemeRequirement, SchemeRevision, Scope
from records.domain.kinds import kind_of
from records.models import TrailEntry
from records.queries import rebuilding
from records.queries.rebuilding import Content, KeptTable, Part, Written

PUBLISHED = ("scheme revision published", "scheme imported")
PUBLISHES = "publishes the revision of a scheme"
RETIRED = "scheme revision retired"
SCOPE_CREATED = "scope created"
SCOPE_CHANGED = "scope changed"
SCOPE_RETITLED = "scope title corrected"
SCOPE_RETIRED = "scope retired"
SCOPE_RESTORED = "scope restored"
SCOPE_ACTS = (SCOPE_CREATED, SCOPE_CHANGED, SCOPE_RETITLED, SCOPE_RETIRED, SCOPE_RESTORED)
"""Each writes down all that the scope is from then on; the last of them holds."""
OPERATION_ADDED = "operation added"
OPERATION_CHANGED = "operation changed"
OPERATION_REMOVED = "operation removed"


def figures_as_json(revision: SchemeRevision) -> dict[str, Any]:
    return {
        "scheme": revision.scheme.code,
        "revision": revision.revision,
        "name": revision.name,
        "validity_months": revision.validity_months,
        "expiry_rule": str(revision.expiry_rule),
        "renewal_window_days": revision.renewal_window_days,
        "vision_months": revision.vision_months,
        "max_absence_months": revision.max_absence_months,
    }


def scope_as_json(scope: Scope) -> dict[str, Any]:
    return {
        "code": scope.code,
        "title": scope.title,
        "level": str(scope.level),
        "joint_types": scope.joint_types,
        "document": scope.document,
    }


def scope_content(scope: Scope) -> dict[str, Any]:
    """All that a scope is: of what came later than the first scopes, what it does say."""
    later = {"source_note": scope.source_note, "retired_at": scope.retired_at}
    return scope_as_json(scope) | {name: value for name, value in later.items() if value}


def operation_content(operation: Operation) -> dict[str, Any]:
    return {"operation": operation.code, "scope": operation.scope.code}


def published_content(revision: SchemeRevision) -> dict[str, Any]:
    """A scheme revision as it was published; what it covers and asks for is read for it.

    Of what revisions have come to say since the first were published, what this one does say.
    """
    later = {
        "sources": revision.sources,
        "is_starter": revision.is_starter,
        "begun_from": revision.begun_from_id,
        "attempts": revision.attempts,
        "wait_days": revision.wait_days,
        "retraining_boards": revision.retraining_boards,
        "written_test": revision.written_test,
        "written_test_months": revision.written_test_months,
        "reason": revision.publishing_reason,
    }
    return {name: value for name, value in later.items() if value} | {
        **figures_as_json(revision),
        "reminder_steps": revision.reminder_steps,
        "instructor_may_issue": revision.instructor_may_issue,
        "grader_needs_standing": revision.grader_needs_standing,
        "published_at": revision.published_at,
        "scopes": sorted(scope.code for scope in revision.scopes.all()),
        "requirements": [
            {
                "scope": requirement.scope.code,
                "exercise": requirement.exercise_code,
                "purposes": requirement.purposes,
                "boards": requirement.boards,
                "within_months": requirement.within_months,
                **_what_comes_first(requirement),
            }
            for requirement in sorted(
                revision.requirements.all(),
                key=lambda requirement: (requirement.scope.code, requirement.exercise_code),
            )
        ],
    }


def _what_comes_first(requirement: SchemeRequirement) -> dict[str, str]:
    """What has to come before the boards, where something has to."""
    first = {
        "after_exercise": requirement.after_exercise,
        "after_course": requirement.after_course,
    }
    return {name: code for name, code in first.items() if code}


# Rebuilding

REVISIONS = SchemeRevision.objects.select_related("scheme").prefetch_related(
    "scopes", "requirements__scope"
)


def _signed_revisions(written: Sequence[Written]) -> dict[int, Content]:
    rows = rebuilding.rows_by_number(REVISIONS, written)
    return {number: published_content(row) for number, row in rows.items()}


def _published(written: Sequence[Written]) -> dict[int, Content]:
    """Revisions as they were published; one that retired past the trail says so.

    Before retiring had an entry of its own, a revision retired when the next was published.
    """
    rows = rebuilding.rows_by_number(REVISIONS, written)
    retired: dict[str, set[Any]] = defaultdict(set)
    for about, at in TrailEntry.objects.filter(
        about_type=kind_of(SchemeRevision.__name__), act=RETIRED
    ).values_list("about_id", "recorded_at"):
        retired[about].add(at)
    published = SchemeRevision.objects.filter(published_at__isnull=False).values_list(
        "scheme", "revision", "published_at"
    )
    later: dict[int, list[tuple[int, Any]]] = defaultdict(list)
    for scheme, revision, published_at in published:
        later[scheme].append((revision, published_at))
    rebuilt: dict[int, Content] = {}
    for number, row in rows.items():
        by_entry = retired.get(str(row.pk), set())
        by_next = {at for revision, at in later[row.scheme_id] if revision > row.revision}
        fits = row.retired_at in by_entry | by_next if row.retired_at else not by_entry
        rebuilt[number] = published_content(row) | ({} if fits else {"retired_at": row.retired_at})
    return rebuilt


def _scopes(written: Sequence[Written]) -> dict[int, Content]:
    """A scope is compared with the last entry about it: earlier ones say what it was."""
    rows = rebuilding.rows_by_number(Scope.objects.all(), written)
    last = rebuilding.last_entries(kind_of(Scope.__name__), SCOPE_ACTS, written)
    return {
        entry.number: (
            _with_what_is_gone(entry, scope_content(rows[entry.number]))
            if last[entry.about_id] == entry.number
            else {}
        )
        for entry in written
        if entry.number in rows
    }


def _with_what_is_gone(entry: Written, content: dict[str, Any]) -> dict[str, Any]:
    """The content, and what the entry says of fields that are left out of it for being empty."""
    gone = {name: None for name in ("retired_at", "source_note") if entry.says(name)}
    return gone | content


def _operations(written: Sequence[Written]) -> dict[int, Content]:
    """The same of operations; one that was removed in good order is not compared."""
    acts = (OPERATION_ADDED, OPERATION_CHANGED, OPERATION_REMOVED)
    last = rebuilding.last_entries(kind_of(Operation.__name__), acts, written)
    rows = rebuilding.rows_by_number(Operation.objects.select_related("scope"), written)
    rebuilt: dict[int, Content] = {}
    for entry in written:
        if last[entry.about_id] != entry.number:
            rebuilt[entry.number] = {}
        elif entry.number in rows:
            rebuilt[entry.number] = operation_content(rows[entry.number])
    return rebuilt


def with_title_as_written(
    written: Sequence[Written], rebuilt: dict[int, Content]
) -> dict[int, Content]:
    """Let what was signed name a scope by the title that it had then, corrected since."""
    differing = {}
    for entry in written:
        said, now = entry.says("scope"), rebuilt.get(entry.number, {}).get("scope")
        if isinstance(said, Mapping) and isinstance(now, Mapping) and said != now:
            differing[entry.number] = (str(said.get("title")), now)
    if not differing:
        return rebuilt
    former = former_titles({now["code"] for _title, now in differing.values()})
    for number, (title, now) in differing.items():
        if title in former[now["code"]]:
            rebuilt[number] = {**rebuilt[number], "scope": {**now, "title": title}}
    return rebuilt


def former_titles(codes: Iterable[str]) -> Mapping[str, set[str]]:
    """By code the titles that scopes had before they were corrected, as the trail says."""
    code_of = {
        str(pk): code for pk, code in Scope.objects.filter(code__in=codes).values_list("pk", "code")
    }
    former: dict[str, set[str]] = defaultdict(set)
    entries = TrailEntry.objects.filter(
        about_type=kind_of(Scope.__name__), about_id__in=code_of, act=SCOPE_RETITLED
    ).select_related("payload")
    for entry in entries:
        if entry.payload.erased_at is None:
            former[code_of[entry.about_id]].add(json.loads(entry.payload.body)["before"])
    return former


def register() -> None:
    """Have scopes, operations and schemes compared with what was written down of them."""
    revisions = SchemeRevision._meta.db_table
    asked = Part(SchemeRequirement._meta.db_table, ("scope", "exercise"))
    rebuilding.register_entries(PUBLISHED, revisions, _published, requirements=asked)
    rebuilding.register_signatures([PUBLISHES], revisions, _signed_revisions, requirements=asked)
    rebuilding.register_entries(SCOPE_ACTS, Scope._meta.db_table, _scopes)
    rebuilding.register_entries(
        [OPERATION_ADDED, OPERATION_CHANGED], Operation._meta.db_table, _operations
    )
    rebuilding.register_table(
        KeptTable(
            SchemeRevision,
            "scheme-revision",
            acts=PUBLISHED,
            where=Q(published_at__isnull=False),
            content_of=published_content,
        )
    )
