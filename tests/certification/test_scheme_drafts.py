"""Schemes begun, changed, published, retired and discarded; what each refuses."""

from dataclasses import replace

import pytest
from django.db import DatabaseError, transaction

from assessments.models import Board
from certification.exceptions import CertificationError, ChangedMeanwhile
from certification.models import Certificate, Scheme, SchemeRevision
from certification.queries import scheme_drafts as queries
from certification.queries import scheme_faults
from certification.queries.schemes_written_down import published_content
from certification.services import scheme_drafts as drafts
from certification.services import schemes, starter
from certification.services.schemes import Asked
from people.models import Site
from records.domain.shown import digest_of
from records.exceptions import ShownOtherwise
from records.models import Signature, TrailEntry
from records.queries.verification import verify_records
from tests.factories import (
    NOW,
    load_published_content,
    make_certificate,
    make_exercise,
    make_revision,
    make_scope,
    make_user,
    unprotected,
    write_down,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def quality():
    return make_user("quality")


@pytest.fixture
def scope():
    return make_scope()


@pytest.fixture
def draft(scope):
    exercise = make_exercise()
    write_down()
    return replace(
        starter.usual_figures("Hand soldering"),
        scopes=[scope],
        requirements=[Asked(scope=scope, exercise_code=exercise.code)],
    )


@pytest.fixture
def revision(draft, quality):
    return drafts.begin_scheme(code="HS", draft=draft, actor=quality, at=NOW)


def with_rules(draft, **rules):
    return replace(draft, rules={**draft.rules, **rules})


def change(revision, draft, user, **more):
    given = {"seen": queries.draft_digest(revision), "actor": user, "at": NOW}
    return drafts.change_draft(revision=revision, draft=draft, **given | more)


def publish(revision, user, **more):
    given = {"proof": "password", "reason": "For the new line.", "actor": user, "at": NOW}
    return schemes.publish_scheme_revision(revision=revision, **given | more)


def fits():
    return [str(fault) for fault in verify_records().faults]


def test_a_scheme_from_its_first_draft_to_its_second_revision(revision, draft, quality):
    assert (revision.name, revision.is_draft) == ("HS, rev. 1", True)
    change(revision, with_rules(draft, validity_months=18), quality)
    first = publish(revision, quality)

    signature = Signature.objects.get(meaning="publishes the revision of a scheme")
    assert signature.signer == quality
    assert '"validity_months":18' in signature.content
    second = drafts.draft_next_revision(revision=first, actor=quality, at=NOW)
    assert queries.state_of(second) == queries.state_of(first)
    assert queries.earlier_of(second) == first
    publish(second, quality)

    first.refresh_from_db()
    assert first.retired_at == NOW
    assert list(SchemeRevision.objects.in_force()) == [second]
    assert fits() == []


def test_what_was_issued_keeps_its_revision(revision, scope, quality):
    first = publish(revision, quality)
    certificate = make_certificate(scope=scope, revision=first)
    second = drafts.draft_next_revision(revision=first, actor=quality, at=NOW)
    change(second, with_rules(drafts.draft_of(second), validity_months=6), quality)
    publish(second, quality)

    kept = Certificate.objects.get(pk=certificate.pk)
    assert (kept.scheme_revision, kept.valid_through) == (first, certificate.valid_through)


def test_a_revision_that_asks_for_no_order_is_written_down_as_it_always_was(revision, quality):
    content = published_content(publish(revision, quality))
    assert sorted(content) == [
        "expiry_rule", "grader_needs_standing", "instructor_may_issue", "max_absence_months",
        "name", "published_at", "reason", "reminder_steps", "renewal_window_days", "requirements",
        "revision", "scheme", "scopes", "sources", "validity_months", "vision_months",
    ]  # fmt: skip
    assert [sorted(asked) for asked in content["requirements"]] == [
        ["boards", "exercise", "purposes", "scope", "within_months"]
    ]


def test_what_the_way_asks_is_published_copied_and_kept(revision, draft, scope, quality):
    [asked] = draft.requirements
    hook = make_exercise()
    write_down()
    ordered = replace(
        with_rules(draft, attempts=2, wait_days=7, retraining_boards=3),
        requirements=[asked, Asked(scope, hook.code, after_exercise=asked.exercise_code)],
    )
    change(revision, ordered, quality)
    first = publish(revision, quality)
    content = published_content(first)
    assert (content["attempts"], content["wait_days"], content["retraining_boards"]) == (2, 7, 3)
    assert content["requirements"][1]["after_exercise"] == asked.exercise_code
    second = drafts.draft_next_revision(revision=first, actor=quality, at=NOW)
    assert queries.state_of(second) == queries.state_of(first)
    assert fits() == []
    with pytest.raises(DatabaseError, match="published"), transaction.atomic():
        SchemeRevision.objects.filter(pk=first.pk).update(attempts=9)
    with unprotected():
        first.requirements.filter(exercise_code=hook.code).update(after_exercise="")
    assert any(str(first.pk) in fault for fault in fits())


def test_an_order_that_nobody_could_follow_is_not_published(revision, draft, scope, quality):
    [asked] = draft.requirements
    code = asked.exercise_code
    hook = make_exercise()
    write_down()
    circle = [
        replace(asked, after_exercise=hook.code),
        Asked(scope, hook.code, after_exercise=code, after_course="HS-9"),
    ]
    change(revision, replace(with_rules(draft, attempts=2), requirements=circle), quality)
    revision.refresh_from_db()
    said = " ".join(scheme_faults.faults_of(revision))
    assert f"each of {code}, {hook.code} comes after another" in said
    assert "the course HS-9, of which no class can be planned" in said
    assert any("after 2 failed attempts" in line for line in scheme_faults.remarks_on(revision))
    lone = [replace(asked, after_exercise="EX-NONE")]
    change(revision, replace(draft, requirements=lone), quality)
    assert "after EX-NONE, of which no boards are asked" in scheme_faults.faults_of(revision)[0]
    revision.refresh_from_db()
    with pytest.raises(CertificationError, match="from 0 to 100"):
        change(revision, with_rules(draft, attempts=101), quality)


def test_a_source_goes_with_the_figure_that_it_spoke_of(revision, draft, quality):
    stale = change(revision, with_rules(draft, validity_months=12, vision_months=24), quality)

    revision.refresh_from_db()
    assert stale == ["validity_months", "vision_months"]
    assert "validity_months" not in revision.sources
    assert revision.sources["max_absence_months"] == draft.sources["max_absence_months"]

    own = {**revision.sources, "validity_months": "WI-204, rev. C, 3.1"}
    changed = with_rules(replace(draft, sources=own), validity_months=6, vision_months=24)
    assert change(revision, changed, quality) == []
    revision.refresh_from_db()
    assert revision.sources["validity_months"] == "WI-204, rev. C, 3.1"


def test_whoever_saves_second_is_told_and_nothing_is_lost(revision, draft, quality):
    seen = queries.draft_digest(revision)
    change(revision, with_rules(draft, validity_months=12), quality, seen=seen)

    other = make_user("instructor")
    with pytest.raises(ChangedMeanwhile, match=f"{quality} changed the draft"):
        change(revision, with_rules(draft, validity_months=36), other, seen=seen)

    revision.refresh_from_db()
    assert revision.validity_months == 12


def test_saving_what_is_there_writes_nothing(revision, draft, quality):
    before = TrailEntry.objects.count()
    change(revision, draft, quality)
    assert TrailEntry.objects.count() == before


@pytest.mark.parametrize(
    ("rules", "sentence"),
    [
        ({"validity_months": 0}, "at least 1"),
        ({"vision_months": 601}, "from 0 to 600"),
        ({"max_absence_months": -1}, "from 0 to 600"),
        ({"renewal_window_days": 4000}, "Give days from 0"),
        ({"reminder_steps": [-1]}, "Give days from 0"),
        ({"reminder_steps": list(range(25))}, "no more than 24 reminders"),
    ],
)
def test_what_no_draft_may_say(revision, draft, quality, rules, sentence):
    with pytest.raises(CertificationError, match=sentence):
        change(revision, with_rules(draft, **rules), quality)


def test_lines_that_no_draft_may_have(revision, draft, quality):
    [asked] = draft.requirements
    for lines, sentence in (
        ([asked, asked], "twice"),
        ([replace(asked, boards=0)], "1 to 100 boards"),
        ([replace(asked, within_months=601)], "1 to 100 boards"),
        ([replace(asked, purposes=("fun",))], "1 to 100 boards"),
    ):
        with pytest.raises(CertificationError, match=sentence):
            change(revision, replace(draft, requirements=lines), quality)


def test_a_code_is_one_scheme_in_whatever_capitals(revision, draft, quality):
    with pytest.raises(CertificationError, match="There is a scheme HS already"):
        drafts.begin_scheme(code="hs", draft=draft, actor=quality, at=NOW)


def test_a_name_that_an_earlier_register_took_is_not_taken_again(scope, quality, draft):
    make_revision(scope, name="HS, rev. 1")
    made = drafts.begin_scheme(code="HS", draft=draft, actor=quality, at=NOW)
    assert made.name == "HS, rev. 1 (2)"
    assert len(schemes.revision_name("X" * 80, 12)) == 80


def test_a_scheme_has_one_draft(revision, quality):
    first = publish(revision, quality)
    drafts.draft_next_revision(revision=first, actor=quality, at=NOW)
    with pytest.raises(CertificationError, match=r"There is a draft already: HS, rev\. 2"):
        drafts.draft_next_revision(revision=first, actor=quality, at=NOW)


def test_a_discarded_first_draft_leaves_no_scheme_and_its_words_in_the_trail(revision, quality):
    seen = queries.draft_digest(revision)
    with pytest.raises(CertificationError, match="Say why"):
        drafts.discard_draft(revision=revision, why=" ", seen=seen, actor=quality, at=NOW)
    drafts.discard_draft(revision=revision, why="Twice.", seen=seen, actor=quality, at=NOW)

    assert not Scheme.objects.exists()
    entry = TrailEntry.objects.get(act="scheme draft discarded")
    assert "Twice." in entry.payload.body
    assert "validity_months" in entry.payload.body
    with pytest.raises(CertificationError, match="discarded meanwhile"):
        drafts.discard_draft(revision=revision, why="Twice.", seen=seen, actor=quality, at=NOW)
    assert fits() == []


def test_a_published_revision_is_neither_changed_nor_discarded(revision, draft, quality):
    publish(revision, quality)
    for refused in (
        lambda: change(revision, with_rules(draft, validity_months=1), quality),
        lambda: drafts.discard_draft(revision=revision, why="x", seen="", actor=quality, at=NOW),
        lambda: publish(revision, quality),
    ):
        with pytest.raises(CertificationError, match="published"):
            refused()


def test_publishing_refuses_what_would_certify_nobody(revision, draft, scope, quality):
    wire = make_exercise(("wire",))
    change(
        revision,
        with_rules(
            replace(
                draft,
                requirements=[
                    Asked(scope=scope, exercise_code=wire.code),
                    Asked(scope=scope, exercise_code="EX-NONE"),
                    Asked(scope=make_scope(), exercise_code=wire.code),
                ],
            ),
            reminder_steps=[900],
        ),
        quality,
    )
    with pytest.raises(CertificationError) as refused:
        publish(revision, quality)
    for part in ("900 days before", "EX-NONE", "which it does not cover", "nobody would show"):
        assert part in str(refused.value)
    assert scheme_faults.faults_of(revision)
    revision.refresh_from_db()
    assert revision.is_draft


def test_an_exercise_that_was_retired_meanwhile_stops_publishing(revision, draft, quality):
    from training.models import Exercise

    Exercise.objects.update(retired_at=NOW)
    with pytest.raises(CertificationError, match="no board can be handed out"):
        publish(revision, quality)


def test_what_is_published_is_what_was_shown(revision, draft, quality):
    shown = digest_of(queries.content_to_publish(revision))
    change(revision, with_rules(draft, validity_months=12), quality)
    with pytest.raises(ShownOtherwise):
        publish(revision, quality, shown=shown)
    revision.refresh_from_db()
    assert publish(revision, quality, shown=digest_of(queries.content_to_publish(revision)))


def test_another_scheme_in_force_for_the_same_scope_is_part_of_what_is_shown(
    revision, scope, quality
):
    shown = digest_of(queries.content_to_publish(revision))
    other = make_revision(scope)
    assert queries.covered_also(revision) == {scope.code: [other.name]}
    with pytest.raises(ShownOtherwise):
        publish(revision, quality, shown=shown)


def test_two_people_stand_behind_a_scheme_where_a_site_asks_for_two(revision, draft, quality):
    Site.objects.update(criteria_by_two=True)
    with pytest.raises(CertificationError, match="A second person publishes it"):
        publish(revision, quality)
    assert publish(revision, make_user("quality"))


def test_what_came_along_is_looked_through_first_where_a_site_asks_for_two(draft, quality):
    Site.objects.update(criteria_by_two=True)
    made = drafts.begin_scheme(code="HS", draft=draft, actor="load_content", at=NOW)
    with pytest.raises(CertificationError, match="one looks through the draft"):
        publish(made, quality)
    change(made, draft, make_user("instructor"))
    assert publish(made, quality)


def test_who_may_draft_and_who_may_publish(revision, draft):
    instructor, lead = make_user("instructor"), make_user("line_lead", "administrator")
    change(revision, with_rules(draft, validity_months=12), instructor)
    with pytest.raises(CertificationError, match="published by quality"):
        publish(revision, instructor)
    with pytest.raises(CertificationError, match="drafted by instructors and quality"):
        change(revision, draft, lead)


def test_retiring_says_for_what_nothing_can_be_issued_any_more(revision, scope, quality):
    with pytest.raises(CertificationError, match="is a draft"):
        schemes.retire_scheme_revision(revision=revision, actor=quality, at=NOW)
    published = publish(revision, quality)
    assert queries.left_without_scheme(published) == [scope]
    schemes.retire_scheme_revision(
        revision=published, actor=quality, at=NOW, reason="Superseded.", proof="password"
    )
    with pytest.raises(CertificationError, match="retired already"):
        schemes.retire_scheme_revision(revision=published, actor=quality, at=NOW)
    assert fits() == []


def test_a_scope_that_the_next_revision_leaves_out_is_told(revision, draft, scope, quality):
    first = publish(revision, quality)
    second = drafts.draft_next_revision(revision=first, actor=quality, at=NOW)
    change(second, replace(draft, scopes=[make_scope()], requirements=[]), quality)
    assert queries.no_longer_covered(second) == [scope]


def test_the_starter_comes_along_as_drafts_that_can_be_published(quality):
    load_published_content()
    loaded = starter.load_starter(actor=quality, at=NOW)

    assert loaded.schemes == ("HS-IN", "HS-INSP", "HS-OP")
    assert not SchemeRevision.objects.in_force().exists()
    for revision in SchemeRevision.objects.all():
        assert revision.is_starter
        assert set(revision.sources) == set(queries.SOURCED)
        assert scheme_faults.faults_of(revision) == []
        publish(revision, quality)
    again = starter.load_starter(actor=quality, at=NOW)
    assert (again.scopes, again.schemes) == ((), ())
    assert len(again.kept) == 15
    assert fits() == []


def test_the_starter_leaves_what_is_there(quality):
    mine = make_scope(code="term-op", title="Ours")
    starter.load_starter(actor=quality, at=NOW)
    revision = SchemeRevision.objects.get(scheme__code="HS-OP")
    assert mine in revision.scopes.all()
    mine.refresh_from_db()
    assert mine.title == "Ours"


def test_purposes_that_a_starter_counts_are_those_of_boards():
    from certification.content.starter import SCHEMES

    asked = {purpose for one in SCHEMES for line in one.requirements for purpose in line.purposes}
    assert asked <= set(Board.Purpose.values)
