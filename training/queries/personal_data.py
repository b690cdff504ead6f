"""What training keeps about somebody; of vision tests the result and no more."""

from collections.abc import Iterator

from django.utils.translation import gettext_lazy as _

from people.models import Person
from people.ports import DataTable
from training.models import (
    Absence,
    Attendance,
    AwayLimit,
    ClassLetter,
    Enrolment,
    ToolOutOfService,
    WaitingPlace,
)

RECORDED = _("instant at which it was recorded, UTC")
TOOL = _("code of the tool")
WITHDRAWN = _("since when it counts as never entered")


def personal_data(person: Person) -> Iterator[DataTable]:
    course = "session__course_revision__course__title"
    yield DataTable(
        "classes",
        _("Classes they are or were enrolled in"),
        {
            "class": ("session__number", _("number of the class")),
            "course": (course, _("course")),
            "recorded_at": ("recorded_at", RECORDED),
        },
        Enrolment.objects.filter(person=person).order_by("pk"),
        is_result=True,
    )
    yield from _places(person, course)
    yield DataTable(
        "attendance",
        _("Days of classes"),
        {
            "class": ("enrolment__session__number", _("number of the class")),
            "day": ("day", _("day")),
            "present": ("present", _("whether they were there")),
        },
        Attendance.objects.filter(enrolment__person=person).order_by("day", "pk"),
        is_result=True,
    )
    yield DataTable(
        "days_away",
        _("Days on which they are away from classes; why is not kept"),
        {
            "from_day": ("from_day", _("first day away")),
            "through_day": ("through_day", _("last day away")),
            "recorded_at": ("recorded_at", RECORDED),
        },
        Absence.objects.filter(person=person).order_by("from_day", "pk"),
    )
    yield DataTable(
        "away_limit",
        _("How many of the people they lead may be away at once"),
        {
            "people": ("people", _("people away at once")),
            "recorded_at": ("recorded_at", RECORDED),
        },
        AwayLimit.objects.filter(lead=person).order_by("pk"),
    )
    yield DataTable(
        "vision_tests",
        _("Vision tests: passed or not, and nothing medical beside it"),
        {
            "number": ("test_id", _("number of the test")),
            "tested_on": ("tested_on", _("day of the test")),
            "passed": ("passed", _("whether it was passed")),
            "recorded_at": ("recorded_at", RECORDED),
            "withdrawn_at": ("withdrawal__withdrawn_at", WITHDRAWN),
        },
        person.vision_tests.order_by("tested_on", "pk"),
        is_result=True,
    )
    yield DataTable(
        "practice",
        _("Work done within a scope"),
        {
            "scope": ("scope_code", _("scope")),
            "done_on": ("performed_on", _("day of the work")),
            "reference": ("reference", _("unit or work order")),
            "recorded_at": ("recorded_at", RECORDED),
            "withdrawn_at": ("withdrawal__withdrawn_at", WITHDRAWN),
        },
        person.practice.order_by("performed_on", "pk"),
        is_result=True,
    )
    yield DataTable(
        "tools",
        _("Tools they are responsible for"),
        {"tool": ("code", TOOL), "name": ("name", _("make and model"))},
        person.tools.order_by("code"),
    )
    yield DataTable(
        "tools_told",
        _("Tools out of service of which they were told"),
        {
            "tool": ("tool__code", TOOL),
            "first_day": ("first_day", _("day from which it was out")),
            "reason": ("reason", _("why")),
            "recorded_at": ("recorded_at", RECORDED),
        },
        ToolOutOfService.objects.filter(told=person).order_by("pk"),
    )
    yield DataTable(
        "work_reports",
        _("Work they reported themselves"),
        {
            "scope": ("scope_code", _("scope")),
            "done_on": ("performed_on", _("day of the work")),
            "reference": ("reference", _("unit or work order")),
            "recorded_at": ("recorded_at", RECORDED),
            "confirmed": ("decision__confirmed", _("whether it was confirmed")),
            "reason": ("decision__reason", _("why not")),
        },
        person.work_reports.order_by("recorded_at", "pk"),
    )


def _places(person: Person, course: str) -> Iterator[DataTable]:
    yield DataTable(
        "waiting_lists",
        _("Classes for a place in which they wait"),
        {
            "class": ("session__number", _("number of the class")),
            "course": (course, _("course")),
            "recorded_at": ("recorded_at", RECORDED),
        },
        WaitingPlace.objects.filter(person=person).order_by("pk"),
        is_result=True,
    )
    yield DataTable(
        "class_letters",
        _("What they were written about their places in classes"),
        {
            "class": ("session__number", _("number of the class")),
            "kind": ("kind", _("invitation, change or cancellation")),
            "number": ("sequence", _("number among their letters about the class; 0 is the first")),
            "by_mail": ("by_mail", _("whether it was sent by mail")),
            "printed_at": ("printed_at", _("instant at which it was printed, UTC")),
            "recorded_at": ("recorded_at", RECORDED),
        },
        ClassLetter.objects.filter(person=person).order_by("pk"),
        is_result=True,
    )
