"""Boards and the joints on them."""

from typing import cast

from django.conf import settings
from django.db import models
from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce, Upper
from django.utils.translation import gettext_lazy as _

from people.models import Person, Site
from records.models import Recorded
from training.models import ClassSession, Exercise, Position, Tool


def sent_back() -> QuerySet["Rework"]:
    """The joints of a board that are being reworked, for a query about boards."""
    return Rework.objects.filter(joint__board=OuterRef("pk"), handed_in_at__isnull=True)


class BoardQuerySet(models.QuerySet["Board"]):
    def waiting(self) -> "BoardQuerySet":
        """Handed in and not yet judged to the end, oldest first; sent back, in again."""
        return self.filter(
            Q(outcome__isnull=True) | Q(outcome__complete=False),
            ~Exists(sent_back()),
            handed_in_at__isnull=False,
            disposed_at__isnull=True,
            cancelled_at__isnull=True,
        ).order_by("handed_in_at", "number")

    def passed(self) -> "BoardQuerySet":
        return self.filter(outcome__complete=True, outcome__passed=True)

    def at_the_bench(self) -> "BoardQuerySet":
        """Handed out, or sent back for rework, and not handed in; longest out first."""
        return self.filter(
            Q(handed_in_at__isnull=True) | Exists(sent_back()),
            disposed_at__isnull=True,
            cancelled_at__isnull=True,
        ).order_by("handed_out_on", "number")

    def graded(self) -> "BoardQuerySet":
        """Judged to the end, latest first."""
        return self.filter(outcome__complete=True).order_by("-outcome__decided_at", "-number")

    def cancelled(self) -> "BoardQuerySet":
        """Made by mistake and taken back, latest first."""
        return self.filter(cancelled_at__isnull=False).order_by("-cancelled_at", "-number")

    def in_state(self, state: str) -> "BoardQuerySet":
        """Boards in one of the states a list can show; anything else is all of them."""
        states = {
            "waiting": self.waiting,
            "bench": self.at_the_bench,
            "graded": self.graded,
            "cancelled": self.cancelled,
        }
        return states[state]() if state in states else self.order_by("-recorded_at", "-number")

    def naming(self, words: str) -> "BoardQuerySet":
        """Boards whose serial number, person, unit or work order holds every word."""
        boards = self
        for word in words.split():
            boards = boards.filter(
                Q(number__icontains=word)
                | Q(person__full_name__icontains=word)
                | Q(person__employee_number__iexact=word)
                | Q(unit__icontains=word)
                | Q(work_order__icontains=word)
            )
        return boards

    def with_list_columns(self) -> "BoardQuerySet":
        """Everything a line in a list of boards shows, in one query."""
        return self.select_related(
            "person", "exercise", "site", "outcome", "session", "reading_request"
        ).annotate(
            joint_count=self._count_of("joints", make=1),
            photo_count=self._count_of("photos"),
            is_sent_back=Exists(sent_back()),
            is_reworked=Exists(Joint.objects.filter(board=OuterRef("pk"), make__gt=1)),
        )

    def _count_of(self, name: str, **of: int) -> Coalesce:
        rows = cast(
            type[models.Model], self.model._meta.get_field(name).related_model
        )._default_manager
        counted = rows.filter(board=OuterRef("pk"), **of).order_by().values("board")
        return Coalesce(Subquery(counted.annotate(n=Count("pk")).values("n")), 0)


class Board(Recorded):
    """One piece of work by one person, made to one exercise."""

    class Purpose(models.TextChoices):
        PRACTICE = "practice", _("practice")
        QUALIFICATION = "qualification", _("qualification")
        REQUALIFICATION = "requalification", _("re-qualification")
        PRODUCTION = "production", _("production sample")

    QUALIFYING = (Purpose.QUALIFICATION, Purpose.REQUALIFICATION)

    number = models.CharField(_("serial number"), max_length=24, unique=True)
    person = models.ForeignKey(Person, models.PROTECT, related_name="boards")
    exercise = models.ForeignKey(Exercise, models.PROTECT, related_name="boards")
    site = models.ForeignKey(Site, models.PROTECT, related_name="boards")
    session = models.ForeignKey(
        ClassSession, models.PROTECT, null=True, blank=True, related_name="boards"
    )
    purpose = models.CharField(
        _("purpose"), max_length=16, choices=Purpose.choices, default=Purpose.PRACTICE
    )
    unit = models.CharField(_("unit"), max_length=80, blank=True)
    work_order = models.CharField(_("work order"), max_length=80, blank=True)
    alloy = models.CharField(_("solder alloy"), max_length=40, blank=True, default="Sn63Pb37")
    tools = models.ManyToManyField(Tool, blank=True, related_name="boards")
    handed_out_on = models.DateField(_("handed out on"))
    handed_in_at = models.DateTimeField(_("handed in"), null=True, blank=True)
    bench_minutes = models.PositiveSmallIntegerField(
        _("minutes at the bench"), null=True, blank=True
    )
    kept_where = models.CharField(_("where the piece is kept"), max_length=120, blank=True)
    kept_until = models.DateField(_("kept until"), null=True, blank=True)
    disposed_at = models.DateTimeField(_("disposed of"), null=True, blank=True)
    disposed_how = models.CharField(_("how it was disposed of"), max_length=120, blank=True)
    cancelled_at = models.DateTimeField(_("cancelled"), null=True, blank=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )

    objects = BoardQuerySet.as_manager()

    class Meta:
        ordering = ["-recorded_at", "-id"]
        indexes = [
            models.Index(fields=["site", "handed_in_at"], name="board_waiting"),
            models.Index(Upper("unit"), name="board_by_unit"),
            models.Index(Upper("work_order"), name="board_by_work_order"),
        ]

    def __str__(self) -> str:
        return self.number


class BoardCancellation(Recorded):
    """Why a board that was made by mistake is none; the board keeps its number and its row.

    ``Board.cancelled_at`` repeats when, so that whoever locks a board reads it with the lock.
    """

    board = models.OneToOneField(Board, models.PROTECT, related_name="cancellation")
    reason = models.CharField(_("reason"), max_length=400)
    cancelled_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"{self.board}: {self.reason}"


class PurposeCorrection(Recorded):
    """What a board was said to be for, what it is for, and why; the last one counts."""

    board = models.ForeignKey(Board, models.PROTECT, related_name="purpose_corrections")
    before = models.CharField(_("purpose before"), max_length=16, choices=Board.Purpose.choices)
    after = models.CharField(_("purpose"), max_length=16, choices=Board.Purpose.choices)
    reason = models.CharField(_("reason"), max_length=400)
    corrected_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.board}: {self.after}"


class Joint(Recorded):
    """One make of the joint at a position: rework adds a make, the earlier one stays."""

    board = models.ForeignKey(Board, models.PROTECT, related_name="joints")
    position = models.ForeignKey(Position, models.PROTECT, related_name="joints")
    make = models.PositiveSmallIntegerField(_("make"), default=1)

    class Meta:
        ordering = ["position__order", "make"]
        # Few of very many, and asked for with every list of boards.
        indexes = [models.Index(fields=["board"], condition=Q(make__gt=1), name="joint_reworked")]
        constraints = [
            models.UniqueConstraint(
                fields=["board", "position", "make"], name="joint_make_once_per_position"
            )
        ]

    def __str__(self) -> str:
        return (
            self.position.name
            if self.make == 1
            else f"{self.position.name}, rework {self.make - 1}"
        )


class Rework(Recorded):
    """A joint sent back to be made again: what was rejected of it, by whom, and when it came in.

    ``joint`` is the make that this asks for; the makes before it stay as they are.
    """

    joint = models.OneToOneField(Joint, models.PROTECT, related_name="rework")
    codes = models.JSONField(_("criteria rejected"), default=list)
    reason = models.CharField(_("what to do better"), max_length=400, blank=True)
    sent_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    handed_in_at = models.DateTimeField(_("handed in again"), null=True, blank=True)

    class Meta:
        ordering = ["joint__position__order", "joint__make"]

    def __str__(self) -> str:
        return f"{self.joint}: {', '.join(self.codes)}"


class DestructiveCheck(Recorded):
    """A section, pull or peel made of the piece, with what it showed."""

    board = models.ForeignKey(Board, models.PROTECT, related_name="destructive_checks")
    kind = models.CharField(_("kind"), max_length=80)
    result = models.TextField(_("result"))
    done_on = models.DateField(_("done on"))

    def __str__(self) -> str:
        return f"{self.board}: {self.kind}"


class BoardOutcome(models.Model):
    """What the signed judgements of a board add up to.

    Worked out again in the transaction that signs a stage; the signatures are the record.
    """

    board = models.OneToOneField(Board, models.CASCADE, related_name="outcome")
    complete = models.BooleanField(_("every stage signed"), default=False)
    passed = models.BooleanField(_("passed"), null=True)
    score = models.DecimalField(
        _("score"), max_digits=9, decimal_places=6, null=True, help_text=_("Not rounded for show.")
    )
    joints_judged = models.PositiveSmallIntegerField(default=0)
    joints_rejected = models.PositiveSmallIntegerField(default=0)
    critical_rejections = models.PositiveSmallIntegerField(default=0)
    reasons = models.JSONField(_("reasons"), default=list)
    decided_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"{self.board}: {self.score}"
