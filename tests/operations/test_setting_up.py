"""The set-up page says what is true: each step turns with the rows, and with nothing else."""

import json
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from assessments.models import Board, CriteriaSet
from certification.models import Proposal
from certification.services import standing
from operations.domain.setting_up import StepName, StepState
from operations.models import BackUp
from operations.presenters.setup_page import leads_home, set_up_page
from operations.queries.setting_up import RoleGap, setting_up
from operations.services import mail_trials
from people.models import Installation, Site, SiteRole
from records.models import TrailEntry
from records.services import trail
from tests.factories import (
    make_board,
    make_certificate,
    make_criteria_set,
    make_exercise,
    make_passed_board,
    make_person,
    make_revision,
    make_scope,
    make_session,
    make_site,
    make_user,
)
from training.models import Course, CourseRevision, Exercise, VisionTest

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

PAGE = reverse("operations:set_up")


@pytest.fixture
def administrator():
    Installation.objects.create(id=1, organisation="Skarnfell Instruments")
    return make_user("administrator")


def states(user):
    return {
        name.value: place.state.value
        for name, place in setting_up(user, timezone.now()).places.items()
    }


def step_of(user, name):
    return next(step for step in set_up_page(user, timezone.now()).steps if step.name == name)


def said(user, name):
    return " ".join(sentence.text for sentence in step_of(user, name).says)


def signed_by(user):
    return trail.sign(
        actor=user, meaning="proposes", about=("person", "1"), content={}, at=timezone.now()
    )


def mail_arrives(user):
    trial = mail_trials.ask_for_trial(
        recipient="ada@skarnfell.example", actor=user, at=timezone.now()
    )
    mail_trials.note_arrival(trial=trial, actor=user, at=timezone.now())


def make_course():
    course = Course.objects.create(code="SOLDER", title="Hand soldering")
    CourseRevision.objects.create(course=course, revision=1, published_at=timezone.now())


def certify(person, scope, revision):
    today = person.site.today()
    return make_certificate(person, scope, revision=revision, issued_on=today - timedelta(days=9))


def test_each_step_turns_with_what_is_true_until_the_page_gives_way(administrator):
    now = timezone.now()
    assert states(administrator) == {
        "sites": "done",
        "mail": "next",
        "people": "open",
        "exercises": "open",
        "schemes": "waits",
        "criteria": "waits",
        "instructors": "waits",
        "classes": "waits",
        "boards": "waits",
        "certificates": "waits",
        "back_up": "open",
    }
    assert leads_home(administrator, now)

    mail_arrives(administrator)
    assert states(administrator)["mail"] == "done"
    instructor, quality = make_user("instructor"), make_user("quality")
    assert states(administrator)["people"] == "done"
    make_exercise()
    assert states(administrator)["exercises"] == "next", "a course is missing"
    make_course()
    assert states(administrator)["exercises"] == "done"
    scope = make_scope(("turret",))
    judging = make_scope(("turret",), level="instructor")
    assert states(administrator)["schemes"] == "next"
    make_revision(scope)
    assert step_of(administrator, StepName.SCHEMES).place.gaps == 2, "no scheme lets anybody judge"
    own = make_revision(judging)
    assert states(administrator)["schemes"] == "done"
    made = make_criteria_set(published=False)
    assert states(administrator)["criteria"] == "next"
    CriteriaSet.objects.filter(pk=made.pk).update(published_at=now)
    assert states(administrator)["criteria"] == "done"
    assert states(administrator)["instructors"] == "next"
    certify(instructor.person, judging, own)
    assert states(administrator)["instructors"] == "done"
    make_session(instructor=instructor)
    assert states(administrator)["classes"] == "next", "nobody is in the class"
    make_session(instructor=instructor, people=(make_person(),))
    assert states(administrator)["classes"] == "done"
    assert states(administrator)["boards"] == "next"
    assert leads_home(administrator, now)
    make_passed_board(make_person(), make_exercise(), grader=instructor)
    assert states(administrator)["boards"] == "done"
    assert states(administrator)["certificates"] == "next", "certificates came from elsewhere"
    make_certificate(make_person(), scope, origin="own", signature=signed_by(quality))
    assert states(administrator)["back_up"] == "next"
    assert [step_of(user, StepName.CERTIFICATES).link.url for user in (quality, administrator)] == [
        reverse("certification:register"),
        reverse("people:person_list"),  # The register is not for whoever administers alone.
    ]
    assert not leads_home(administrator, now), "nobody makes a back-up on a page"
    BackUp.objects.create(begun_at=now, ended_at=now, path="/b/a.backup", is_encrypted=False)
    assert set(states(administrator).values()) == {"done"}
    assert "/b/a.backup" in said(administrator, StepName.BACK_UP)
    assert set_up_page(administrator, now).next is None
    BackUp.objects.create(
        begun_at=now + timedelta(hours=1), ended_at=now, failure="OSError: no space", path="b"
    )
    assert states(administrator)["back_up"] == "done_with_gap"
    assert "OSError: no space" in said(administrator, StepName.BACK_UP)


def test_a_board_is_followed_until_it_is_judged_and_a_proposal_until_it_is_decided(administrator):
    quality = make_user("quality")
    both = make_user("instructor", "quality", person=make_person(full_name="Leo Brandt"))
    maker = make_person(full_name="Bo Quill")
    assert said(quality, StepName.BOARDS) == (
        "No board is handed out. Leo Brandt, instructor, hands it out."
    )
    make_criteria_set()
    make_course()
    exercise, scope = make_exercise(), make_scope(("turret",), level="instructor")
    certify(both.person, scope, make_revision(scope))
    make_revision(make_scope(("turret",)))
    assert step_of(both, StepName.BOARDS).link.url == reverse("assessments:board_new")

    board = make_board(maker, exercise)
    assert f"{board.number} is with Bo Quill, who hands it in." in said(quality, StepName.BOARDS)
    page = reverse("assessments:board_detail", args=[board.number])
    assert step_of(quality, StepName.BOARDS).link.url == page
    assert step_of(administrator, StepName.BOARDS).link.url == reverse("assessments:board_list")
    Board.objects.filter(pk=board.pk).update(handed_in_at=timezone.now())
    assert f"{board.number} is handed in: Leo Brandt judges it." in said(quality, StepName.BOARDS)
    make_passed_board(maker, exercise, grader=both)
    assert "judged: 1." in said(quality, StepName.BOARDS)

    assert said(quality, StepName.CERTIFICATES) == (
        "Nobody is proposed. Leo Brandt, instructor, proposes who is ready."
    )
    proposed = Proposal.objects.create(
        person=maker, scope=scope, scheme_revision=make_revision(scope, exercise=exercise),
        signature=signed_by(both),
    )  # fmt: skip
    assert said(quality, StepName.CERTIFICATES) == "1 proposal waits."
    assert "decides." in said(administrator, StepName.CERTIFICATES)
    assert step_of(quality, StepName.CERTIFICATES).link.url == reverse(
        "certification:proposal_list"
    )
    assert proposed.decision == ""


@pytest.mark.parametrize(
    ("roles", "gap"),
    [
        pytest.param([], RoleGap.NOBODY, id="nobody"),
        pytest.param([("quality",)], RoleGap.NO_INSTRUCTOR, id="no instructor"),
        pytest.param([("instructor",)], RoleGap.NO_QUALITY, id="no quality"),
        pytest.param([("instructor", "quality")], RoleGap.ONE_PERSON, id="one person is both"),
        pytest.param([("instructor", "quality"), ("quality",)], None, id="another issues"),
        pytest.param([("instructor", "quality"), ("instructor",)], None, id="another judges"),
        pytest.param([("instructor",), ("quality",)], None, id="two people"),
    ],
)
def test_whoever_judges_may_not_issue(administrator, roles, gap):
    for held in roles:
        make_user(*held)
    [site] = setting_up(administrator, timezone.now()).sites
    assert site.gap == gap
    assert (states(administrator)["people"] == "done") is (gap is None)


def test_one_who_left_or_whose_sign_in_is_closed_holds_nothing(administrator):
    make_user("quality")
    make_user("instructor", is_active=False)
    yesterday = make_site().today() - timedelta(days=1)
    make_user("instructor", person=make_person(left_on=yesterday))
    assert said(administrator, StepName.PEOPLE).endswith("Castelmar: nobody holds instructor.")


def test_gap_is_told_by_site_and_only_of_ones_own_sites(administrator):
    make_user("instructor")
    make_user("quality")
    there = make_site("Aldergate", "AL", time_zone="Pacific/Auckland")
    make_user("quality", site=there)
    assert "Aldergate" not in said(administrator, StepName.PEOPLE)

    SiteRole.objects.create(user=administrator, site=there, role="administrator")
    administrator = type(administrator).objects.get(pk=administrator.pk)
    assert said(administrator, StepName.PEOPLE).endswith("Aldergate: nobody holds instructor.")
    step = step_of(administrator, StepName.PEOPLE)
    assert (step.place.state, step.word) == (StepState.DONE_WITH_GAP, "done, 1 gap")


def test_instructor_whose_vision_test_is_missing_is_told_apart_to_whoever_may_know(administrator):
    quality = make_user("quality")
    instructor = make_user("instructor", person=make_person(full_name="Leo Brandt"))
    scope, judging = make_scope(), make_scope(level="instructor", title="Turrets, instructor")
    make_revision(scope)
    certify(instructor.person, judging, make_revision(judging, vision_months=12))

    assert "The vision test is not current." in said(quality, StepName.INSTRUCTORS)
    told = said(administrator, StepName.INSTRUCTORS)
    assert "vision" not in told
    assert "Leo Brandt: Turrets, instructor is entered, and does not count." in told
    assert states(quality)["instructors"] == "open"

    VisionTest.objects.create(
        test_id="CA-V-1", person=instructor.person, tested_on=make_site().today(), passed=True
    )
    standing.rebuild_person(instructor.person)
    assert states(quality)["instructors"] == "done"


def test_criteria_say_what_is_left_and_who_confirms_it(administrator):
    quality = make_user("quality", person=make_person(full_name="Otti Vesper"))
    make_user("instructor")
    made = make_criteria_set(published=False)
    step = step_of(administrator, StepName.CRITERIA)
    assert (step.progress.value, step.progress.most) == (0, 4)
    assert "Left are 3 of joints and 1 of the whole board. Otti Vesper confirms" in said(
        administrator, StepName.CRITERIA
    )
    assert step.link.url == reverse("assessments:criteria_list")
    assert step_of(quality, StepName.CRITERIA).link.url == reverse(
        "assessments:criteria_confirm", args=[made.pk]
    )
    made.criteria.update(confirmed_at=timezone.now())
    assert step_of(quality, StepName.CRITERIA).link.url == reverse(
        "assessments:criteria_publish", args=[made.pk]
    )


def test_exercise_that_a_scheme_asks_for_and_nobody_has_is_a_gap(administrator):
    exercise = make_exercise()
    make_course()
    make_revision(make_scope(), exercise=exercise)
    assert states(administrator)["exercises"] == "done"
    Exercise.objects.update(retired_at=timezone.now())
    assert f"boards of {exercise.code}, which no exercise" in said(
        administrator, StepName.EXERCISES
    )


def test_what_comes_along_is_added_by_a_button_once(client, administrator):
    client.force_login(administrator)
    url = reverse("operations:content_add")
    assert url in client.get(PAGE).content.decode()

    page = client.post(url, follow=True).content.decode()

    assert "is a draft for quality to confirm and publish." in page
    assert states(administrator)["exercises"] == "open"
    assert "Drafts of 12 exercises and 3 courses" in said(administrator, StepName.EXERCISES)
    assert CriteriaSet.objects.drafts().count() == 1
    before = TrailEntry.objects.count()
    assert "was there already" in client.post(url, follow=True).content.decode()
    assert (CriteriaSet.objects.count(), TrailEntry.objects.count()) == (1, before)


def test_organisation_is_named_in_the_browser(client, administrator):
    Installation.objects.update(organisation="Skarn")
    client.force_login(administrator)
    url = reverse("operations:organisation")
    assert 'value="Skarn"' in client.get(url).content.decode()

    client.post(url, {"organisation": "Skarnfell Instruments"})

    assert "Skarnfell Instruments" in client.get(PAGE).content.decode()
    entry = TrailEntry.objects.get(act="organisation named")
    assert json.loads(entry.payload.body) == {
        "before": "Skarn",
        "after": "Skarnfell Instruments",
    }


def test_organisation_that_nobody_named_is_a_gap_and_asked_for(client, administrator):
    Installation.objects.all().delete()
    client.force_login(administrator)
    assert "not named yet" in client.get(PAGE).content.decode()
    assert step_of(administrator, StepName.SITES).place.gaps == 1
    client.post(reverse("operations:organisation"), {"organisation": "Skarnfell Instruments"})
    assert step_of(administrator, StepName.SITES).place.state is StepState.DONE


def test_queries_do_not_grow_with_sites_and_people(administrator, django_assert_max_num_queries):
    for number in range(5):
        site = make_site(f"Site {number}", f"S{'ABCDE'[number]}")
        SiteRole.objects.create(user=administrator, site=site, role="administrator")
        for role in ("instructor", "quality"):
            make_user(role, site=site)
    make_revision(make_scope())
    make_criteria_set(published=False)
    administrator = type(administrator).objects.get(pk=administrator.pk)
    with django_assert_max_num_queries(31):
        assert len(setting_up(administrator, timezone.now()).sites) == 6


def test_page_says_what_works_and_what_waits_for_which_step(client, administrator):
    client.force_login(administrator)
    page = " ".join(client.get(PAGE).content.decode().split())
    assert "No board can be judged" in page
    assert "until steps 4, 6, 7" in page
    assert "Nobody can be certified" in page
    assert "The bench check answers no" in page
    assert 'href="#step-people"' in page
    assert page.count("btn-primary") == 1
    assert Site.objects.count() == 1


def test_pages_of_a_new_site_say_what_is_missing_and_where_it_is_made(client):
    client.force_login(make_user("instructor"))
    for page, words, made_at in (
        ("training:class_new", "No course is published", "training:course_list"),
        ("assessments:board_new", "No exercise is published", "training:exercise_list"),
    ):
        shown = client.get(reverse(page)).content.decode()
        assert words in shown
        assert f'<p><a href="{reverse(made_at)}">' in shown
    make_exercise()
    assert "No exercise is" not in client.get(reverse("assessments:board_new")).content.decode()
