"""Schemes in force: which revision grants a scope, and what it asks of graders."""

from dataclasses import dataclass

from django.db.models import Exists, F, OuterRef

from certification.models import SchemeRequirement, SchemeRevision, Scope


def revisions_for(scope: Scope) -> list[SchemeRevision]:
    """Published revisions that certify a scope, those that name boards for it first, newest first.

    One that came with an earlier register names none.
    """
    return list(
        SchemeRevision.objects.filter(
            scopes=scope, published_at__isnull=False, retired_at__isnull=True
        )
        .annotate(
            names_boards=Exists(
                SchemeRequirement.objects.filter(revision=OuterRef("pk"), scope=scope)
            )
        )
        .select_related("scheme")
        .order_by("-names_boards", "-published_at", "-id")
    )


def joint_types_needing_standing() -> dict[str, set[str]]:
    """Joint types whose graders need standing, each with the schemes in force that say so."""
    asked: dict[str, set[str]] = {}
    revisions = SchemeRevision.objects.filter(
        published_at__isnull=False, retired_at__isnull=True, grader_needs_standing=True
    ).prefetch_related("scopes")
    for revision in revisions:
        for scope in revision.scopes.all():
            if scope.level == Scope.Level.OPERATOR:
                for joint_type in scope.joint_types:
                    asked.setdefault(joint_type, set()).add(revision.name)
    return asked


def scope_names() -> list[tuple[str, str]]:
    """Code and title of every scope that is not retired."""
    return list(
        Scope.objects.filter(retired_at__isnull=True)
        .order_by("level", "title")
        .values_list("code", "title")
    )


@dataclass(frozen=True)
class Asked:
    """A scope, the scheme in force that comes first for it, and exercises whose boards it asks."""

    scope: Scope
    revision: SchemeRevision
    exercise_codes: frozenset[str]


def asking_for_boards() -> list[Asked]:
    """Every scope for which a scheme in force names boards, operators' first.

    Of several schemes it is the one that `revisions_for` offers first: the newest published.
    """
    rows = (
        SchemeRequirement.objects.filter(
            revision__published_at__isnull=False,
            revision__retired_at__isnull=True,
            scope__retired_at__isnull=True,
            revision__scopes=F("scope"),
        )
        .select_related("scope", "revision__scheme")
        .prefetch_related("revision__scopes")
        .order_by("revision__published_at", "revision_id")
    )
    newest = {row.scope_id: row for row in rows}
    codes: dict[int, set[str]] = {pk: set() for pk in newest}
    for row in rows:
        if row.revision_id == newest[row.scope_id].revision_id:
            codes[row.scope_id].add(row.exercise_code)
    levels = [level.value for level in (Scope.Level.OPERATOR, Scope.Level.INSPECTOR)]
    return [
        Asked(row.scope, row.revision, frozenset(codes[pk]))
        for pk, row in sorted(
            newest.items(),
            key=lambda pair: (
                *(pair[1].scope.level != level for level in levels),
                pair[1].scope.title,
            ),
        )
    ]
