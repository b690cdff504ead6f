"""What uses a scope: what keeps its code as it is, and what somebody should know who retires it."""

from dataclasses import dataclass
from datetime import date

from assessments.models import Board
from certification.models import (
    Certificate,
    Operation,
    Proposal,
    SchemeRequirement,
    SchemeRevision,
    Scope,
    StandingSpan,
)
from training.models import Exercise, PracticeRecord


@dataclass(frozen=True, slots=True)
class ScopeUse:
    """Who and what a scope is used by.

    Attributes
    ----------
    certificates, proposals, practice, boards : int
        How many were ever written down; boards by the joints that their exercises credit to it.
    published : tuple of str
        Revisions of schemes that cover it and were published, retired ones too.
    drafts : tuple of SchemeRevision
        Drafts that cover it or ask for boards for it.
    operations : tuple of str
    exercises : tuple of str
        Codes of exercises, as they are now, whose joints are credited to it.
    """

    certificates: int
    proposals: int
    practice: int
    boards: int
    published: tuple[str, ...]
    drafts: tuple[SchemeRevision, ...]
    operations: tuple[str, ...]
    exercises: tuple[str, ...]

    @property
    def is_used(self) -> bool:
        """Whether something goes by its code, level or joint types that is not to change."""
        counted = self.certificates, self.proposals, self.practice, self.boards
        return any(counted) or bool(self.published or self.operations)


def use_of(scope: Scope) -> ScopeUse:
    """Everything that uses a scope, in eight queries."""
    asking = SchemeRequirement.objects.filter(scope=scope).values("revision")
    return ScopeUse(
        certificates=Certificate.objects.filter(scope=scope).count(),
        proposals=Proposal.objects.filter(scope=scope).count(),
        practice=PracticeRecord.objects.filter(scope_code=scope.code).count(),
        boards=Board.objects.filter(exercise__positions__scope_code=scope.code)
        .order_by()
        .values("pk")
        .distinct()
        .count(),
        published=tuple(
            SchemeRevision.objects.filter(scopes=scope, published_at__isnull=False)
            .order_by("scheme__code", "revision")
            .values_list("name", flat=True)
        ),
        drafts=tuple(
            (
                SchemeRevision.objects.drafts().filter(scopes=scope)
                | SchemeRevision.objects.drafts().filter(pk__in=asking)
            ).distinct()
        ),
        operations=tuple(
            Operation.objects.filter(scope=scope).order_by("code").values_list("code", flat=True)
        ),
        exercises=tuple(
            Exercise.objects.current()
            .filter(positions__scope_code=scope.code)
            .order_by("code")
            .values_list("code", flat=True)
            .distinct()
        ),
    )


def standing_for(scope: Scope, day: date) -> int:
    """How many people are certified for a scope on a day."""
    return StandingSpan.objects.on(day).filter(scope=scope, standing="certified").count()


def in_force_for(scope: Scope) -> list[str]:
    """Names of the schemes in force that cover a scope."""
    revisions = SchemeRevision.objects.in_force().filter(scopes=scope)
    return list(revisions.order_by("name").values_list("name", flat=True))
