"""Written tests: what they ask and by which rules, and the papers that people answer.

A revision of a test is drafted, then published and never changed. What happens to a paper is a row
each time, and no row of it changes.
"""

import secrets

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from people.models import Person, Site
from records.models import Recorded, Signature
from training.models import CourseRevision, Lesson

from .photos import Photo


def secret_seed() -> str:
    return secrets.token_hex(16)


class WrittenTestQuerySet(models.QuerySet["WrittenTest"]):
    def published(self) -> "WrittenTestQuerySet":
        return self.filter(published_at__isnull=False)

    def current(self) -> "WrittenTestQuerySet":
        """What papers are handed out of: published, and not retired."""
        return self.published().filter(retired_at__isnull=True)

    def drafts(self) -> "WrittenTestQuerySet":
        return self.filter(published_at__isnull=True)


class WrittenTest(Recorded):
    """One revision of a test on a revision of a course; a paper names the one it was drawn from."""

    class Forms(models.TextChoices):
        FIXED = "fixed", _("fixed forms: each question says on which it stands")
        DRAWN = "drawn", _("drawn for each paper: so many questions of each topic")

    code = models.CharField(_("code"), max_length=24)
    revision = models.PositiveSmallIntegerField(_("revision"), default=1)
    title = models.CharField(_("title"), max_length=120)
    course_revision = models.ForeignKey(
        CourseRevision, models.PROTECT, related_name="written_tests"
    )
    minutes = models.PositiveSmallIntegerField(_("time limit in minutes"), default=30)
    open_book = models.BooleanField(_("open book"), default=False)
    may_use = models.CharField(_("what may be used"), max_length=200, blank=True)
    pass_percent = models.PositiveSmallIntegerField(_("pass mark, per cent right"), default=80)
    pass_basis = models.CharField(_("what the pass mark rests on"), max_length=400, blank=True)
    tries = models.PositiveSmallIntegerField(_("tries"), default=3)
    wait_days = models.PositiveSmallIntegerField(_("days to wait after a failed try"), default=1)
    another_form = models.BooleanField(_("another form at each try"), default=True)
    forms = models.CharField(_("forms"), max_length=8, choices=Forms.choices, default=Forms.DRAWN)
    counts = models.JSONField(_("questions of each topic"), default=list, blank=True)
    seed = models.CharField(max_length=64, editable=False, default=secret_seed)
    source = models.CharField(_("where it comes from"), max_length=200, blank=True)
    begun_from = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="revised_by"
    )
    changed_at = models.DateTimeField(_("changed in the draft"), null=True, blank=True)
    changed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    published_at = models.DateTimeField(_("published"), null=True, blank=True)
    published_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    publishing_reason = models.CharField(_("why it was published"), max_length=400, blank=True)
    retired_at = models.DateTimeField(_("retired"), null=True, blank=True)

    objects = WrittenTestQuerySet.as_manager()

    class Meta:
        ordering = ["code", "-revision"]
        constraints = [
            models.UniqueConstraint(fields=["code", "revision"], name="written_test_revision_once"),
            models.CheckConstraint(
                condition=Q(pass_percent__gte=1, pass_percent__lte=100),
                name="written_test_pass_mark_one_to_hundred",
            ),
            models.CheckConstraint(
                condition=Q(tries__gte=1, minutes__gte=1), name="written_test_can_be_taken"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.title}, rev. {self.revision}"

    @property
    def is_draft(self) -> bool:
        return self.published_at is None

    @property
    def in_use(self) -> bool:
        return self.published_at is not None and self.retired_at is None


class Question(models.Model):
    """One question of a test, with what is right and what is to be read again."""

    class Kind(models.TextChoices):
        ONE = "one", _("one is right")
        SEVERAL = "several", _("several are right")
        NUMBER = "number", pgettext_lazy("a question", "a number")
        ORDER = "order", _("bring into order")
        PLACE = "place", _("mark the place on a picture")

    test = models.ForeignKey(WrittenTest, models.CASCADE, related_name="questions")
    code = models.CharField(_("code"), max_length=8)
    order = models.PositiveSmallIntegerField()
    topic = models.CharField(_("topic"), max_length=80)
    kind = models.CharField(_("kind"), max_length=8, choices=Kind.choices)
    text = models.TextField(_("question"))
    choices = models.JSONField(_("choices"), default=list, blank=True)
    key = models.JSONField(_("what is right"), default=dict)
    unit = models.CharField(_("unit"), max_length=12, blank=True)
    drawing = models.CharField(_("drawing"), max_length=80, blank=True)
    photo = models.ForeignKey(
        Photo, models.PROTECT, null=True, blank=True, related_name="in_questions"
    )
    picture_says = models.CharField(_("what the picture shows"), max_length=200, blank=True)
    must_be_right = models.BooleanField(_("must be right"), default=False)
    on_forms = models.CharField(_("on the forms"), max_length=8, blank=True)
    lesson = models.ForeignKey(
        Lesson, models.PROTECT, null=True, blank=True, related_name="questions"
    )
    read_again = models.CharField(_("what to read again"), max_length=200, blank=True)
    source = models.CharField(_("where it comes from"), max_length=200, blank=True)

    class Meta:
        ordering = ["test", "order", "id"]
        constraints = [
            models.UniqueConstraint(fields=["test", "code"], name="question_code_once_a_test")
        ]

    def __str__(self) -> str:
        return f"{self.test.code} {self.code}"

    @property
    def has_picture(self) -> bool:
        return bool(self.drawing) or self.photo_id is not None


class PaperQuerySet(models.QuerySet["Paper"]):
    def standing(self) -> "PaperQuerySet":
        """Those that were not withdrawn."""
        return self.filter(withdrawal__isnull=True)

    def ended(self) -> "PaperQuerySet":
        return self.filter(end__isnull=False)

    def under_way(self) -> "PaperQuerySet":
        return self.standing().filter(start__isnull=False, end__isnull=True)


class Paper(Recorded):
    """A test handed out to one person: its form, fixed before anybody sees it."""

    class Medium(models.TextChoices):
        SCREEN = "screen", _("on the screen")
        PRINTED = "printed", _("on paper")

    number = models.CharField(_("number"), max_length=24, unique=True)
    test = models.ForeignKey(WrittenTest, models.PROTECT, related_name="papers")
    person = models.ForeignKey(Person, models.PROTECT, related_name="written_tests")
    site = models.ForeignKey(Site, models.PROTECT, related_name="written_tests")
    attempt = models.PositiveSmallIntegerField(_("try"))
    form = models.CharField(_("form"), max_length=1, blank=True)
    seed = models.CharField(max_length=64, editable=False)
    medium = models.CharField(_("taken"), max_length=8, choices=Medium.choices)
    not_before = models.DateField(_("not before"))
    handed_out_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    objects = PaperQuerySet.as_manager()

    class Meta:
        ordering = ["-recorded_at", "-id"]

    def __str__(self) -> str:
        return self.number


class PaperQuestion(models.Model):
    """A question where it stands on a paper, and the order in which its choices are shown."""

    paper = models.ForeignKey(Paper, models.PROTECT, related_name="questions")
    order = models.PositiveSmallIntegerField()
    question = models.ForeignKey(Question, models.PROTECT, related_name="on_papers")
    shown = models.JSONField(_("choices as they are shown"), default=list)

    class Meta:
        ordering = ["paper", "order"]
        constraints = [
            models.UniqueConstraint(fields=["paper", "order"], name="paper_question_order_once"),
            models.UniqueConstraint(fields=["paper", "question"], name="paper_question_once"),
        ]

    def __str__(self) -> str:
        return f"{self.paper} {self.order}"


class PaperStart(Recorded):
    """That somebody began a paper, and the instant at which its time is over."""

    paper = models.OneToOneField(Paper, models.PROTECT, related_name="start")
    ends_at = models.DateTimeField(_("time is over"))

    def __str__(self) -> str:
        return f"{self.paper}: {self.recorded_at}"


class PaperAnswer(Recorded):
    """An answer as it was given; of several to one question the latest that came in time counts."""

    paper_question = models.ForeignKey(PaperQuestion, models.PROTECT, related_name="answers")
    given = models.JSONField(_("as it was given"), default=list)
    late = models.BooleanField(_("came after the time was over"), default=False)
    key = models.CharField(max_length=36, editable=False)
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["paper_question", "key"], name="paper_answer_sent_once")
        ]

    def __str__(self) -> str:
        return f"{self.paper_question}: {self.given}"


class PaperEnd(Recorded):
    """That a paper takes no more answers that count by themselves."""

    class How(models.TextChoices):
        HANDED_IN = "handed_in", _("handed in")
        TIME_OVER = "time_over", _("time was over")
        ENTERED = "entered", _("entered from paper")

    paper = models.OneToOneField(Paper, models.PROTECT, related_name="end")
    how = models.CharField(_("how"), max_length=12, choices=How.choices)
    ended_on = models.DateField(_("day"))

    def __str__(self) -> str:
        return f"{self.paper}: {self.get_how_display()}"


class PaperResult(Recorded):
    """What a paper came to; of several the latest counts, and says why it was marked again."""

    paper = models.ForeignKey(Paper, models.PROTECT, related_name="results")
    round = models.PositiveSmallIntegerField(validators=[MinValueValidator(1)])
    right = models.PositiveSmallIntegerField(_("right"))
    of = models.PositiveSmallIntegerField(_("questions"))
    missed = models.JSONField(_("that must be right and are not"), default=list)
    passed = models.BooleanField(_("passed"))
    marked = models.JSONField(_("question by question"))
    late_count = models.BooleanField(_("late answers count"), default=False)
    reason = models.CharField(_("why"), max_length=400, blank=True)
    signature = models.OneToOneField(
        Signature, models.PROTECT, null=True, related_name="paper_result"
    )

    class Meta:
        ordering = ["paper", "round"]
        constraints = [
            models.UniqueConstraint(fields=["paper", "round"], name="paper_result_once_a_round")
        ]

    def __str__(self) -> str:
        return f"{self.paper}: {self.right} of {self.of}"


class PaperWithdrawal(Recorded):
    """That a paper counts for nothing and is no try; it is kept to be read."""

    paper = models.OneToOneField(Paper, models.PROTECT, related_name="withdrawal")
    reason = models.CharField(_("why it is withdrawn"), max_length=400)
    withdrawn_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"{self.paper}: {self.reason}"
