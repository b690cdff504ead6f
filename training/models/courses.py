"""Courses as written, and the classes in which they are taught."""

from datetime import date

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from people.models.people import Person, Site, User
from records.models import Recorded

from .exercises import Exercise


class Course(models.Model):
    code = models.CharField(_("code"), max_length=24, unique=True)
    title = models.CharField(_("title"), max_length=120)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.title


class CourseRevisionQuerySet(models.QuerySet["CourseRevision"]):
    def newest(self) -> "CourseRevisionQuerySet":
        """What classes are planned of: the newest published revision of each course, by its code.

        A course that was retired has none.
        """
        newer = self.model._default_manager.filter(
            course=models.OuterRef("course"),
            revision__gt=models.OuterRef("revision"),
            published_at__isnull=False,
        )
        return (
            self.published()
            .filter(~models.Exists(newer), retired_at__isnull=True)
            .order_by("course__code")
        )

    def published(self) -> "CourseRevisionQuerySet":
        return self.filter(published_at__isnull=False)

    def drafts(self) -> "CourseRevisionQuerySet":
        return self.filter(published_at__isnull=True)


class CourseRevision(Recorded):
    """What a course consisted of; a class names the revision it was taught from.

    Once published it never changes, and the next revision begins as a copy of it.
    """

    course = models.ForeignKey(Course, models.PROTECT, related_name="revisions")
    revision = models.PositiveSmallIntegerField(_("revision"))
    summary = models.TextField(_("summary"), blank=True)
    days = models.PositiveSmallIntegerField(_("days"), default=1)
    material = models.TextField(
        _("material"), blank=True, help_text=_("What has to be there, a line each.")
    )
    scope_codes = models.JSONField(_("scopes it leads to"), default=list, blank=True)
    after_courses = models.JSONField(
        _("courses completed first"), default=list, blank=True, help_text=_("By their codes.")
    )
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

    objects = CourseRevisionQuerySet.as_manager()

    class Meta:
        ordering = ["course", "-revision"]
        constraints = [
            models.UniqueConstraint(fields=["course", "revision"], name="course_revision_once")
        ]

    def __str__(self) -> str:
        return f"{self.course}, rev. {self.revision}"

    @property
    def is_draft(self) -> bool:
        return self.published_at is None


class Lesson(models.Model):
    class Kind(models.TextChoices):
        DEMONSTRATION = "demonstration", _("demonstration")
        READING = "reading", _("reading")
        PRACTICE = "practice", _("practice")
        JUDGING = "judging", _("judging")
        TEST = "test", _("test")

    course_revision = models.ForeignKey(CourseRevision, models.CASCADE, related_name="lessons")
    order = models.PositiveSmallIntegerField()
    day = models.PositiveSmallIntegerField(_("day of the course"), default=1)
    title = models.CharField(_("title"), max_length=120)
    text = models.TextField(_("what is taught"), blank=True)
    minutes = models.PositiveSmallIntegerField(_("minutes"))
    kind = models.CharField(_("kind"), max_length=16, choices=Kind.choices, blank=True)
    material = models.CharField(_("material"), max_length=200, blank=True)
    exercise = models.ForeignKey(
        Exercise, models.PROTECT, null=True, blank=True, related_name="lessons"
    )

    class Meta:
        ordering = ["order"]
        constraints = [
            models.UniqueConstraint(fields=["course_revision", "order"], name="lesson_order_once")
        ]

    def __str__(self) -> str:
        return self.title


def runs_on(day: date) -> Q:
    """Classes that are held on a day: one of their own days, and they are not cancelled."""
    return Q(cancelled_at__isnull=True) & Q(
        models.Exists(SessionDay.objects.filter(session=models.OuterRef("pk"), day=day))
    )


class ClassSessionQuerySet(models.QuerySet["ClassSession"]):
    def standing(self) -> "ClassSessionQuerySet":
        """Classes that were not cancelled."""
        return self.filter(cancelled_at__isnull=True)

    def running_on(self, day: date) -> "ClassSessionQuerySet":
        return self.filter(runs_on(day))

    def with_list_columns(self) -> "ClassSessionQuerySet":
        """Everything a line in a list of classes shows, in one query."""
        return self.select_related(
            "course_revision__course", "site", "instructor__person"
        ).annotate(enrolled=models.Count("enrolments", distinct=True))


class ClassSession(Recorded):
    """A course taught at a site on days of its own, the first and the last among them."""

    class OpenTo(models.TextChoices):
        NOBODY = "nobody", _("instructors alone enrol people")
        SITE = "site", _("people of the site book places")
        ALL = "all", _("people of every site book places")

    number = models.CharField(_("number"), max_length=24, unique=True)
    course_revision = models.ForeignKey(CourseRevision, models.PROTECT, related_name="sessions")
    site = models.ForeignKey(Site, models.PROTECT, related_name="sessions")
    instructor = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="sessions"
    )
    room = models.CharField(_("room"), max_length=80, blank=True)
    # Where the room is one of the site's; its name then stands in words too.
    held_in = models.ForeignKey(
        "training.Room", models.PROTECT, null=True, blank=True, related_name="sessions"
    )
    starts_on = models.DateField(_("first day"))
    ends_on = models.DateField(_("last day"))
    places = models.PositiveSmallIntegerField(_("places"), default=8)
    open_to = models.CharField(
        _("open to"), max_length=8, choices=OpenTo.choices, default=OpenTo.NOBODY
    )
    book_until_days = models.PositiveSmallIntegerField(
        _("days before the first day until which people book and give back"), default=1
    )
    cancelled_at = models.DateTimeField(_("cancelled"), null=True, blank=True)
    why_cancelled = models.CharField(_("why"), max_length=400, blank=True)
    people = models.ManyToManyField(Person, through="Enrolment", related_name="sessions")

    objects = ClassSessionQuerySet.as_manager()

    class Meta:
        ordering = ["-starts_on", "number"]
        constraints = [
            models.CheckConstraint(
                condition=Q(ends_on__gte=models.F("starts_on")), name="class_ends_after_it_starts"
            )
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.course_revision.course.title}"

    def teachers(self) -> list[User]:
        """The lead first, then the others by name."""
        return [self.instructor, *(other.instructor for other in self.other_instructors.all())]


class SessionDay(models.Model):
    """One day on which a class is held, whatever weekday it is."""

    session = models.ForeignKey(ClassSession, models.CASCADE, related_name="days")
    day = models.DateField(_("day"))

    class Meta:
        ordering = ["day"]
        constraints = [
            models.UniqueConstraint(fields=["session", "day"], name="class_held_once_a_day")
        ]

    def __str__(self) -> str:
        return f"{self.session}: {self.day}"


class Enrolment(Recorded):
    session = models.ForeignKey(ClassSession, models.PROTECT, related_name="enrolments")
    person = models.ForeignKey(Person, models.PROTECT, related_name="enrolments")

    class Meta:
        ordering = ["person__full_name"]
        constraints = [
            models.UniqueConstraint(fields=["session", "person"], name="enrolled_once_in_a_class")
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.session}"


class Attendance(Recorded):
    """Whether somebody was there on one day of a class."""

    enrolment = models.ForeignKey(Enrolment, models.PROTECT, related_name="attendances")
    day = models.DateField(_("day"))
    present = models.BooleanField(_("present"))

    class Meta:
        ordering = ["day"]
        constraints = [
            models.UniqueConstraint(fields=["enrolment", "day"], name="attendance_once_a_day")
        ]

    def __str__(self) -> str:
        return f"{self.enrolment}: {self.day}"
