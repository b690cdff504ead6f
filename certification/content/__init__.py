"""Scopes and schemes that come along, to begin with: plain data, without models or database.

They come as drafts. No figure has been confirmed by a site against the standard that governs its
work; each says where it comes from and how far that can be trusted.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class ScopeContent:
    """One kind of work; ``code`` is what exercises that come along credit their joints to."""

    code: str
    title: str
    level: Literal["operator", "inspector", "instructor"]
    joint_types: tuple[str, ...]
    source_note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedContent:
    """Boards of one exercise that are asked for a scope; months 0 is however long ago."""

    scope: str
    exercise: str
    boards: int = 1
    within_months: int = 12
    purposes: tuple[str, ...] = ("qualification", "requalification")


@dataclass(frozen=True, slots=True, kw_only=True)
class SchemeContent:
    """The first revision of a scheme.

    Attributes
    ----------
    sources : mapping of str to str
        Where each figure comes from, by its name; ``requirements`` for the boards asked for.
    """

    code: str
    title: str
    validity_months: int
    expiry_rule: Literal["same_day", "end_of_month"] = "same_day"
    renewal_window_days: int
    vision_months: int
    max_absence_months: int
    reminder_steps: tuple[int, ...]
    instructor_may_issue: bool
    grader_needs_standing: bool
    attempts: int = 0
    wait_days: int = 0
    retraining_boards: int = 0
    written_test: str = ""
    written_test_months: int = 0
    scopes: tuple[str, ...]
    requirements: tuple[AskedContent, ...]
    sources: Mapping[str, str] = field(default_factory=dict)
