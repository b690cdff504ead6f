"""My card: what somebody is certified for, until when, what comes next, why a joint failed."""

from datetime import timedelta
from decimal import Decimal

import pytest

from assessments.models import Board, Grading, Judgement, Photo, StageSigning
from assessments.services import board_outcome
from certification.domain.months import add_months
from certification.models import CertificateEvent, Proposal
from certification.services import standing
from records.services import trail
from tests.factories import (
    NOW,
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
    unprotected,
)
from training.models import (
    Lesson,
    Position,
    PracticeRecord,
    PracticeWithdrawal,
    Tool,
    VisionTest,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def today():
    return make_site(address="Bench room 2, ground floor").today()


@pytest.fixture
def operator(client, today):
    user = make_user(person=make_person(full_name="Bastian Ferreyra"))
    client.force_login(user)
    return user


@pytest.fixture
def person(operator):
    return operator.person


@pytest.fixture
def terminals():
    return make_scope(code="TERM", title="Terminals, operator")


def card(client):
    response = client.get("/my-card/")
    assert response.status_code == 200
    return response.context["card"]


def words(client):
    """What the page says, each gap a single space."""
    return client.get("/my-card/").content.decode().replace("\xa0", " ")


def certify(person, scope, issued_on, **figures):
    return make_certificate(
        person, scope, revision=make_revision(scope, **figures), issued_on=issued_on
    )


def happen(certificate, kind, day, **fields):
    CertificateEvent.objects.create(
        event_id=f"E-{certificate.pk}-{kind}",
        certificate=certificate,
        kind=kind,
        effective_on=day,
        recorded_at=NOW,
        **fields,
    )
    standing.rebuild_spans(certificate.person, certificate.scope)


def see_well(person, day):
    VisionTest.objects.create(test_id=f"V-{day}", person=person, tested_on=day, passed=True)


# What somebody is certified for


def test_certificate_in_force_says_until_when_and_what_keeps_it(client, person, terminals, today):
    see_well(person, today)
    made = certify(
        person, terminals, today - timedelta(days=10), vision_months=12, max_absence_months=6
    )

    page = words(client)

    assert "What I am certified for" in page
    rests_until = add_months(made.issued_on, 6)
    assert f'until <time datetime="{rests_until}">' in page
    assert f'its own end: <time datetime="{made.valid_through}">' in page
    assert "If your vision test stays current and no 6 months go by without such work." in page
    assert f"/certificates/{made.number}/" in page
    (one,) = card(client).scopes
    assert 0 < one.life.today < one.life.right < 400


@pytest.mark.parametrize(
    ("figures", "said"),
    [
        pytest.param({"vision_months": 12}, "If your vision test stays current.", id="vision"),
        pytest.param(
            {"max_absence_months": 1}, "If no month goes by without such work.", id="one month"
        ),
        pytest.param(
            {"max_absence_months": 6}, "If no 6 months go by without such work.", id="months"
        ),
        pytest.param({}, "", id="nothing"),
    ],
)
def test_conditions_are_those_of_the_scheme(client, person, terminals, today, figures, said):
    see_well(person, today)
    certify(person, terminals, today, **figures)

    assert card(client).scopes[0].conditions == said


def test_restriction_is_said(client, person, terminals, today):
    make_certificate(person, terminals, issued_on=today, restriction="cups for AWG 20 and smaller")

    assert "<b>Only:</b> cups for AWG 20 and smaller" in words(client)


@pytest.mark.parametrize(
    ("kind", "title", "text", "word"),
    [
        pytest.param("suspended", "See your instructor", "Suspended: Terminals", "suspended"),
        pytest.param("revoked", "See your instructor", "Revoked: Terminals", "revoked"),
        pytest.param("ended", "Re-certification", "Ended: Terminals", "expired"),
    ],
)
def test_certificate_that_stopped_says_what_starts_it_again(
    client, person, terminals, today, kind, title, text, word
):
    made = certify(person, terminals, today - timedelta(days=100))
    happen(made, kind, today - timedelta(days=5))

    first = card(client).next[0]
    page = words(client)

    assert (first.title, first.by) == (title, None)
    assert text in first.text
    assert "not today" in page
    assert f"<span>{word} <small>since" in page


def test_vision_test_that_ran_out_comes_before_all_else(client, person, terminals, today):
    see_well(person, today - timedelta(days=400))
    certify(person, terminals, today - timedelta(days=100), vision_months=12)
    cups = make_scope(title="Solder cups, operator")
    certify(person, cups, today - timedelta(days=100), vision_months=12)
    make_board(person)

    first, *then = card(client).next
    page = words(client)

    assert first.title == "Vision test"
    assert "Solder cups, operator; Terminals, operator" in first.text
    assert "Where: Bench room 2, ground floor" in page
    assert "vision not current" in page
    assert len(then) == 1


def test_work_that_rested_too_long_is_said(client, person, terminals, today):
    certify(person, terminals, today - timedelta(days=300), max_absence_months=6)

    first = card(client).next[0]

    assert first.title == "Re-certification"
    assert "No qualifying work recorded for too long" in first.text
    assert "practice lapsed" in words(client)


# Through which day, and what keeps it


def in_order(page, *texts):
    """Whether the texts stand on the page, one after the other."""
    places = [page.find(text) for text in texts]
    return -1 not in places and places == sorted(places)


def test_day_of_the_vision_test_comes_before_the_certificates_own(client, person, terminals, today):
    see_well(person, today - timedelta(days=300))
    made = certify(
        person, terminals, today - timedelta(days=10), vision_months=12, max_absence_months=24
    )

    ends = add_months(today - timedelta(days=300), 12)
    (one,) = card(client).scopes

    assert one.right.last_day == ends
    assert in_order(
        words(client),
        f'until <time datetime="{ends}">',
        "To keep it:</b> pass a vision test by then.",
        f'its own end: <time datetime="{made.valid_through}">',
        f'good through <time datetime="{ends}">',
        f'last one <time datetime="{today - timedelta(days=300)}">',
    )


def test_work_that_rests_ends_the_right_and_doing_it_keeps_it(client, person, terminals, today):
    made = certify(person, terminals, today - timedelta(days=100), max_absence_months=6)
    worked_on, withdrawn_on = today - timedelta(days=40), today - timedelta(days=20)
    PracticeRecord.objects.create(person=person, scope_code="TERM", performed_on=worked_on)
    error = PracticeRecord.objects.create(
        person=person, scope_code="TERM", performed_on=withdrawn_on
    )
    PracticeWithdrawal.objects.create(practice=error, reason="Somebody else.")
    standing.rebuild_spans(person, terminals)

    ends = add_months(worked_on, 6)
    assert in_order(
        words(client),
        f'until <time datetime="{ends}">',
        "To keep it:</b> do such work by then and have it recorded.",
        f'its own end: <time datetime="{made.valid_through}">',
        f'again by <time datetime="{ends}">',
        f'last recorded <time datetime="{worked_on}">',
    )


def test_certificate_that_ends_first_is_kept_by_a_new_one(client, person, terminals, today):
    made = certify(person, terminals, today - timedelta(days=10), renewal_window_days=90)

    opens = made.valid_through - timedelta(days=90)
    assert in_order(
        words(client),
        f'until <time datetime="{made.valid_through}">',
        "To keep it:</b> be re-certified by then.",
        f'renewable from <time datetime="{opens}"',
    )


def test_days_lead_the_page_where_nothing_is_to_be_done(client, person, terminals, today):
    made = certify(person, terminals, today - timedelta(days=10))
    heads = ("What I am certified for", f'until <time datetime="{made.valid_through}">')
    assert in_order(words(client), *heads, "Do this next", "Nothing for now")

    make_board(person)
    assert in_order(words(client), "Do this next", *heads)


def test_two_things_that_end_on_one_day_are_both_asked_for(client, person, terminals, today):
    certify(person, terminals, today, validity_months=6, max_absence_months=6)

    (one,) = card(client).scopes

    assert [str(words) for words in one.right.kept_by] == [
        "do such work by then and have it recorded",
        "be re-certified by then",
    ]


def test_suspension_to_come_ends_the_right_and_nothing_keeps_it(client, person, terminals, today):
    made = certify(person, terminals, today - timedelta(days=10))
    happen(made, "suspended", today + timedelta(days=30))

    page = words(client)

    assert f'until <time datetime="{today + timedelta(days=29)}">' in page
    assert "stands in the register already: see your instructor" in page
    assert "To keep it" not in page


def test_older_certificate_carries_the_right_beyond_the_newer_ones_end(
    client, person, terminals, today
):
    older = certify(person, terminals, today - timedelta(days=10), validity_months=24)
    newer = certify(person, terminals, today - timedelta(days=5), validity_months=3)

    (one,) = card(client).scopes

    assert one.line.certificate == newer
    assert (one.right.last_day, one.line.through) == (older.valid_through, newer.valid_through)
    assert one.life.right == 400


def test_restriction_that_changes_does_not_end_the_right(client, person, terminals, today):
    made = certify(person, terminals, today - timedelta(days=10))
    happen(made, "restricted", today + timedelta(days=30), restriction="AWG 20 and less")

    assert card(client).scopes[0].right.last_day == made.valid_through


def test_stopped_certificate_gives_no_right_though_one_is_to_come(client, person, terminals, today):
    made = certify(person, terminals, today - timedelta(days=10))
    happen(made, "suspended", today - timedelta(days=1))
    happen(made, "reinstated", today + timedelta(days=5))

    (one,) = card(client).scopes

    assert one.right is None
    assert "not today" in words(client)


def test_class_that_teaches_the_work_stands_beside_it(client, person, terminals, today):
    certify(person, terminals, today - timedelta(days=10))
    assert "none booked" in words(client)
    fields = {"people": (person,), "starts_on": today, "ends_on": today + timedelta(days=1)}
    make_session(**fields)  # Another course, which teaches other work.
    assert "none booked" in words(client)
    teaching = make_session(**fields)
    exercise = make_exercise()
    with unprotected():
        Position.objects.filter(exercise=exercise).update(scope_code="TERM")
    Lesson.objects.create(
        course_revision=teaching.course_revision,
        order=1,
        title="One",
        minutes=60,
        exercise=exercise,
    )

    assert card(client).scopes[0].class_session == teaching
    page = words(client)
    assert "none booked" not in page
    assert teaching.course_revision.course.title in page


# What ends


def test_certificate_about_to_end_is_next_with_its_day(client, person, terminals, today):
    made = certify(person, terminals, today - timedelta(days=700))

    first = card(client).next[0]

    assert (first.title, first.by) == ("Re-certification", made.valid_through)
    assert "Without it these stop on" in first.text
    assert "By <b>" in words(client)


def test_what_ends_first_stands_first(client, person, terminals, today):
    see_well(person, today - timedelta(days=340))
    made = certify(person, terminals, today - timedelta(days=650), vision_months=12)

    titles = [one.title for one in card(client).next]

    assert titles == ["Vision test", "Re-certification"]
    assert card(client).next[1].by == made.valid_through


def test_work_keeps_a_certificate_alive(client, person, terminals, today):
    certify(person, terminals, today - timedelta(days=160), max_absence_months=6)
    assert card(client).next[0].title == "Do some of this work"

    PracticeRecord.objects.create(person=person, scope_code="TERM", performed_on=today)
    standing.rebuild_spans(person, terminals)

    assert card(client).next[0].title == "Nothing for now"


@pytest.mark.parametrize(
    ("figures", "said"),
    [
        pytest.param({}, "The first thing to end is a certificate", id="certificate"),
        pytest.param({"vision_months": 12}, "to end is your vision test", id="vision"),
        pytest.param({"max_absence_months": 6}, "Go on doing the work", id="practice"),
    ],
)
def test_nothing_to_do_still_says_what_ends_first(client, person, terminals, today, figures, said):
    see_well(person, today)
    certify(person, terminals, today, **figures)

    (only,) = card(client).next

    assert only.title == "Nothing for now"
    assert said in only.text
    assert "You will get a reminder." in only.text
    assert "Where:" not in words(client)


# Those who are learning


def test_trainee_without_anything_is_sent_to_the_instructor(client, person):
    (only,) = card(client).next
    page = words(client)

    assert only.title == "See your instructor"
    assert "no certificate and no board yet" in only.text
    assert "Nothing yet" in page
    assert "Your scopes stand here once a certificate is issued." in page


def test_board_in_hand_is_to_be_made_and_handed_in(client, person):
    board = make_board(person)
    make_board(person, handed_in_at=NOW)
    make_board(person, disposed_at=NOW)
    make_board()

    (only,) = card(client).next

    assert only.title == f"Board {board.number}"
    assert only.url == f"/boards/{board.number}/"
    assert "Open the board" in words(client)


def test_board_that_is_being_judged_is_waited_for(client, person):
    make_board(person, handed_in_at=NOW)

    assert card(client).next[0].title == "Wait for your result"


def test_board_that_was_judged_leaves_the_next_one_to_ask_for(client, person):
    make_passed_board(person, make_exercise())

    (only,) = card(client).next

    assert only.title == "See your instructor"
    assert "Ask which exercise comes next" in only.text


def test_proposal_is_waited_for(client, person, terminals):
    Proposal.objects.create(
        person=person,
        scope=terminals,
        scheme_revision=make_revision(terminals),
        signature=trail.sign(
            actor=make_user("instructor"), meaning="proposed", about=person, content={}, at=NOW
        ),
    )

    assert card(client).next[0].title == "Wait for quality"
    assert "Your instructor has proposed you; quality decides." in words(client)


def test_class_one_is_enrolled_in_is_to_be_gone_to(client, person, today):
    soon = make_session(
        people=(person,),
        starts_on=today + timedelta(days=7),
        ends_on=today + timedelta(days=9),
        room="Bench room 2",
    )
    make_session(
        people=(person,), starts_on=today - timedelta(days=9), ends_on=today - timedelta(days=7)
    )
    make_session(starts_on=today, ends_on=today)

    (only,) = card(client).next

    assert (only.title, only.by) == ("Class", soon.starts_on)
    assert "at Bench room 2" in only.text
    assert "On <b>" in words(client)
    assert client.get(only.url).status_code == 200


# Why a joint failed


@pytest.fixture
def criteria():
    return make_criteria_set(
        {"code": "S-1", "severity": "critical", "demerits": 40},
        {"code": "S-2", "severity": "major", "demerits": 20},
        {"code": "S-3", "severity": "minor", "demerits": 5},
        {
            "code": "S-4",
            "how": "measured",
            "low": 180,
            "high": 270,
            "unit": "deg",
            "severity": "major",
            "texts": {
                "en": {
                    "title": "Wrap",
                    "text": "Half way round or more.",
                    "reject": "The wrap is too short to hold.",
                    "advice": "Mark the end before you pull.",
                }
            },
        },
        {"code": "S-9", "severity": "minor", "demerits": 5, "of": "board"},
    )


def judged_board(person, criteria, rejects, at=NOW, exercise=None, **how):
    """A board signed with these (joint, criterion) rejected and all else accepted."""
    grader = make_user("instructor", person=make_person(full_name="Leocadia Brandt"))
    board = make_board(person, exercise, handed_in_at=at)
    grading = Grading.objects.create(
        board=board, grader=grader, criteria_set=criteria, recorded_at=at
    )
    for criterion in criteria.criteria.all():
        places = [None] if criterion.of == "board" else list(board.joints.all())
        for joint in places:
            rejected = (str(joint) if joint else "board", criterion.code) in rejects
            Judgement.objects.create(
                grading=grading,
                joint=joint,
                criterion=criterion,
                stage="soldered",
                outcome="reject" if rejected else "accept",
                **({"how": "at_board"} | (how if rejected else {})),
            )
    StageSigning.objects.create(
        grading=grading,
        stage="soldered",
        signature=trail.sign(
            actor=grader, meaning="graded", about=board, content={"board": board.number}, at=at
        ),
        signed_at=at,
        result={},
    )
    board_outcome.refresh_outcome(Board.objects.get(pk=board.pk), at)
    return board


def test_rejected_joint_is_explained_with_drawing_advice_and_reading(client, person, criteria):
    tool = Tool.objects.create(code="G-1", kind="gauge", site=make_site())
    board = judged_board(
        person,
        criteria,
        {("E02", "S-4")},
        how="instrument",
        tool=tool,
        value=Decimal(148),
        uncertainty=Decimal("2.5"),
        note="Cut too early.",
    )

    page = words(client)

    assert "Why did E02 fail?" in page
    assert f"/boards/{board.number}/result/" in page
    assert "148.0° ± 2.5°" in page
    assert "<b>Wrap</b>, major: reject" in page
    assert "The wrap is too short to hold." in page
    assert "<b>Try this:</b> Mark the end before you pull." in page
    assert "“Cut too early.”" in page
    assert "Criterion S-4. Judged by Leocadia Brandt" in page
    assert page.count('class="drawing"') >= 2


def test_photograph_that_was_judged_is_shown(client, person, criteria):
    board = judged_board(person, criteria, set())
    photo = Photo.objects.create(
        board=board,
        original="originals/x.bin",
        original_name="x.jpg",
        media_type="image/jpeg",
        size_bytes=1,
        sha256="0" * 64,
        upright_width=800,
        upright_height=600,
    )
    judged_board(person, criteria, {("E01", "S-2")}, how="photograph", photo=photo)

    assert f"/photos/{photo.key}/800/" in words(client)


def test_worst_fault_stands_first_and_the_rest_are_counted(client, person, criteria):
    judged_board(
        person,
        criteria,
        {("E01", "S-3"), ("E02", "S-2"), ("E03", "S-1"), ("E03", "S-3"), ("board", "S-9")},
    )

    found = card(client)
    page = words(client)

    assert [one.criterion.code for one in found.faults] == ["S-1", "S-2", "S-3"]
    assert "Why did E03 fail?" in page
    assert "2 more on this board" in page


def test_minor_fault_is_not_called_a_failure(client, person, criteria):
    judged_board(person, criteria, {("E01", "S-3")})

    page = words(client)

    assert "What was not right on E01?" in page
    assert "Why did" not in page


def test_fault_of_the_whole_board_is_said_of_the_board(client, person, criteria):
    judged_board(person, criteria, {("board", "S-9")})

    assert "What was wrong with the board?" in words(client)


def test_newest_faulty_board_is_explained_until_it_was_made_better(client, person, criteria):
    turret, cup = make_exercise(), make_exercise()
    old = judged_board(person, criteria, {("E01", "S-1")}, NOW - timedelta(days=9), turret)
    new = judged_board(person, criteria, {("E01", "S-2")}, NOW - timedelta(days=5), cup)
    assert card(client).faulty_board == new

    judged_board(person, criteria, set(), NOW - timedelta(days=3), cup)
    assert card(client).faulty_board == old

    judged_board(person, criteria, set(), NOW - timedelta(days=1), turret)
    assert card(client).faulty_board is None
    assert "Why did" not in words(client)


def test_board_that_is_not_judged_to_the_end_explains_nothing_yet(client, person, criteria):
    exercise = make_exercise(stages=("formed", "soldered"))
    judged_board(person, criteria, {("E01", "S-1")}, exercise=exercise)

    assert card(client).faults == []


def test_card_is_ones_own_alone(client, person, terminals, criteria, today):
    other = make_person()
    theirs = certify(other, terminals, today)
    judged_board(other, criteria, {("E01", "S-1")})

    page = words(client)

    assert theirs.number not in page
    assert "Why did" not in page


def test_stranger_signs_in_first(client):
    response = client.get("/my-card/")

    assert (response.status_code, response.url) == (302, "/account/login/?next=/my-card/")
    client.force_login(make_user())
    assert client.post("/my-card/").status_code == 405
