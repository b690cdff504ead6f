"""The bank of written tests: listed, drafted, published, handed out, and what answers say of it."""

from collections.abc import Sequence
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import QuerySet
from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assessments import access
from assessments.exceptions import AssessmentError, DraftOfTestChanged
from assessments.forms.written_tests import (
    HandOutForm,
    NewTestForm,
    PublishTestForm,
    QuestionForm,
    RetireTestForm,
    RulesForm,
    question_initial,
)
from assessments.models import Paper, Question, WrittenTest
from assessments.presenters import written_figures, written_paper, written_shown
from assessments.queries import written_figures as figures
from assessments.queries import written_tests as queries
from assessments.services import papers as paper_services
from assessments.services import written_tests as services
from people.access import READERS, UserRequest, role_required
from people.exceptions import ProofRefused
from people.models import Person, Role
from people.models.people import PersonQuerySet
from people.services.proof import prove_identity
from records.exceptions import ShownOtherwise
from training.models import ClassSession, CourseRevision, Lesson

from .photos import rendition_response

FORM_METHODS = ["GET", "HEAD", "POST"]
PAPERS_SHOWN = 100


@require_safe
@login_required
def written_test_list(request: UserRequest) -> HttpResponse:
    """One's own papers; for those who draft, the tests, and the papers at their sites."""
    now = timezone.now()
    reads = request.user.has_role(*READERS)
    tests = access.written_tests_readable_by(request.user).order_by("code", "-revision")
    papers = access.papers_readable_by(request.user) if reads else Paper.objects.none()
    context = {
        "own": [
            written_paper.paper_line(paper, now)
            for paper in access.own_papers(request.user).prefetch_related("results")
        ],
        "papers": [
            written_paper.paper_line(paper, now)
            for paper in papers.prefetch_related("results")[:PAPERS_SHOWN]
        ],
        "reads": reads,
        "tests": [test for test in tests if test.in_use],
        "drafts": [test for test in tests if test.is_draft],
        "may_hand_out": request.user.has_role(Role.INSTRUCTOR),
    }
    return render(request, "assessments/written_tests.html", context)


@require_http_methods(FORM_METHODS)
@role_required(*READERS)
def written_test_new(request: UserRequest) -> HttpResponse:
    courses = CourseRevision.objects.newest().select_related("course")
    form = NewTestForm(request.POST if request.method == "POST" else None, courses=courses)
    if request.method == "POST" and form.is_valid():
        try:
            made = services.begin_test(**form.cleaned_data, actor=request.user, at=timezone.now())
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            return redirect("assessments:written_test_detail", made.pk)
    status = 422 if form.errors else 200
    return render(request, "assessments/written_test_new.html", {"form": form}, status=status)


@require_safe
@login_required
def written_test_detail(request: UserRequest, test_id: int) -> HttpResponse:
    """A revision whole: its rules, and each question as it will stand, with what is right."""
    test = access.written_test_for_reader(request.user, test_id)
    questions = list(test.questions.select_related("photo", "lesson"))
    user = request.user
    revisions = access.written_tests_readable_by(user).filter(code=test.code)
    is_quality = user.has_role(Role.QUALITY)
    context = {
        "test": test,
        "rules": written_paper.rules_in_words(test, _asked(test, questions)),
        "questions": [
            {
                "question": question,
                "line": written_paper.preview_line(question, n),
                "right": written_paper.right_in_words(question),
                "faults": queries.question_faults(question) if test.is_draft else [],
            }
            for n, question in enumerate(questions, start=1)
        ],
        "faults": queries.faults_of(test) if test.is_draft else [],
        "kinds": Question.Kind.choices,
        "revisions": revisions.order_by("-revision"),
        "draft": revisions.filter(published_at__isnull=True).first(),
        "may_publish": is_quality,
        "may_hand_out": user.has_role(Role.INSTRUCTOR) and test.in_use,
        "retire_form": RetireTestForm(auto_id="retire-%s") if is_quality and test.in_use else None,
    }
    return render(request, "assessments/written_test.html", context)


def _asked(test: WrittenTest, questions: Sequence[Question]) -> int:
    """How many questions a paper asks."""
    if test.forms == WrittenTest.Forms.DRAWN:
        return sum(queries.counts_of(test).values())
    letters = queries.form_letters(questions)
    return sum(letters[0] in one.on_forms for one in questions) if letters else 0


@require_http_methods(FORM_METHODS)
@login_required
def written_test_rules(request: UserRequest, test_id: int) -> HttpResponse:
    test = access.written_draft_for_editor(request.user, test_id)
    topics = list(dict.fromkeys(test.questions.values_list("topic", flat=True)))
    counts = queries.counts_of(test)
    form = RulesForm(
        request.POST if request.method == "POST" else None,
        topics=topics,
        initial=queries.rules_of(test)
        | {"seen": queries.rules_digest(test)}
        | {f"count-{n}": counts.get(topic, 0) for n, topic in enumerate(topics)},
    )
    if request.method == "POST" and form.is_valid():
        try:
            services.change_rules(
                test=test,
                seen=form.cleaned_data["seen"] or None,
                actor=request.user,
                at=timezone.now(),
                **form.rules(),
            )
        except AssessmentError as error:
            form.add_error(None, str(error))
            if isinstance(error, DraftOfTestChanged):
                _see_anew(form, queries.rules_digest(WrittenTest.objects.get(pk=test.pk)))
        else:
            messages.success(request, _("The rules are saved."))
            return redirect("assessments:written_test_detail", test.pk)
    context = {"test": test, "form": form}
    status = 422 if form.errors else 200
    return render(request, "assessments/written_test_rules.html", context, status=status)


def _see_anew(form: Any, digest: str) -> None:
    """Have a form that is shown again say what it was shown over, so that it can be sent."""
    form.data = form.data.copy()
    form.data["seen"] = digest


@require_http_methods(FORM_METHODS)
@login_required
def question_new(request: UserRequest, test_id: int) -> HttpResponse:
    """A question of the kind that ``?kind=`` names."""
    test = access.written_draft_for_editor(request.user, test_id)
    kind = request.GET.get("kind", Question.Kind.ONE)
    if kind not in Question.Kind.values:
        raise Http404
    last = test.questions.last()
    initial = {"topic": last.topic, "lesson": last.lesson_id} if last else {}
    return _question(request, test, None, kind, initial)


@require_http_methods(FORM_METHODS)
@login_required
def question_edit(request: UserRequest, test_id: int, code: str) -> HttpResponse:
    question = access.question_for_editor(request.user, test_id, code)
    initial = question_initial(question) | {"seen": queries.question_digest(question)}
    return _question(request, question.test, question, question.kind, initial)


def _question(
    request: UserRequest,
    test: WrittenTest,
    question: Question | None,
    kind: str,
    initial: dict[str, Any],
) -> HttpResponse:
    form = QuestionForm(
        request.POST if request.method == "POST" else None,
        kind=kind,
        lessons=Lesson.objects.filter(course_revision=test.course_revision_id),
        photos=lambda key: _photo(request, question, key),
        initial=initial,
    )
    if request.method == "POST" and form.is_valid():
        try:
            saved = services.save_question(
                test=test,
                code=question.code if question else "",
                seen=form.cleaned_data["seen"] or None,
                actor=request.user,
                at=timezone.now(),
                **form.said(),
            )
        except AssessmentError as error:
            form.add_error(None, str(error))
            now = test.questions.filter(code=question.code).first() if question else None
            if isinstance(error, DraftOfTestChanged) and now is not None:
                _see_anew(form, queries.question_digest(now))
        else:
            messages.success(request, _("%(code)s is saved.") % {"code": saved.code})
            if "again" in request.POST:
                return redirect(f"{request.path}?kind={kind}")
            return redirect("assessments:written_test_detail", test.pk)
    context = {
        "test": test,
        "question": question,
        "kind": Question.Kind(kind),
        "form": form,
        "topics": list(dict.fromkeys(test.questions.values_list("topic", flat=True))),
        "line": written_paper.preview_line(question, 1) if question else None,
        "faults": queries.question_faults(question) if question else [],
    }
    status = 422 if form.errors else 200
    return render(request, "assessments/question_form.html", context, status=status)


def _photo(request: UserRequest, question: Question | None, key: str) -> Any:
    """A photograph that the user may ask about; what stands there already may stay."""
    kept = question.photo if question else None
    if kept is not None and kept.key == key:
        return kept
    return access.photo_for_question(request.user, key)


@require_POST
@login_required
def question_remove(request: UserRequest, test_id: int, code: str) -> HttpResponse:
    question = access.question_for_editor(request.user, test_id, code)
    try:
        services.remove_question(
            test=question.test, code=code, actor=request.user, at=timezone.now()
        )
    except AssessmentError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("%(code)s is taken out.") % {"code": code})
    return redirect("assessments:written_test_detail", test_id)


@require_safe
@login_required
def question_picture(request: UserRequest, test_id: int, code: str) -> HttpResponseBase:
    """The photograph that a question asks about, for those who work on the bank."""
    question = access.question_for_reader(request.user, test_id, code)
    return rendition_response(request, question.photo)


@require_http_methods(FORM_METHODS)
@role_required(Role.QUALITY)
def written_test_publish(request: UserRequest, test_id: int) -> HttpResponse:
    test = access.written_test_for_reader(request.user, test_id)
    if not test.is_draft:
        messages.info(
            request,
            _("%(test)s is published and never changes. Draft the next revision.") % {"test": test},
        )
        return redirect("assessments:written_test_detail", test.pk)
    form = PublishTestForm(
        request.POST if request.method == "POST" else None,
        showing=written_shown.draft_shown(test, timezone.now()),
    )
    if request.method == "POST" and form.is_valid():
        try:
            proof = prove_identity(request.user, form.cleaned_data["password"])
            services.publish_test(
                test=test,
                shown=form.shown_digest,
                reason=form.cleaned_data["reason"],
                proof=proof,
                actor=request.user,
                at=timezone.now(),
            )
        except ShownOtherwise:
            test = access.written_test_for_reader(request.user, test_id)
            form.show_anew(written_shown.draft_shown(test, timezone.now()))
        except ProofRefused as error:
            form.add_error("password", str(error))
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(
                request, _("%(test)s is published: papers are handed out of it.") % {"test": test}
            )
            return redirect("assessments:written_test_detail", test.pk)
    context = {
        "test": test,
        "form": form,
        "faults": queries.faults_of(test),
        "lines": form.showing.lines,
        "earlier": queries.earlier_of(test),
    }
    status = 422 if form.is_bound else 200
    return render(request, "assessments/written_test_publish.html", context, status=status)


@require_POST
@role_required(Role.QUALITY)
def written_test_retire(request: UserRequest, test_id: int) -> HttpResponse:
    test = access.written_test_for_reader(request.user, test_id)
    form = RetireTestForm(request.POST)
    if form.is_valid():
        try:
            proof = prove_identity(request.user, form.cleaned_data["password"])
            services.retire_test(
                test=test,
                reason=form.cleaned_data["reason"],
                proof=proof,
                actor=request.user,
                at=timezone.now(),
            )
        except (ProofRefused, AssessmentError) as error:
            messages.error(request, str(error))
        else:
            messages.success(request, _("%(test)s is out of use.") % {"test": test})
    for of_field in form.errors.values():
        for fault in of_field:
            messages.error(request, str(fault))
    return redirect("assessments:written_test_detail", test_id)


@require_POST
@login_required
def written_test_revise(request: UserRequest, test_id: int) -> HttpResponse:
    test = access.written_test_for_reader(request.user, test_id)
    try:
        made = services.draft_next_revision(test=test, actor=request.user, at=timezone.now())
    except AssessmentError as error:
        messages.error(request, str(error))
        return redirect("assessments:written_test_detail", test_id)
    return redirect("assessments:written_test_detail", made.pk)


@require_http_methods(FORM_METHODS)
@role_required(Role.INSTRUCTOR)
def written_test_hand_out(request: UserRequest, test_id: int) -> HttpResponse:
    """Hand a test out; ``?session=`` fills in the people of a class."""
    test = access.written_test_for_reader(request.user, test_id)
    sites = request.user.sites_as(Role.INSTRUCTOR)
    people = Person.objects.filter(site__in=sites).exclude(pk=request.user.person_id or 0)
    person = request.user.person
    today = person.site.today() if person else timezone.localdate()
    classes = (
        ClassSession.objects.filter(
            site__in=sites, course_revision__course=test.course_revision.course
        )
        .select_related("site")
        .order_by("-starts_on", "number")
    )
    form = HandOutForm(
        request.POST if request.method == "POST" else None,
        people=people,
        initial={
            "people": _lines_of_class(classes, people, request.GET.get("session", "")),
            "medium": Paper.Medium.SCREEN,
            "not_before": today,
        },
    )
    if request.method == "POST" and form.is_valid():
        try:
            made = paper_services.hand_out(
                test=test, **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            text = ngettext(
                "%(n)d paper is handed out.", "%(n)d papers are handed out.", len(made.papers)
            ) % {"n": len(made.papers)}
            untold = [one.person.full_name for one in made.papers if one.pk not in made.mailed]
            if untold:
                text += " " + _("No mail tells these people, so tell them: %(names)s.") % {
                    "names": ", ".join(untold)
                }
            messages.success(request, text)
            return redirect("assessments:written_test_list")
    context = {"test": test, "form": form, "classes": classes[:12]}
    status = 422 if form.errors else 200
    return render(request, "assessments/written_test_hand_out.html", context, status=status)


def _lines_of_class(classes: QuerySet[ClassSession], people: PersonQuerySet, number: str) -> str:
    session = classes.filter(number=number).first() if "\0" not in number else None
    if session is None:
        return ""
    enrolled = people.filter(enrolments__session=session).order_by("full_name")
    return "\n".join(person.employee_number for person in enrolled)


@require_safe
@login_required
def written_test_figures(request: UserRequest, test_id: int) -> HttpResponse:
    test = access.written_test_for_reader(request.user, test_id)
    context = {
        "test": test,
        "forms": [written_figures.form_shown(one) for one in figures.figures_of(test)],
    }
    return render(request, "assessments/written_test_figures.html", context)
