"""What a certificate allows, and the written rules under which it is granted and kept."""

from django.conf import settings
from django.db import models
from django.db.models import Case, IntegerField, Q, Value, When
from django.utils.translation import gettext_lazy as _

from records.models import Recorded


def default_steps() -> list[int]:
    return [90, 60, 30, 14, 7, 1]


class Scope(models.Model):
    """One kind of work, as one code: joint types, governing document and level."""

    class Level(models.TextChoices):
        OPERATOR = "operator", _("operator")
        INSPECTOR = "inspector", _("inspector")
        INSTRUCTOR = "instructor", _("instructor")

    code = models.CharField(_("code"), max_length=40, unique=True)
    title = models.CharField(_("title"), max_length=120)
    joint_types = models.JSONField(_("joint types"), default=list)
    document = models.CharField(_("governing document"), max_length=160, blank=True)
    level = models.CharField(
        _("level"), max_length=12, choices=Level.choices, default=Level.OPERATOR
    )
    source_note = models.CharField(_("where it comes from"), max_length=300, blank=True)
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["level", "title"]

    def __str__(self) -> str:
        return self.title


def operators_first(path: str = "") -> Case:
    """Order by level as a shop counts its people; ``path`` leads from a row to its scope."""
    levels = [Scope.Level.OPERATOR, Scope.Level.INSPECTOR, Scope.Level.INSTRUCTOR]
    return Case(
        *(When(**{f"{path}level": level}, then=Value(place)) for place, level in enumerate(levels)),
        default=Value(len(levels)),
        output_field=IntegerField(),
    )


class Operation(models.Model):
    """An operation of a routing, and the scope it asks for: what a work log may name instead."""

    code = models.CharField(_("operation"), max_length=80, unique=True)
    scope = models.ForeignKey(Scope, models.PROTECT, related_name="operations")

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code


class Scheme(models.Model):
    code = models.CharField(_("code"), max_length=80, unique=True)
    title = models.CharField(_("title"), max_length=120)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.title


class SchemeRevisionQuerySet(models.QuerySet["SchemeRevision"]):
    def in_force(self) -> "SchemeRevisionQuerySet":
        return self.filter(published_at__isnull=False, retired_at__isnull=True)

    def drafts(self) -> "SchemeRevisionQuerySet":
        return self.filter(published_at__isnull=True)


class SchemeRevision(Recorded):
    """One revision of a scheme; once published it never changes.

    Its name stands alone: in a register bundle each revision is a scheme of its own.
    ``sources`` says of a figure, by the name of its field, where it comes from; a revision that
    came along with the product is a starter, and its sources came with it.
    """

    class ExpiryRule(models.TextChoices):
        SAME_DAY = "same_day", _("the same day of the month")
        END_OF_MONTH = "end_of_month", _("the last day of that month")

    scheme = models.ForeignKey(Scheme, models.PROTECT, related_name="revisions")
    revision = models.PositiveSmallIntegerField(_("revision"))
    name = models.CharField(_("name"), max_length=80, unique=True)
    validity_months = models.PositiveSmallIntegerField(_("good for, months"))
    expiry_rule = models.CharField(
        _("ends on"), max_length=16, choices=ExpiryRule.choices, default=ExpiryRule.SAME_DAY
    )
    renewal_window_days = models.PositiveSmallIntegerField(
        _("days before the end in which renewing keeps the end date"), default=0
    )
    vision_months = models.PositiveSmallIntegerField(
        _("vision test good for, months"), default=0, help_text=_("0: no vision test asked for.")
    )
    max_absence_months = models.PositiveSmallIntegerField(
        _("longest gap in the work, months"), default=0, help_text=_("0: no limit.")
    )
    reminder_steps = models.JSONField(_("days before an end to write"), default=default_steps)
    instructor_may_issue = models.BooleanField(
        _("an instructor who graded none of the boards may issue"), default=False
    )
    grader_needs_standing = models.BooleanField(
        _("graders need standing as inspector or instructor"), default=True
    )
    attempts = models.PositiveSmallIntegerField(
        _("attempts that may fail before training again"), default=0, help_text=_("0: no limit.")
    )
    wait_days = models.PositiveSmallIntegerField(
        _("days to wait after an attempt failed"), default=0, help_text=_("0: none.")
    )
    retraining_boards = models.PositiveSmallIntegerField(
        _("practice boards that stand for training again"),
        default=0,
        help_text=_("0: a class alone does."),
    )
    written_test = models.CharField(
        _("written test to be passed"), max_length=24, blank=True, help_text=_("Empty: none.")
    )
    written_test_months = models.PositiveSmallIntegerField(
        _("written test passed within, months"), default=0, help_text=_("0: however long ago.")
    )
    scopes = models.ManyToManyField(Scope, related_name="scheme_revisions", blank=True)
    sources = models.JSONField(_("where the figures come from"), default=dict, blank=True)
    is_starter = models.BooleanField(_("came along with the product"), default=False)
    begun_from = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="+")
    changed_at = models.DateTimeField(_("changed"), null=True, blank=True)
    changed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    publishing_reason = models.CharField(_("why it was published"), max_length=400, blank=True)
    published_at = models.DateTimeField(_("published"), null=True, blank=True)
    published_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    retired_at = models.DateTimeField(_("retired"), null=True, blank=True)

    objects = SchemeRevisionQuerySet.as_manager()

    class Meta:
        ordering = ["scheme__code", "-revision"]
        constraints = [
            models.UniqueConstraint(fields=["scheme", "revision"], name="scheme_revision_once"),
            models.CheckConstraint(
                condition=Q(validity_months__gte=1), name="scheme_has_a_validity"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_draft(self) -> bool:
        return self.published_at is None


class SchemeRequirement(models.Model):
    """Boards of one exercise that somebody must have passed for a scope."""

    revision = models.ForeignKey(SchemeRevision, models.CASCADE, related_name="requirements")
    scope = models.ForeignKey(Scope, models.PROTECT, related_name="requirements")
    exercise_code = models.CharField(_("exercise"), max_length=24)
    purposes = models.JSONField(
        _("purposes that count"), default=list, help_text=_("Empty: any purpose.")
    )
    boards = models.PositiveSmallIntegerField(_("boards passed"), default=1)
    within_months = models.PositiveSmallIntegerField(
        _("passed within, months"), default=12, help_text=_("0: however long ago.")
    )
    after_exercise = models.CharField(_("after the exercise"), max_length=24, blank=True)
    after_course = models.CharField(_("after the course"), max_length=24, blank=True)

    class Meta:
        ordering = ["scope", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["revision", "scope", "exercise_code"], name="requirement_once_an_exercise"
            )
        ]

    def __str__(self) -> str:
        return f"{self.scope}: {self.boards} × {self.exercise_code}"
