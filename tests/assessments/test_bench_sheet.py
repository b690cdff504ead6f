"""Bench sheets and lessons: what the exercise says, judged as the set in force says."""

import re

import pytest
from django.conf import settings
from django.urls import reverse

from assessments.content.criteria import REVISIONS
from assessments.models import CriteriaSet, Criterion
from assessments.services.criteria import load_criteria_set
from tests.factories import (
    NOW,
    make_board,
    make_criteria_set,
    make_person,
    make_session,
    make_user,
)
from tests.paper import pages_of
from training.content.exercises import EXERCISES
from training.models import Exercise, Lesson
from training.services.content import load_exercises

pytestmark = pytest.mark.django_db


@pytest.fixture
def turret():
    """The turret exercise that comes along, in use, with the criteria that come along."""
    [content] = [one for one in EXERCISES if one.code == "EX-TUR-1"]
    load_exercises(actor="load_content", at=NOW, exercises=[content])
    load_criteria_set(content=REVISIONS[-1], actor="load_content", at=NOW)
    CriteriaSet.objects.update(published_at=NOW)
    Exercise.objects.update(published_at=NOW)
    return Exercise.objects.get()


def sheet(client, name, *args):
    answer = client.get(reverse(f"assessments:{name}", args=args))
    assert answer["Content-Type"] == "application/pdf"
    return answer.content, " ".join(pages_of(answer.content))


@pytest.mark.usefixtures("faces")
def test_a_sheet_says_steps_cautions_tools_limits_and_where_its_code_leads(client, turret):
    client.force_login(make_user("operator"))

    pdf, text = sheet(client, "exercise_bench_sheet", turret.code)

    assert b"/StructTreeRoot" in pdf
    assert len(pages_of(pdf)) == 2
    for step in turret.steps.all():
        assert "".join(step.text.split()) in "".join(text.split())
    assert "Caution: Eyes. Wear eye protection" in text
    for tool in turret.tools:
        assert tool["name"] in text
    wrap = Criterion.objects.get(code="F-01")
    assert f"{wrap.code} {wrap.title} 180° to 270°" in text
    assert f"{settings.PUBLIC_URL}/exercises/EX-TUR-1/" in text
    assert "have not been compared with their documents here" in text
    assert text.index("governing standard, your local rules") > text.index("What will be judged")


@pytest.mark.usefixtures("faces")
def test_a_board_s_sheet_names_it_and_whose_it_is(client, turret):
    board = make_board(make_person(full_name="Mira Andersen"), turret)
    client.force_login(make_user("instructor", site=board.site))

    _pdf, text = sheet(client, "board_bench_sheet", board.number)

    assert "Mira Andersen" in text
    assert f"{settings.PUBLIC_URL}/boards/{board.number}/" in text
    client.force_login(make_user("operator"))
    other = client.get(reverse("assessments:board_bench_sheet", args=[board.number]))
    assert other.status_code == 404


def test_a_lesson_leads_from_step_to_step_and_every_link_has_its_place(client, turret):
    client.force_login(make_user("operator"))
    page = client.get(reverse("assessments:exercise_lesson", args=[turret.code])).content.decode()

    places = set(re.findall(r' id="([^"]+)"', page))
    led_to = set(re.findall(r' href="#([^"]+)"', page))
    assert led_to <= places
    n = turret.steps.count()
    assert {f"step-{number}" for number in range(1, n + 1)} | {"fails-soldered-1"} <= led_to
    assert page.count('class="step ') == n + len(
        [name for name in places if name.startswith("fails-")]
    )
    assert "is-missing" not in page
    assert page.count("governing standard, your local rules") >= n


def test_a_drawing_that_no_longer_fits_the_limits_is_drawn_from_them(client, turret):
    client.force_login(make_user("operator"))
    address = reverse("assessments:exercise_lesson", args=[turret.code])
    assert "wrapped 225 degrees" in client.get(address).content.decode()

    drawn = Criterion.objects.get(code="F-01").accept_drawing
    draft = make_criteria_set({"code": "F-01", "stage": "formed"}, published=False)
    draft.criteria.update(
        how="measured",
        quantity="wrap",
        low=90,
        high=200,
        unit="deg",
        accept_drawing=drawn,
    )
    CriteriaSet.objects.exclude(pk=draft.pk).update(retired_at=NOW)
    CriteriaSet.objects.filter(pk=draft.pk).update(published_at=NOW)

    page = client.get(address).content.decode()
    assert "wrapped 225 degrees" not in page
    assert "drawn from the limits: wire wrapped 145" in page


def test_the_class_of_the_day_leads_to_the_lessons_of_that_day_with_their_cautions(client, turret):
    user = make_user("instructor")
    client.force_login(user)
    site = user.person.site
    today = site.today()
    session = make_session(
        site, instructor=user, starts_on=today, ends_on=today, weekdays=(today.isoweekday(),)
    )
    lessons = {"course_revision": session.course_revision, "text": "", "minutes": 60}
    Lesson.objects.create(order=1, day=2, title="Tomorrow", exercise=turret, **lessons)
    page = reverse("assessments:class_day", args=[session.number])
    lesson = reverse("assessments:exercise_lesson", args=[turret.code])
    assert lesson not in client.get(page).content.decode()

    Lesson.objects.create(order=2, day=1, title="Today", exercise=turret, **lessons)

    shown = client.get(page).content.decode()
    assert lesson in shown
    assert reverse("assessments:exercise_bench_sheet", args=[turret.code]) in shown
    assert "Wear eye protection: cut ends fly." in shown
    assert "governing standard, your local rules" in shown
