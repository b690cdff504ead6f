"""Who may see which class, exercise, course and tool, and of whom somebody writes facts down."""

from django.db.models import Case, Exists, OuterRef, Q, QuerySet, Value, When
from django.http import Http404
from django.shortcuts import get_object_or_404

from people.access import LARGEST_ROW, READERS, own_person, people_with_standing_for, row_number
from people.models import (
    Person,
    Role,
    User,
)
from people.models.people import PersonQuerySet

from .models import (
    Absence,
    CalibrationDocument,
    ClassSession,
    CourseRevision,
    Enrolment,
    Exercise,
    Room,
    Tool,
    WaitingPlace,
    WorkReport,
)
from .models.courses import ClassSessionQuerySet, CourseRevisionQuerySet
from .models.exercises import ExerciseQuerySet
from .models.work_reports import WorkReportQuerySet


def sessions_readable_by(user: User) -> ClassSessionQuerySet:
    """Classes at sites where the user teaches or audits."""
    return ClassSession.objects.filter(site__in=user.sites_as(*READERS))


def session_for_reader(user: User, number: str) -> ClassSession:
    """A class at a site where the user teaches or audits, or one they are in or wait for."""
    return get_object_or_404(
        ClassSession.objects.filter(
            Q(site__in=user.sites_as(*READERS))
            | Q(enrolments__person=user.person_id or 0)
            | Q(waiting_places__person=user.person_id or 0)
        )
        .select_related("course_revision__course", "site", "instructor__person")
        .distinct(),
        number=number,
    )


def sessions_offered_to(person: Person) -> ClassSessionQuerySet:
    """Classes in which somebody may book a place, is (``booked``) or waits for one (``waits``)."""
    of_the_class = {"session": OuterRef("pk"), "person": person}
    sessions = ClassSession.objects.annotate(
        booked=Exists(Enrolment.objects.filter(**of_the_class)),
        waits=Exists(WaitingPlace.objects.filter(**of_the_class)),
    )
    return sessions.standing().filter(
        Q(booked=True)
        | Q(waits=True)
        | Q(open_to=ClassSession.OpenTo.SITE, site=person.site_id)
        | Q(open_to=ClassSession.OpenTo.ALL)
    )


def session_offered_to(user: User, number: str) -> ClassSession:
    return get_object_or_404(
        sessions_offered_to(own_person(user)).select_related("site"), number=number
    )


def session_for_instructor(user: User, number: str) -> ClassSession:
    return get_object_or_404(
        ClassSession.objects.filter(site__in=user.sites_as(Role.INSTRUCTOR)).select_related(
            "course_revision__course", "site"
        ),
        number=number,
    )


def sessions_taught_by(user: User) -> ClassSessionQuerySet:
    """Classes at sites where the user is an instructor."""
    return ClassSession.objects.filter(site__in=user.sites_as(Role.INSTRUCTOR))


def rooms_readable_by(user: User) -> QuerySet[Room]:
    """Rooms of sites where the user teaches or audits."""
    return Room.objects.filter(site__in=user.sites_as(*READERS)).select_related("site")


def room_for_instructor(user: User, room_id: int) -> Room:
    rooms = rooms_readable_by(user).filter(site__in=user.sites_as(Role.INSTRUCTOR))
    return get_object_or_404(rooms, pk=room_id)


def may_draft(user: User) -> bool:
    """Whether the user works on drafts: as with criteria, instructors and quality of any site.

    Exercises and courses belong to the organisation, and only quality publishes them.
    """
    return user.has_role(*READERS)


def exercises_readable_by(user: User) -> ExerciseQuerySet:
    """Published exercises are everyone's to read, retired ones too; drafts who works on them."""
    return Exercise.objects.all() if may_draft(user) else Exercise.objects.published()


def revisions_readable_by(user: User, code: str) -> ExerciseQuerySet:
    """Revisions of one exercise: the one in use first, then the newest; a draft comes last."""
    return (
        exercises_readable_by(user)
        .filter(code=code)
        .order_by(
            Case(
                When(published_at__isnull=True, then=Value(2)),
                When(retired_at__isnull=False, then=Value(1)),
                default=Value(0),
            ),
            "-revision",
        )
    )


def revision_for_reader(user: User, code: str, number: str) -> Exercise:
    """The revision of an exercise by its number as it was asked for; the one in use without."""
    revisions = revisions_readable_by(user, code)
    if number:
        return get_object_or_404(revisions, revision=row_number(number))
    return get_object_or_404(revisions[:1])


def draft_for_editor(user: User, code: str) -> Exercise:
    """The draft of an exercise, for those who draft."""
    drafts = exercises_readable_by(user).drafts().select_related("changed_by__person", "begun_from")
    return get_object_or_404(drafts, code=code)


def exercise_for_quality(user: User, code: str, revision: int) -> Exercise:
    """A published revision, for those who may retire it."""
    if not user.has_role(Role.QUALITY):
        raise Http404
    return get_object_or_404(Exercise.objects.published(), code=code, revision=revision)


def course_revisions_readable_by(user: User) -> CourseRevisionQuerySet:
    """The same of courses."""
    return CourseRevision.objects.all() if may_draft(user) else CourseRevision.objects.published()


def course_draft_for_editor(user: User, code: str) -> CourseRevision:
    """The draft of a course, for those who draft."""
    drafts = course_revisions_readable_by(user).drafts()
    return get_object_or_404(
        drafts.select_related("course", "changed_by__person", "begun_from"), course__code=code
    )


def tools_readable_by(user: User) -> QuerySet[Tool]:
    return Tool.objects.filter(site__in=user.sites_as(*READERS)).select_related(
        "site", "answers_for"
    )


def tool_for_reader(user: User, code: str) -> Tool:
    return get_object_or_404(tools_readable_by(user), code=code)


def tool_for_instructor(user: User, code: str) -> Tool:
    return get_object_or_404(tools_kept_by(user), code=code)


def calibration_document_for_reader(
    user: User, code: str, calibration_id: int
) -> CalibrationDocument:
    """The certificate of a calibration, for whoever reads the tool."""
    documents = CalibrationDocument.objects.filter(calibration__tool__in=tools_readable_by(user))
    return get_object_or_404(documents, calibration=calibration_id, calibration__tool__code=code)


def tools_kept_by(user: User) -> QuerySet[Tool]:
    """Tools at sites where the user is an instructor."""
    return tools_readable_by(user).filter(site__in=user.sites_as(Role.INSTRUCTOR))


def people_tested_by(user: User) -> PersonQuerySet:
    """People whose vision tests the user writes down: at their sites, and never their own."""
    return Person.objects.filter(site__in=user.sites_as(*READERS)).exclude(pk=user.person_id or 0)


def work_reports_for(user: User) -> WorkReportQuerySet:
    """Reported work that waits for the user: of people whose work they confirm."""
    return work_reports_seen_by(user).undecided()


def work_reports_seen_by(user: User) -> WorkReportQuerySet:
    """All that people reported whose work the user confirms, decided or not."""
    return WorkReport.objects.filter(person__in=people_confirmed_by(user).order_by().values("pk"))


def people_confirmed_by(user: User) -> PersonQuerySet:
    """People whose work the user confirms: at their sites, a line lead's own; not themselves."""
    return people_with_standing_for(user).exclude(pk=user.person_id or 0)


def people_whose_days_away(user: User) -> PersonQuerySet:
    """People of whom the user enters when they are away: an instructor's site, a lead's own."""
    kept = Q(site__in=user.sites_as(Role.INSTRUCTOR))
    if user.person_id and user.has_role(Role.LINE_LEAD):
        kept |= Q(line_lead=user.person_id)
    return Person.objects.filter(kept)


def absences_kept_by(user: User) -> QuerySet[Absence]:
    people = people_whose_days_away(user).order_by().values("pk")
    return Absence.objects.filter(person__in=people).select_related("person__site")


def absence_for_keeper(user: User, absence_id: int) -> Absence:
    return get_object_or_404(absences_kept_by(user), pk=min(absence_id, LARGEST_ROW))


def leads_limited_by(user: User) -> PersonQuerySet:
    """Line leads whose limit the user sets: their own, and those of people at an instructor's."""
    led = Q(
        pk__in=Person.objects.filter(site__in=user.sites_as(Role.INSTRUCTOR))
        .order_by()
        .values("line_lead")
    )
    if user.person_id and user.has_role(Role.LINE_LEAD):
        led |= Q(pk=user.person_id)
    return Person.objects.filter(led)
