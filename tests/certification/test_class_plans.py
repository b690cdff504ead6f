"""A plan of classes is asked for, worked out by a worker, changed by hand and carried out."""

from datetime import timedelta
from functools import partial
from types import SimpleNamespace

import pytest
from django.db import connection

from certification import tasks
from certification.domain.months import add_months
from certification.exceptions import CertificationError, ChangedMeanwhile
from certification.models import ClassPlan, PlannedNeed
from certification.models.class_plans import CLAIM_LAPSES_AFTER, KEPT_FOR, MOST_ATTEMPTS
from certification.presenters import class_plan_page
from certification.presenters.class_plan_page import changes_since, page_of
from certification.presenters.class_plan_picture import gap_line
from certification.queries import class_plan_facts
from certification.services import class_plans as services
from certification.views import class_plans as views
from people.models import Person, SiteRole
from records.models import TrailEntry
from tests.assessments.together import at_once, wait_behind
from tests.factories import (
    NOW,
    TODAY,
    make_certificate,
    make_exercise,
    make_person,
    make_revision,
    make_scope,
    make_session,
    make_site,
    make_user,
)
from training.exceptions import MeetsOtherClasses
from training.models import (
    Absence,
    AwayLimit,
    ClassLetter,
    ClassSession,
    CourseRevision,
    Enrolment,
    Lesson,
    Room,
    SessionDay,
)
from training.services.courses import plan_class_for

Outcome = PlannedNeed.Outcome


def day(number):
    return TODAY + timedelta(days=number)


def certify(person, scope, revision, ends_on):
    """A certificate of that revision's twelve months that ends on a day."""
    make_certificate(person, scope, revision=revision, issued_on=add_months(ends_on, -12))


class Shop:
    """A site with an instructor, and classes and people made in few words."""

    def __init__(self):
        self.instructor = make_user("instructor", person=make_person(full_name="Ines Abt"))
        self.site = self.instructor.person.site
        self.scopes = {}

    def scope(self, code="TERM"):
        if code not in self.scopes:
            self.scopes[code] = make_scope(code=code, title=f"Work {code}")
        return self.scopes[code]

    def person(self, name, ends, code="TERM", window=0, **fields):
        person = fields.pop("person", None) or make_person(full_name=name, **fields)
        revision = make_revision(self.scope(code), validity_months=12, renewal_window_days=window)
        certify(person, self.scope(code), revision, day(ends))
        return person

    def klass(self, starts, codes=("TERM",), length=1, **fields):
        fields = {"instructor": self.instructor, "site": self.site, "places": 4, **fields}
        session = make_session(starts_on=day(starts), ends_on=day(starts + length - 1), **fields)
        CourseRevision.objects.filter(pk=session.course_revision_id).update(
            scope_codes=[self.scope(code).code for code in codes]
        )
        return session

    def ask(self, *, through=150, sites=None, at=NOW, **fields):
        return services.ask_for_plan(
            sites=sites or [self.site],
            first_day=TODAY,
            through=day(through),
            **{"travel": False, "actor": self.instructor, "at": at, **fields},
        )

    def plan(self, **fields):
        """One that is asked for and worked out."""
        asked = self.ask(**fields)
        services.work_out(asked, clock=lambda: NOW)
        return ClassPlan.objects.get(pk=asked.pk)

    def facts(self, *, through=150, sites=None, travel=False):
        return class_plan_facts.read_facts(
            sites=sites or [self.site],
            first_day=TODAY,
            through=day(through),
            travel=travel,
            now=NOW,
        )

    def carry_out(self, plan):
        return services.carry_out(plan=plan, version=plan.version, actor=self.instructor, at=NOW)

    def move(self, plan, choices, version=None):
        return services.move_names(
            plan=plan,
            choices=choices,
            version=plan.version if version is None else version,
            actor=self.instructor,
        )


@pytest.fixture
def shop(db):
    return Shop()


@pytest.fixture(autouse=True)
def _it_is_now(monkeypatch):
    """Pages are asked for when the shop is, whatever day it is where the tests run."""
    monkeypatch.setattr(views, "timezone", SimpleNamespace(now=lambda: NOW))


def chosen(plan):
    return {need.person.full_name: need.chosen for need in plan.needs.select_related("person")}


# What it rests on


def test_rights_are_grouped_and_have_the_window_of_their_scheme(shop):
    both = shop.person("Ada", 40, window=30)
    shop.person("Ada", 40, "CUPS", window=30, person=both)
    shop.person("Bo", 151)
    shop.person("Cai", 30, person=make_person(full_name="Cai", left_on=day(-1)))
    session = shop.klass(20, ("TERM", "CUPS"))
    shop.klass(0)  # Begins today.

    facts = shop.facts()

    assert facts.rights == (
        class_plan_facts.Right(both.pk, ("CUPS", "TERM"), day(40), 30, (session.pk,)),
    )
    assert [one.pk for one in facts.classes] == [session.pk]


def test_course_that_says_nothing_renews_what_its_exercises_are_credited_to(shop):
    shop.person("Ada", 40)
    session = shop.klass(20, ())
    exercise = make_exercise(published=False)
    exercise.positions.update(scope_code="TERM")
    Lesson.objects.create(
        course_revision=session.course_revision, order=1, title="x", minutes=9, exercise=exercise
    )

    assert shop.facts().rights[0].classes == (session.pk,)


def test_classes_elsewhere_are_for_those_who_may_travel(shop):
    there = make_site("Aldergate", "AL")
    shop.person("Ada", 40)
    session = shop.klass(20, site=there, instructor=make_user("instructor", site=there))
    sites = [shop.site, there]

    assert shop.facts(sites=sites).rights[0].classes == ()
    assert shop.facts(sites=sites, travel=True).rights[0].classes == (session.pk,)


def test_who_is_in_a_class_that_renews_it_counts_as_placed(shop):
    ada, bo = shop.person("Ada", 40), shop.person("Bo", 40)
    session = shop.klass(20, people=(ada,))

    facts = shop.facts()

    assert [right.person for right in facts.rights] == [bo.pk]
    assert facts.placed == ((ada.pk, session.pk, ("TERM",)),)
    assert (facts.classes[0].places, facts.classes[0].is_held) == (3, True)


def test_days_on_which_somebody_cannot_come(shop):
    lead = make_person(full_name="Tove")
    AwayLimit.objects.create(lead=lead, people=2)
    ada = shop.person("Ada", 90, line_lead=lead, left_on=day(35))
    shop.klass(20), shop.klass(30), shop.klass(40)
    shop.klass(30, ("OTHER",), people=(ada,))
    for person in (ada, make_person(line_lead=lead)):
        Absence.objects.create(
            person=person, from_day=day(18), through_day=day(20), entered_by=shop.instructor
        )

    facts = shop.facts()

    assert facts.away == {
        ada.pk: {
            day(20): class_plan_facts.Away.AWAY,
            day(30): class_plan_facts.Away.IN_CLASS,
            day(40): class_plan_facts.Away.NOT_AT_WORK,
        }
    }
    assert facts.away_already == {(lead.pk, day(20)): 2, (lead.pk, day(30)): 1}
    kept = class_plan_facts.from_json(class_plan_facts.as_json(facts), ())
    assert kept.classes == facts.classes
    assert (kept.away, kept.leads, kept.limits) == (facts.away, facts.leads, facts.limits)
    assert (kept.away_already, kept.placed) == (facts.away_already, facts.placed)


def test_who_may_not_teach_on_its_days_is_no_instructor_of_a_class(shop):
    shop.person("Ada", 90)
    session = shop.klass(20, length=2)

    def instructors():
        return shop.facts().classes[0].instructors

    assert instructors() == (shop.instructor.pk,)
    absence = Absence.objects.create(
        person=shop.instructor.person,
        from_day=day(21),
        through_day=day(21),
        entered_by=shop.instructor,
    )
    assert instructors() == ()
    absence.delete()
    Person.objects.filter(user=shop.instructor).update(left_on=day(20))
    assert instructors() == ()
    Person.objects.filter(user=shop.instructor).update(left_on=None)
    # A scheme in force certifies instructors for turrets, and this one is certified for a while.
    teaching = make_scope(level="instructor")
    certify(shop.instructor.person, teaching, make_revision(teaching, validity_months=12), day(20))
    exercise = make_exercise()
    Lesson.objects.create(
        course_revision=session.course_revision, order=1, title="x", minutes=9, exercise=exercise
    )
    assert instructors() == ()
    SessionDay.objects.filter(session=session, day=day(21)).delete()
    assert instructors() == (shop.instructor.pk,)
    SiteRole.objects.filter(user=shop.instructor).delete()
    assert instructors() == ()


# Asked for and worked out


def test_plan_is_worked_out_shown_and_carried_out(shop, client):
    shop.person("Ada", 10), shop.person("Bo", 40), shop.person("Cai", 60)
    early, late = shop.klass(12, places=1), shop.klass(35, places=1)

    plan = shop.plan()

    assert chosen(plan) == {"Ada": early, "Bo": late, "Cai": None}
    # Ada lapses for a day; Cai's right ends 90 days before the period, and no place is left.
    assert plan.figures == [[91, 91], [2, 2], [5, 5]]
    client.force_login(shop.instructor)
    answer = client.get(f"/plans-of-classes/{plan.pk}/")
    assert answer.status_code == 200
    page = answer.context["page"]
    assert (page.going, page.people, page.changes, page.not_written_to) == (2, 3, [], ["Cai"])
    assert "No plan with these classes loses fewer days." in answer.text
    assert "No place is left in" in answer.text

    sent = client.post(f"/plans-of-classes/{plan.pk}/send/", {"version": "0"}, follow=True)

    assert "2 people are enrolled and invited." in sent.text
    assert {one.person.full_name for one in Enrolment.objects.all()} == {"Ada", "Bo"}
    assert ClassLetter.objects.filter(kind="invitation").count() == 2
    acts = TrailEntry.objects.filter(about_type="class-plan").values_list("act", flat=True)
    assert sorted(acts) == ["class plan asked for", "class plan carried out"]
    again = client.post(f"/plans-of-classes/{plan.pk}/send/", {"version": "0"})
    assert (again.status_code, "carried out already" in again.text) == (422, True)
    assert Enrolment.objects.count() == 2


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"first_day": TODAY - timedelta(days=1)}, "The first day is over"),
        ({"through": TODAY - timedelta(days=1)}, "comes before the first"),
        ({"through": TODAY + timedelta(days=367)}, "more than a year"),
        ({"first_day": TODAY, "through": TODAY}, "No right ends in this period"),
        ({"sites": []}, "at least one site"),
    ],
)
def test_what_is_no_plan_is_refused(shop, fields, message):
    shop.person("Ada", 10)
    asked = {"sites": [shop.site], "first_day": TODAY, "through": day(90), "travel": False}

    with pytest.raises(CertificationError, match=message):
        services.ask_for_plan(**asked | fields, actor=shop.instructor, at=NOW)

    with pytest.raises(CertificationError, match="planned by its instructors"):
        services.ask_for_plan(**asked, actor=make_user("quality"), at=NOW)
    assert not ClassPlan.objects.exists()


def test_form_asks_and_wakes_a_worker_once_it_is_written(
    shop, client, monkeypatch, django_capture_on_commit_callbacks
):
    shop.person("Ada", 10)
    woken = []
    monkeypatch.setattr(tasks.work_out_class_plans, "delay", lambda: woken.append(1))
    client.force_login(shop.instructor)
    asked = {"first_day": str(TODAY), "through": str(day(90))}

    assert client.post("/plans-of-classes/new/", asked).status_code == 422
    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post("/plans-of-classes/new/", asked | {"sites": [shop.site.pk]})

    plan = ClassPlan.objects.get()
    assert (answer.status_code, answer.url, woken) == (302, f"/plans-of-classes/{plan.pk}/", [1])
    assert "Waiting for a worker to begin" in client.get(answer.url).text
    assert tasks.work_out_class_plans() is False
    inside = client.get(answer.url, headers={"HX-Request": "true"})
    assert inside.headers["HX-Refresh"] == "true"
    assert client.get("/plans-of-classes/").text.count("worked out") == 1


def test_one_worker_works_a_plan_out_and_a_dead_one_is_followed(shop):
    shop.person("Ada", 10)
    plan = shop.ask()

    assert ClassPlan.objects.claim(plan.pk, NOW)
    services.work_out(plan, clock=lambda: NOW)
    assert ClassPlan.objects.get(pk=plan.pk).finished_at is None
    later = NOW + CLAIM_LAPSES_AFTER + timedelta(seconds=1)
    assert services.work_out_next(clock=lambda: later) is False
    assert ClassPlan.objects.get(pk=plan.pk).finished_at == later

    ClassPlan.objects.update(finished_at=None, attempts=MOST_ATTEMPTS)
    assert services.work_out_next(clock=lambda: later + CLAIM_LAPSES_AFTER * 2) is False
    assert ClassPlan.objects.get(pk=plan.pk).is_given_up
    assert services.throw_away_old(now=NOW + KEPT_FOR) == 0
    assert services.throw_away_old(now=NOW + KEPT_FOR + timedelta(days=1)) > 0
    assert not ClassPlan.objects.exists()


# Changed by hand


def test_moving_a_name_says_what_it_costs_and_is_undone(shop, client):
    shop.person("Ada", 13, window=5)
    early, late = shop.klass(10), shop.klass(30)
    plan = shop.plan()
    need = plan.needs.get()
    assert (need.chosen, plan.figures) == (early, [[0, 0], [1, 1], [0, 0]])
    client.force_login(shop.instructor)
    address = f"/plans-of-classes/{plan.pk}/"

    moved = client.post(
        f"{address}move/", {"version": "0", f"need_{need.pk}": late.pk}, follow=True
    )

    assert [figure.value for figure in moved.context["page"].figures] == [16, 1, 0]
    assert "16 lapsed, and no loss as worked out." in moved.text
    assert "16 above the bound, 16 by moving names." in moved.text
    assert 'class="gap"' in moved.text
    stale = client.post(f"{address}send/", {"version": "0", f"need_{need.pk}": late.pk})
    assert (stale.status_code, "Somebody moved names" in stale.text) == (422, True)
    # What is moved on the page and sent at once is shown with its cost first.
    shown = client.post(f"{address}send/", {"version": "1", f"need_{need.pk}": ""}, follow=True)
    assert "Look at what that costs" in shown.text
    assert not Enrolment.objects.exists()
    client.post(f"{address}move/", {"version": "2", "undo": need.pk})
    need.refresh_from_db()
    assert (need.chosen, need.is_fixed) == (early, False)


def test_move_that_cannot_be_is_refused_and_stays_on_the_page(shop, client):
    ada, bo = shop.person("Ada", 13), shop.person("Bo", 14)
    shop.person("Ada", 13, "CUPS", person=ada)
    one, other = shop.klass(10, places=1), shop.klass(30)
    cups = shop.klass(30, ("CUPS",), instructor=make_user("instructor"))
    plan = shop.plan()
    needs = {(need.person.full_name, need.scope_codes[0]): need for need in plan.needs.all()}
    going = {key: need.chosen for key, need in needs.items()}
    assert going == {("Ada", "TERM"): one, ("Ada", "CUPS"): cups, ("Bo", "TERM"): other}
    client.force_login(shop.instructor)
    address = f"/plans-of-classes/{plan.pk}/move/"
    for name, code, session, message in (
        ("Bo", "TERM", one.pk, "has 1 place free"),
        ("Ada", "TERM", other.pk, "Ada would be in two classes on one day"),
        ("Bo", "TERM", cups.pk, "Bo cannot go to that class"),
        ("Bo", "TERM", "9" * 5000, "Bo cannot go to that class"),
    ):
        sent = {"version": "0", f"need_{needs[name, code].pk}": session}
        answer = client.post(address, sent)
        assert (answer.status_code, message in answer.text) == (422, True), message
    assert not PlannedNeed.objects.filter(is_fixed=True).exists()
    # Two names change places in one act.
    changed = {needs["Bo", "TERM"].pk: one.pk, needs["Ada", "TERM"].pk: None}
    assert shop.move(plan, changed) == 2
    assert bo.planned_needs.get().chosen == one


def test_move_takes_no_room_or_instructor_twice_on_one_day(shop):
    shop.person("Ada", 13), shop.person("Bo", 14)
    room = Room.objects.create(site=shop.site, name="Bench room 7", benches=6)
    first, same_teacher = shop.klass(10, held_in=room), shop.klass(10)
    other = make_user("instructor")
    same_room = shop.klass(10, held_in=room, instructor=other)
    neither = shop.klass(10, instructor=other)
    plan = shop.plan()
    ada, bo = plan.needs.order_by("person__full_name")
    for session, sentence in (
        (same_teacher, "Nobody is left to teach"),
        (same_room, f"and {first.number} would be held in one room"),
    ):
        with pytest.raises(CertificationError, match=sentence):
            shop.move(plan, {ada.pk: first.pk, bo.pk: session.pk})
    assert not PlannedNeed.objects.filter(is_fixed=True).exists()
    shop.move(plan, {ada.pk: first.pk, bo.pk: neither.pk})
    assert chosen(plan) == {"Ada": first, "Bo": neither}


def test_worked_out_again_keeps_what_was_fixed(shop):
    shop.person("Ada", 13), shop.person("Bo", 13)
    early, late = shop.klass(10, places=1), shop.klass(30, places=1)
    plan = shop.plan()
    by_name = {need.person.full_name: need for need in plan.needs.all()}
    first, second = sorted(by_name, key=lambda name: by_name[name].chosen_id != early.pk)
    shop.move(plan, {by_name[first].pk: late.pk, by_name[second].pk: early.pk})
    plan.refresh_from_db()

    again = shop.plan(again_from=plan)

    assert chosen(again) == {first: late, second: early}
    assert set(again.needs.values_list("is_fixed", flat=True)) == {True}
    # One class is smaller now, so that both cannot be kept.
    ClassSession.objects.filter(pk=late.pk).update(places=0)
    assert shop.plan(again_from=again).cannot_be_kept
    ClassSession.objects.filter(pk=late.pk).update(cancelled_at=NOW)
    once_more = shop.plan(again_from=again)
    assert chosen(once_more) == {first: None, second: early}


# Carried out


def cancel(shop, ada, session):
    ClassSession.objects.filter(pk=session.pk).update(cancelled_at=NOW)


def put_off(shop, ada, session):
    SessionDay.objects.filter(session=session).update(day=day(11))


def fill(shop, ada, session):
    ClassSession.objects.filter(pk=session.pk).update(places=0)


def leave(shop, ada, session):
    Person.objects.filter(pk=ada.pk).update(left_on=day(5))


def move_away(shop, ada, session):
    Person.objects.filter(pk=ada.pk).update(site=make_site("Aldergate", "AL"))


def renew(shop, ada, session):
    make_certificate(ada, shop.scope(), revision=make_revision(shop.scope()), issued_on=TODAY)


def enrol_there(shop, ada, session):
    Enrolment.objects.create(session=session, person=ada)


def enrol_elsewhere(shop, ada, session):
    Enrolment.objects.create(session=shop.klass(60), person=ada)


def enrol_on_the_day(shop, ada, session):
    Enrolment.objects.create(session=shop.klass(10, ("OTHER",)), person=ada)


def go_away(shop, ada, session):
    Absence.objects.create(
        person=ada, from_day=day(8), through_day=day(10), entered_by=shop.instructor
    )


def limit(shop, ada, session):
    AwayLimit.objects.create(lead=ada.line_lead, people=0)


def ask_for_a_course_first(shop, ada, session):
    revision = session.course_revision
    revision.after_courses = [make_session().course_revision.course.code]
    revision.save(update_fields=["after_courses"])


def lose_the_instructor(shop, ada, session):
    other = make_user("instructor", person=make_person(left_on=day(5)))
    ClassSession.objects.filter(pk=session.pk).update(instructor=other)


@pytest.mark.parametrize(
    ("meanwhile", "outcome"),
    [
        (cancel, Outcome.CLASS_CHANGED),
        (put_off, Outcome.CLASS_CHANGED),
        (fill, Outcome.FULL),
        (leave, Outcome.LEFT),
        (move_away, Outcome.ELSEWHERE),
        (renew, Outcome.RIGHT_CHANGED),
        (enrol_there, Outcome.WAS_ENROLLED),
        (enrol_elsewhere, Outcome.IN_OTHER),
        (enrol_on_the_day, Outcome.SAME_DAYS),
        (go_away, Outcome.AWAY),
        (limit, Outcome.LEAD_LIMIT),
        (lose_the_instructor, Outcome.NO_INSTRUCTOR),
        (ask_for_a_course_first, Outcome.COURSE_FIRST),
    ],
    ids=lambda one: getattr(one, "__name__", ""),
)
def test_who_does_not_fit_any_more_is_left_and_named(shop, meanwhile, outcome):
    """Bo goes to another class, whatever became of Ada's."""
    ada = shop.person("Ada", 13, line_lead=make_person(full_name="Tove"))
    shop.person("Bo", 50, "CUPS")
    session, other = shop.klass(10), shop.klass(40, ("CUPS",))
    plan = shop.plan()
    assert chosen(plan) == {"Ada": session, "Bo": other}
    before = class_plan_facts.from_json(plan.rests_on, plan.needs.all())

    meanwhile(shop, ada, session)
    said = changes_since(before, shop.facts())
    sent = shop.carry_out(plan)

    assert {need.person.full_name: need.outcome for need in plan.needs.all()} == {
        "Ada": outcome,
        "Bo": Outcome.ENROLLED,
    }
    assert (sent.enrolled, sent.left) == (1, outcome != Outcome.WAS_ENROLLED)
    assert other.enrolments.count() == 1
    assert len(said) >= 1
    page = page_of(ClassPlan.objects.get(pk=plan.pk))
    named = [need.person.full_name for need, _why in page.left]
    assert named == (["Ada"] if sent.left else [])


def in_one_room(shop, *classes):
    room = Room.objects.create(site=shop.site, name="Bench room 7", benches=6)
    for session in classes:
        ClassSession.objects.filter(pk=session.pk).update(held_in=room, room=room.name)
    return room


def hold_another_there(shop, room, **fields):
    """A class of another subject with people in it, as an instructor plans it who was warned."""
    teacher = make_user("instructor")
    other = shop.klass(10, ("OTHER",), held_in=room, room=room.name, instructor=teacher, **fields)
    Enrolment.objects.create(session=other, person=make_person())
    return other


def fill_the_other_of_the_plan(shop, room):
    other = ClassSession.objects.get(held_in=room, places=1)
    Enrolment.objects.create(session=other, person=make_person())
    return other


@pytest.mark.parametrize(
    "meanwhile",
    [
        hold_another_there,
        partial(hold_another_there, length=200),  # It ends long after the plan.
        fill_the_other_of_the_plan,
    ],
    ids=["planned", "longer", "filled"],
)
def test_plan_whose_room_was_taken_meanwhile_is_not_carried_out(shop, client, meanwhile):
    for name in ("Ada", "Bo"):
        shop.person(name, 13)
    session = shop.klass(10, places=4)
    same_days = shop.klass(10, places=1, instructor=make_user("instructor"))
    room = in_one_room(shop, session, same_days)
    other_plan = shop.klass(40)
    plan = shop.plan()
    assert chosen(plan) == {"Ada": session, "Bo": session}
    other = meanwhile(shop, room)
    client.force_login(shop.instructor)
    page = client.get(f"/plans-of-classes/{plan.pk}/").context["page"]
    assert other.number in page.changes[0]  # It says what is otherwise since.

    answer = client.post(f"/plans-of-classes/{plan.pk}/send/", {"version": plan.version})

    assert answer.status_code == 422
    assert f"The room of {session.number} is taken on" in answer.text
    assert f"{other.number} is held there" in answer.text
    plan.refresh_from_db()
    assert plan.sent_at is None
    assert not Enrolment.objects.filter(session=session).exists()
    assert not ClassLetter.objects.exists()
    assert not plan.needs.exclude(outcome="").exists()
    # Worked out again, the plan keeps out of the room.
    assert chosen(shop.plan()) == {"Ada": other_plan, "Bo": other_plan}
    # In another room it is held.
    ClassSession.objects.filter(pk=session.pk).update(held_in=None, room="Hall")
    assert shop.carry_out(plan).enrolled == 2


def test_room_that_another_class_without_people_names_is_free(shop):
    shop.person("Ada", 13)
    session = shop.klass(10)
    room = in_one_room(shop, session)
    plan = shop.plan()
    shop.klass(10, ("OTHER",), held_in=room, instructor=make_user("instructor"))
    assert plan.rests_on.pop("beside") == []  # As one that the release before kept.
    plan.save()
    assert shop.carry_out(plan).enrolled == 1


def test_one_place_renews_several_rights(shop):
    ada = shop.person("Ada", 13)
    shop.person("Ada", 30, "CUPS", person=ada)
    session = shop.klass(10, ("TERM", "CUPS"))
    plan = shop.plan()

    assert [need.chosen for need in plan.needs.all()] == [session, session]
    assert shop.carry_out(plan).enrolled == 1
    assert set(plan.needs.values_list("outcome", flat=True)) == {Outcome.ENROLLED}


def test_more_classes_than_a_table_holds_are_listed(shop, client):
    shop.person("Ada", 90)
    for number in range(9):
        shop.klass(5 + number)
    plan = shop.plan()
    client.force_login(shop.instructor)

    page = client.get(f"/plans-of-classes/{plan.pk}/").text

    assert ("is-long" in page, page.count('type="radio"')) == (True, 10)


def test_long_plan_is_shown_a_page_at_a_time_and_keeps_its_place(shop, client, monkeypatch):
    monkeypatch.setattr(class_plan_page, "LINES_A_PAGE", 1)
    for number, name in enumerate(("Ada", "Bo")):
        shop.person(name, 13 + number)
    shop.klass(10)
    plan = shop.plan()
    client.force_login(shop.instructor)
    address = f"/plans-of-classes/{plan.pk}/"

    page = client.get(f"{address}?page=2")
    assert [line.need.person.full_name for line in page.context["page"].shown] == ["Bo"]
    assert "Enrol and invite 2 people" in page.text
    bo = plan.needs.get(person__full_name="Bo")
    moved = client.post(f"{address}move/", {"version": "0", "page": "2", f"need_{bo.pk}": ""})
    assert moved.url == f"{address}?page=2"
    assert chosen(plan)["Ada"] is not None
    assert chosen(plan)["Bo"] is None


def test_quality_reads_a_plan_and_changes_nothing(shop, client):
    shop.person("Ada", 13)
    shop.klass(10)
    plan = shop.plan()
    client.force_login(make_user("quality"))

    page = client.get(f"/plans-of-classes/{plan.pk}/").text

    assert "Enrol and invite" not in page
    assert page.count("disabled") == 2
    assert client.post(f"/plans-of-classes/{plan.pk}/send/").status_code == 404


def test_plan_of_two_sites_is_read_by_who_reads_both(shop, client):
    there = make_site("Aldergate", "AL")
    shop.person("Ada", 13)
    SiteRole.objects.create(user=shop.instructor, site=there, role="instructor")
    shop.instructor.__dict__.pop("_site_roles", None)
    plan = shop.plan(sites=[shop.site, there])

    for reader, status in ((make_user("instructor"), 404), (shop.instructor, 200)):
        client.force_login(reader)
        assert client.get(f"/plans-of-classes/{plan.pk}/").status_code == status


@pytest.mark.parametrize(
    ("value", "bound", "drawn"), [(11, 11, False), (43, 11, True), (1, 0, True), (90_000, 0, True)]
)
def test_gap_is_drawn_where_there_is_one(value, bound, drawn):
    picture = gap_line(value, bound, bound)

    assert ("gap" in picture) is drawn
    assert picture.count("<text") == 2 * drawn


# Two at once


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite lets one write at a time")
def test_plan_is_carried_out_once_by_two_at_once():
    shop = Shop()
    for name in ("Ada", "Bo", "Cai"):
        shop.person(name, 13)
    shop.klass(10)
    plan = shop.plan()

    def carry_out():
        try:
            return shop.carry_out(ClassPlan.objects.get(pk=plan.pk)).enrolled
        except ChangedMeanwhile:
            return "refused"

    assert sorted(map(str, at_once(carry_out, carry_out))) == ["3", "refused"]
    assert Enrolment.objects.count() == 3


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite lets one write at a time")
def test_of_two_plans_that_need_one_room_one_is_carried_out():
    """They share neither people nor classes nor instructors, only the room."""
    shop = Shop()
    shop.person("Ada", 13), shop.person("Bo", 14, "CUPS")
    first = shop.klass(10)
    second = shop.klass(10, ("CUPS",), instructor=make_user("instructor"))
    in_one_room(shop, first, second)
    ada, bo = Person.objects.get(full_name="Ada"), Person.objects.get(full_name="Bo")
    plans = []
    for goes, stays in ((ada, bo), (bo, ada)):
        plan = shop.plan()
        held = first if goes == ada else second
        plan.needs.filter(person=goes).update(chosen=held)
        plan.needs.filter(person=stays).update(chosen=None)
        plans.append(plan)

    with pytest.raises(CertificationError, match="is held there, with people in it"):
        wait_behind(lambda: shop.carry_out(plans[0]), lambda: shop.carry_out(plans[1]))
    assert Enrolment.objects.get().person == ada


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite lets one write at a time")
@pytest.mark.parametrize("plan_first", [True, False])
def test_plan_and_a_class_planned_for_people_do_not_both_get_a_room_unsaid(plan_first):
    shop = Shop()
    shop.person("Ada", 13)
    session = shop.klass(10)
    room = in_one_room(shop, session)
    plan = shop.plan()
    teacher, guest = make_user("instructor"), make_person()

    def plan_another(known):
        return plan_class_for(
            [guest],
            course_revision=make_session().course_revision,
            site=shop.site,
            instructor=teacher,
            starts_on=day(10),
            ends_on=day(10),
            places=4,
            room=room.name,
            known=known,
            overlaps=[],
            actor=teacher,
            at=NOW,
        )

    if plan_first:
        with pytest.raises(MeetsOtherClasses):
            wait_behind(lambda: shop.carry_out(plan), lambda: plan_another([]))
        assert Enrolment.objects.get().session == session
    else:
        with pytest.raises(CertificationError, match="is held there, with people in it"):
            wait_behind(lambda: plan_another([session.number]), lambda: shop.carry_out(plan))
        assert Enrolment.objects.get().person == guest
