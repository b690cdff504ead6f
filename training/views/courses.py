"""Courses as written, and the classes in which they are taught."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from people import access as people_access
from people.access import UserRequest, role_required
from people.forms.fields import SUGGESTED_PEOPLE
from people.models import Person, Role, Site
from people.presenters.days import format_day_with_weekday
from training import access, ports
from training.content.cautions import CLOSING
from training.exceptions import (
    ClassChangedMeanwhile,
    InAnotherClass,
    MeetsOtherClasses,
    TrainingError,
)
from training.forms.courses import ClassFilterForm, ClassForm, EnrolForm
from training.forms.exercises import RetiringForm
from training.forms.grids import attendance_shown, keys_ticked
from training.forms.placing import people_named
from training.forms.waiting import ReasonForm
from training.models import ClassSession, Course, CourseRevision, Enrolment
from training.presenters import grids
from training.presenters.class_days import days_listed
from training.presenters.readiness import not_ready_sentences
from training.presenters.teachers import not_entitled_sentences
from training.queries.classes import class_days, letters_to_print, weekdays_chosen
from training.queries.completed import named, titles_of
from training.queries.meeting_classes import Meeting
from training.services import attendance
from training.services import courses as services
from training.services.class_lock import class_digest

PAGE_SIZE = 40
FORM_METHODS = ["GET", "HEAD", "POST"]
KEPT_IN_FORM = ("starts_on", "ends_on", "places", "room", "open_to", "book_until_days")


@require_safe
@login_required
def course_list(request: UserRequest) -> HttpResponse:
    """What classes are planned of, and before it, for whoever works on them, the drafts."""
    may_draft = access.may_draft(request.user)
    drafts = CourseRevision.objects.drafts().select_related("course", "changed_by__person")
    context = {
        "revisions": CourseRevision.objects.newest().select_related("course"),
        "drafts": list(drafts) if may_draft else [],
        "may_draft": may_draft,
        "may_publish": request.user.has_role(Role.QUALITY),
    }
    return render(request, "training/course_list.html", context)


@require_safe
@login_required
def course_detail(request: UserRequest, code: str) -> HttpResponse:
    """The newest revision that was published, or the one asked for by ``?revision=``."""
    course = get_object_or_404(Course, code=code)
    readable = access.course_revisions_readable_by(request.user).filter(course=course)
    revisions = sorted(readable, key=lambda one: (one.is_draft, -one.revision))
    number = request.GET.get("revision", "")
    found = [one for one in revisions if not number or str(one.revision) == number]
    if not found:
        raise Http404
    revision = found[0]
    days: dict[int, list] = {}
    for lesson in revision.lessons.select_related("exercise"):
        days.setdefault(lesson.day, []).append(lesson)
    scopes = dict(ports.scopes())
    may_publish = request.user.has_role(Role.QUALITY)
    in_use = not revision.is_draft and revision.retired_at is None
    context = {
        "course": course,
        "revision": revision,
        "revisions": revisions,
        "days": [
            (day, lessons, sum(lesson.minutes for lesson in lessons))
            for day, lessons in days.items()
        ],
        "minutes": sum(lesson.minutes for lessons in days.values() for lesson in lessons),
        "material": revision.material.splitlines(),
        "scopes": [(code, scopes.get(code, "")) for code in revision.scope_codes],
        "before": named(revision.after_courses, titles_of(revision.after_courses)),
        "may_plan": request.user.has_role(Role.INSTRUCTOR) and in_use,
        "may_draft": access.may_draft(request.user),
        "draft": next((one for one in revisions if one.is_draft), None),
        "may_publish": may_publish,
        "retiring_form": RetiringForm(auto_id="retire-%s") if may_publish and in_use else None,
        "closing": _(CLOSING),
    }
    return render(request, "training/course_detail.html", context)


@require_safe
@role_required(Role.INSTRUCTOR, Role.QUALITY)
def class_list(request: UserRequest) -> HttpResponse:
    readable = access.sessions_readable_by(request.user)
    sites = Site.objects.filter(pk__in=readable.order_by().values("site"))
    form = ClassFilterForm(request.GET, sites=sites)
    filters = form.chosen()
    days = people_access.days_for(request.user, {site.pk for site in sites}, timezone.now())
    sessions = readable.with_list_columns()
    when = filters.get("when", "")
    if when == "past":
        over = days.each(lambda day: Q(ends_on__lt=day), "site")
        sessions = sessions.filter(over).order_by("-starts_on", "number")
    elif when == "all":
        sessions = sessions.order_by("-starts_on", "number")
    else:
        to_come = days.each(lambda day: Q(ends_on__gte=day), "site")
        sessions = sessions.standing().filter(to_come).order_by("starts_on", "number")
    if "site" in filters:
        sessions = sessions.filter(site=filters["site"])
    page = Paginator(sessions, PAGE_SIZE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page": page,
        "filtered": bool(filters),
        "today": days.day,
        "may_plan": request.user.has_role(Role.INSTRUCTOR),
    }
    return render(request, "training/class_list.html", context)


@require_http_methods(FORM_METHODS)
@role_required(Role.INSTRUCTOR)
def class_new(request: UserRequest) -> HttpResponse:
    course_code = request.GET.get("course", "")
    sent = request.POST if request.method == "POST" else request.GET
    people = people_named(sent, people_access.people_listed_for(request.user))
    overlaps: list[Enrolment] = []
    meetings: list[Meeting] = []
    revisions = CourseRevision.objects.newest().select_related("course")
    form = ClassForm(
        request.POST if request.method == "POST" else None,
        sites=Site.objects.filter(pk__in=request.user.sites_as(Role.INSTRUCTOR)),
        revisions=revisions,
        initial={
            "course_revision": next(
                (revision for revision in revisions if revision.course.code == course_code), None
            ),
            "instructor": request.user.employee_number,
            "places": max(8, len(people)),
            "open_to": ClassSession.OpenTo.SITE,
        },
    )
    if request.method == "POST" and form.is_valid():
        try:
            session = services.plan_class_for(
                people,
                **form.cleaned_data,
                actor=request.user,
                at=timezone.now(),
                overlaps=request.POST.getlist("overlap"),
                known=request.POST.getlist("known"),
            )
        except InAnotherClass as error:
            overlaps = error.enrolments
        except MeetsOtherClasses as error:
            meetings, overlaps = error.meetings, error.enrolments
        except TrainingError as error:
            form.add_error(None, str(error))
        else:
            say_who_is_not_entitled(request, session)
            messages.success(request, _planned(session, people))
            for sentence in not_ready_sentences(session, people):
                messages.warning(request, sentence)
            return redirect("training:class_detail", session.number)
    context = {
        "form": form,
        "people": people,
        "overlaps": overlaps,
        "meetings": meetings,
        "known": request.POST.getlist("known"),
        "nothing_to_teach": not revisions,
    }
    status = 422 if form.is_bound else 200
    return render(request, "training/class_form.html", context, status=status)


def say_who_is_not_entitled(request: UserRequest, session: ClassSession) -> None:
    for sentence in not_entitled_sentences(session):
        messages.warning(request, sentence)


def _planned(session: ClassSession, people: Sequence[Person]) -> str:
    words = {"number": session, "days": days_listed(class_days(session)), "n": len(people)}
    if not people:
        return _("Class %(number)s is planned for %(days)s. Enrol people now.") % words
    return (
        ngettext(
            "Class %(number)s is planned for %(days)s, and %(n)d person is enrolled.",
            "Class %(number)s is planned for %(days)s, and %(n)d people are enrolled.",
            len(people),
        )
        % words
    )


@require_http_methods(FORM_METHODS)
@login_required
def class_edit(request: UserRequest, number: str) -> HttpResponse:
    session = access.session_for_instructor(request.user, number)
    form = ClassForm(
        request.POST if request.method == "POST" else None,
        sites=Site.objects.filter(pk=session.site_id),
        session=session,
        initial={
            "instructor": session.instructor.employee_number,
            "others": [one.employee_number for one in session.teachers()[1:]],
            **{name: getattr(session, name) for name in KEPT_IN_FORM},
            "weekdays": weekdays_chosen(session),
        },
    )
    overlaps: list[Enrolment] = []
    meetings: list[Meeting] = []
    # A page that is shown again for another reason still says what it first showed.
    seen = request.POST.get("seen") or class_digest(session)
    if request.method == "POST" and form.is_valid():
        try:
            session = services.change_class(
                session=session,
                **form.cleaned_data,
                actor=request.user,
                at=timezone.now(),
                known=request.POST.getlist("known"),
                overlaps=request.POST.getlist("overlap"),
                seen=request.POST.get("seen"),
            )
        except ClassChangedMeanwhile as error:
            session = access.session_for_instructor(request.user, number)
            seen = class_digest(session)
            form.add_error(None, [str(error), *_otherwise(form, session)])
        except InAnotherClass as error:
            overlaps = error.enrolments
        except MeetsOtherClasses as error:
            meetings, overlaps = error.meetings, error.enrolments
        except TrainingError as error:
            form.add_error(None, str(error))
        else:
            say_who_is_not_entitled(request, session)
            messages.success(
                request,
                _("The class is changed. Its days are %(days)s.")
                % {"days": days_listed(class_days(session))},
            )
            return redirect("training:class_detail", number)
    context = {
        "form": form,
        "session": session,
        "overlaps": overlaps,
        "meetings": meetings,
        "known": request.POST.getlist("known"),
        "seen": seen,
        "reason_form": ReasonForm(),
    }
    status = 422 if form.is_bound else 200
    return render(request, "training/class_form.html", context, status=status)


def _otherwise(form: ClassForm, session: ClassSession) -> list[str]:
    """What stands there now of what was typed otherwise, a line for each field."""
    now = {
        **{name: getattr(session, name) for name in KEPT_IN_FORM},
        "instructor": session.instructor,
        "weekdays": weekdays_chosen(session),
        "others": session.teachers()[1:],
    }
    words = {
        "open_to": session.get_open_to_display(),
        "weekdays": days_listed(class_days(session)),
        "others": ", ".join(str(one) for one in session.teachers()[1:]),
    }
    return [
        _("%(field)s, as it stands now: %(value)s")
        % {"field": form.fields[name].label, "value": words.get(name, value) or "–"}
        for name, value in now.items()
        if name in form.fields and _plain(form.cleaned_data.get(name)) != _plain(value)
    ]


def _plain(value: Any) -> Any:
    """A value to be compared: of several, whatever order they come in."""
    several = isinstance(value, Iterable) and not isinstance(value, str)
    return sorted(map(str, value)) if several else value


@require_safe
@login_required
def class_detail(request: UserRequest, number: str) -> HttpResponse:
    session = access.session_for_reader(request.user, number)
    form = EnrolForm(people=people_access.people_listed_for(request.user))
    return show_class(request, session, enrol_form=form)


def show_class(
    request: UserRequest,
    session: ClassSession,
    *,
    enrol_form: EnrolForm,
    overlaps: Sequence[Enrolment] = (),
) -> HttpResponse:
    """The page of a class: whoever is only enrolled sees themselves and not the others."""
    user, days = request.user, class_days(session)
    reads = user.has_role(*people_access.READERS, site=session.site_id)
    teaches = user.has_role(Role.INSTRUCTOR, site=session.site_id)
    enrolments = session.enrolments.select_related("person").prefetch_related("attendances")
    shown = enrolments if reads else enrolments.filter(person=user.person_id or 0)
    rows = []
    for enrolment in shown:
        present_on = {
            attendance.day: attendance.present for attendance in enrolment.attendances.all()
        }
        rows.append((enrolment, [(day, present_on.get(day)) for day in days], not present_on))
    today = session.site.today()
    waiting = session.waiting_places.select_related("person").order_by("rank")
    context = {
        "session": session,
        "days": days,
        "rows": rows,
        "waiting": waiting if reads else waiting.filter(person=user.person_id or 0),
        "enrolled": session.enrolments.count(),
        "free": max(session.places - session.enrolments.count(), 0),
        "letters": letters_to_print(session) if teaches else [],
        "not_entitled": not_entitled_sentences(session) if reads else [],
        "lessons": session.course_revision.lessons.select_related("exercise"),
        "reads": reads,
        "teaches": teaches and session.cancelled_at is None,
        "prints_letters": reads and user.has_role(Role.ADMINISTRATOR, site=session.site_id),
        "today": today,
        "is_held_today": today in days,
        "next_day": max((day for day in days if day <= today), default=None),
        "form": enrol_form,
        "overlaps": overlaps,
        "suggestions": enrol_form.known_people.filter(site=session.site)
        .at_work_on(today)
        .exclude(enrolments__session=session)
        .exclude(waiting_places__session=session)
        .order_by("full_name")[:SUGGESTED_PEOPLE],
    }
    status = 422 if enrol_form.is_bound else 200
    return render(request, "training/class_detail.html", context, status=status)


@require_POST
@login_required
def class_enrol(request: UserRequest, number: str) -> HttpResponse:
    session = access.session_for_instructor(request.user, number)
    form = EnrolForm(request.POST, people=people_access.people_listed_for(request.user))
    overlaps: list[Enrolment] = []
    if form.is_valid():
        try:
            enrolled = services.enrol_people(
                session=session,
                people=form.chosen(),
                actor=request.user,
                at=timezone.now(),
                overlaps=request.POST.getlist("overlap"),
            )
        except InAnotherClass as error:
            overlaps = error.enrolments
        except TrainingError as error:
            form.add_error("people", str(error))
        else:
            message = ngettext(
                "%(n)d person is enrolled.", "%(n)d people are enrolled.", len(enrolled)
            )
            messages.success(request, message % {"n": len(enrolled)})
            for sentence in not_ready_sentences(session, [one.person for one in enrolled]):
                messages.warning(request, sentence)
            return redirect("training:class_detail", number)
    session = access.session_for_reader(request.user, number)
    return show_class(request, session, enrol_form=form, overlaps=overlaps)


@require_POST
@login_required
def enrolment_cancel(request: UserRequest, number: str, enrolment_id: int) -> HttpResponse:
    session = access.session_for_instructor(request.user, number)
    enrolment = get_object_or_404(session.enrolments.select_related("person"), pk=enrolment_id)
    try:
        services.cancel_enrolment(enrolment=enrolment, actor=request.user, at=timezone.now())
    except TrainingError as error:
        messages.error(request, str(error))
    else:
        messages.success(
            request, _("%(name)s is taken off the class.") % {"name": enrolment.person.full_name}
        )
    return redirect("training:class_detail", number)


@require_http_methods(FORM_METHODS)
@login_required
def class_attendance(request: UserRequest, number: str, day: str) -> HttpResponse:
    """Who was there on one day of a class."""
    session = access.session_for_instructor(request.user, number)
    class_day = next(
        (class_day for class_day in class_days(session) if class_day.isoformat() == day), None
    )
    if class_day is None:
        raise Http404
    ticked = set(keys_ticked(request.POST, "present"))
    outcome, done, refused, status = None, "", "", 200
    if request.method == "POST":
        try:
            outcome = attendance.take_attendance(
                session=session,
                day=class_day,
                present=ticked,
                shown=attendance_shown(request.POST),
                actor=request.user,
                at=timezone.now(),
            )
        except TrainingError as error:
            refused = str(error)
        else:
            done = grids.attendance_sentence(outcome, ticked, class_day)
            if not outcome.refused:
                messages.success(request, done)
                return redirect("training:class_detail", number)
            done = done if outcome.recorded else ""
        status = 422
    rows = grids.attendance_rows(
        session, class_day, ticked if request.method == "POST" else None, outcome
    )
    if outcome is not None:
        refused = grids.refused_sentence(outcome, [row.of.pk for row in rows])
    context = {
        "title": _("Attendance"),
        "session": session,
        "day": class_day,
        "rows": rows,
        "done": done,
        "refused": refused,
        "words": grids.words_for_script(
            {"on": grids.there, "off": grids.absent},
            record=_("Record {what} on {day}"),
            nothing=_("Nobody is in the class"),
            of=format_day_with_weekday(class_day),
        ),
    }
    return render(request, "training/class_attendance.html", context, status=status)
