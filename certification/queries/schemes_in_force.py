"""Schemes in force: which revision grants a scope, and what it asks of graders."""

from django.db.models import Exists, OuterRef

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
