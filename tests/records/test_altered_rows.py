"""Rows that somebody altered by hand, with the triggers lifted and put back, are named."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from io import BytesIO
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import connection, transaction
from django.test import override_settings

from assessments.models import (
    Board,
    CannotTell,
    CriteriaSet,
    CriterionDrawing,
    Grading,
    Judgement,
    Measurement,
    Paper,
    Photo,
)
from assessments.queries import board_results
from assessments.services import (
    boards,
    criterion_drawings,
    judgements,
    measurement_studies,
    measuring,
    papers,
    photos,
)
from assessments.services import criteria as criteria_services
from assessments.services import grading as grading_services
from assessments.services.judgements import Circumstances
from assessments.services.tool_work import decide_on_work
from assessments.services.undo import undo
from certification.models import Certificate, CertificateEvent, Proposal, SchemeRevision
from certification.services import certificates_from_elsewhere, events, proposals
from certification.services.acts import Act
from certification.services.certificates import issue_certificate
from certification.services.names import issue_again
from people.models import Person, Role, SiteMembership, SiteRole, User
from people.services.moves import move_person, withdraw_move
from people.services.particulars import change_from_day
from people.services.people import change_person
from people.services.returns import return_person
from records.models import TrailEntry, append_only
from records.queries.verification import verify_records
from records.services import trail
from records.services.documents import Document
from records.services.trail import erase_payload
from tests import factories
from tests.access_scenario import put_back
from tests.assessments import pictures, written
from tests.assessments.measuring_cases import wrap
from tests.factories import NOW, TODAY
from training.models import PracticeRecord, Tool, VisionTest
from training.services import facts, tools

pytestmark = [pytest.mark.django_db, pytest.mark.each_database]


@dataclass
class Kept:
    """Rows of every kept table, one of each kind that tests alter."""

    person: Person
    other: Person
    quality: User
    failed_test: VisionTest
    withdrawn_test: VisionTest
    practice: PracticeRecord
    board: Board
    photo: Photo
    measurement: Measurement
    grading: Grading
    rejected: Judgement
    criteria: CriteriaSet
    drawing: CriterionDrawing
    revision: SchemeRevision
    proposal: Proposal
    certificate: Certificate
    suspension: CertificateEvent
    imported: Certificate
    imported_event: CertificateEvent
    restriction: CertificateEvent
    withdrawn: Certificate
    elsewhere: Certificate
    move: SiteMembership
    withdrawn_move: SiteMembership
    untold: CannotTell
    taken_back: CannotTell
    retired: CriteriaSet
    returned: Person
    tool: Tool
    paper: Paper
    withdrawn_paper: Paper


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("files")
    storage = {
        "BACKEND": "django.core.files.storage.FileSystemStorage",
        "OPTIONS": {"location": folder, "base_url": None},
    }
    with override_settings(STORAGES={**settings.STORAGES, "default": storage}):
        yield folder


@pytest.fixture(scope="module")
def kept(files, django_db_setup, django_db_blocker):
    """Made once; each test's own transaction, within this one, takes back what it alters."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield make_kept()
        transaction.set_rollback(True)


def make_kept() -> Kept:
    site = factories.make_site()
    person, other = factories.make_person(site), factories.make_person(site)
    quality = factories.make_user("quality", site=site)
    instructor = factories.make_user("instructor", site=site)
    passed_test = facts.record_vision_test(
        person=person, tested_on=TODAY, passed=True, actor=quality, at=NOW, examiner="R. Hale"
    )
    failed_test = facts.record_vision_test(
        person=person, tested_on=TODAY, passed=False, actor=quality, at=NOW
    )
    facts.withdraw_vision_test(
        vision_test=passed_test, reason="Twice.", actor=quality, at=NOW, proof="password"
    )
    practice = facts.record_practice(
        person=person, scope_code="S-1", performed_on=TODAY, actor=quality, at=NOW, reference="U7"
    )
    facts.withdraw_practice(
        practice=facts.record_practice(
            person=person, scope_code="S-1", performed_on=TODAY, actor=quality, at=NOW
        ),
        reason="Somebody else's.",
        actor=quality,
        at=NOW,
        proof="password",
    )
    criteria = factories.make_criteria_set(
        {"code": "S-1"},
        {
            "code": "W",
            "how": "measured",
            "quantity": "wrap",
            "low": 180,
            "high": 270,
            "unit": "deg",
        },
    )
    retired = criteria_services.retire_criteria_set(
        criteria_set=factories.make_criteria_set(), actor=quality, at=NOW
    )
    exercise = factories.make_exercise()
    criteria_services.choose_for_exercise(
        exercise=exercise, title=criteria.title, shown="", actor=quality, at=NOW
    )
    drawing = criterion_drawings.add_drawing(
        file=BytesIO(b'<svg viewBox="0 0 9 9"><path d="M0 0H9"/></svg>'),
        title="A line",
        actor=quality,
        at=NOW,
    )
    scope = factories.make_scope()
    revision = factories.make_revision(scope, exercise=exercise, grader_needs_standing=False)
    [board] = boards.make_boards(
        exercise=exercise,
        people=[person],
        purpose="qualification",
        site=site,
        handed_out_on=TODAY,
        actor=instructor,
        at=NOW,
    )
    joint = board.joints.first()
    photo = photos.add_photo(
        board=board,
        file=BytesIO(pictures.jpeg(1000, 800)),
        name="E01.jpg",
        actor=instructor,
        at=NOW,
        joint=joint,
    )
    photos.add_photo(
        board=board,
        file=BytesIO(pictures.jpeg(120, 80)),
        name="by mistake.jpg",
        actor=instructor,
        at=NOW,
        sending="0" * 32,
    )
    photos.take_back_sending(board=board, sending="0" * 32, actor=instructor, at=NOW)
    photos.place_photo(
        photo=photo, joint=joint, stage="soldered", note="From above", actor=instructor, at=NOW
    )
    factories.on_a_stand(photo)
    case = wrap(213.5)
    measurement = measuring.keep_measurement(
        photo=photo,
        quantity=case.quantity,
        marks=case.marks,
        options=measuring.options_for(joint=joint, criterion=None),
        mark_uncertainty_px=1.0,
        actor=instructor,
        at=NOW,
        joint=joint,
        criterion=criteria.criteria.get(code="W"),
    )
    _study(board, photo, instructor, quality)
    grading = grading_services.start_grading(board=board, grader=instructor, at=NOW)
    taken_back = _ask(board, "E01", instructor, photo)
    undo(grading=grading)
    untold = _ask(board, "E02", instructor, photo)
    _judge(grading, measurement)
    grading_services.sign_stage(
        grading=grading, stage="soldered", signer=instructor, proof="password", at=NOW
    )
    act = Act(quality, NOW, "password", "A reason.")
    passed = factories.make_passed_board(person, exercise, grader=instructor)
    proposal = proposals.propose(
        person=person, scope=scope, revision=revision, act=Act(instructor, NOW, "password")
    )
    certificate = issue_certificate(proposal=proposal, act=act)
    [suspension] = events.suspend_certificates(person=person, scope=scope, act=act)
    old = TODAY - timedelta(days=100)
    imported = factories.make_certificate(other, scope, revision=revision, issued_on=old)
    [restriction] = events.restrict_certificates(
        person=other, scope=scope, restriction="turrets", act=act
    )
    third = factories.make_person(site)
    withdrawn = factories.make_certificate(third, scope, revision=revision, issued_on=old)
    imported_event = CertificateEvent.objects.create(
        event_id="OLD-7", certificate=withdrawn, kind="suspended", effective_on=old, recorded_at=NOW
    )
    events.withdraw_certificate(certificate=withdrawn, act=act)
    elsewhere = _from_elsewhere(third, revision, act, old)
    move, withdrawn_move = _moves(site)
    factories.write_down()
    assert passed.outcome.passed
    return Kept(
        person=person,
        other=other,
        quality=quality,
        failed_test=failed_test,
        withdrawn_test=passed_test,
        practice=practice,
        board=board,
        photo=photo,
        measurement=measurement,
        grading=grading,
        rejected=grading.judgements.get(outcome="reject"),
        criteria=criteria,
        drawing=drawing,
        revision=revision,
        proposal=proposal,
        certificate=certificate,
        suspension=suspension,
        imported=imported,
        imported_event=imported_event,
        restriction=restriction,
        withdrawn=withdrawn,
        elsewhere=elsewhere,
        move=move,
        withdrawn_move=withdrawn_move,
        untold=untold,
        taken_back=taken_back,
        retired=retired,
        returned=_changed(site, quality),
        tool=_tool(board, instructor, quality),
        **_papers(site, instructor),
    )


def _papers(site, instructor):
    """A written test that somebody failed, and one that another was handed by mistake."""
    user = factories.make_user(site=site)
    test = written.make_test(author=instructor)
    factories.write_down()
    by_mistake = written.hand_out(test, user.person, instructor)
    papers.withdraw_paper(paper=by_mistake, reason="Wrong test.", actor=instructor, at=NOW)
    paper = written.take(test, user, instructor, wrong=(1, 2, 3))
    return {"paper": paper, "withdrawn_paper": by_mistake}


def _changed(site, quality):
    """Somebody who left and is back, has another name and lead, and their certificate says so."""
    keeper = factories.make_user("administrator", site=site)
    person = factories.make_person(site, full_name="Ari Vance", left_on=TODAY - timedelta(days=9))
    factories.make_certificate(person, issued_on=TODAY)
    factories.write_down()
    return_person(person=person, returned_on=TODAY, reason="Line 4.", actor=keeper, at=NOW)
    change_from_day(
        person=person,
        changes={"full_name": "Ari Holt", "line_lead": keeper.person, "employee_number": "N-77"},
        from_day=TODAY,
        reason="Marriage.",
        actor=keeper,
        at=NOW,
    )
    person = Person.objects.get(pk=person.pk)
    issue_again(person=person, act=Act(actor=quality, at=NOW, proof="password", reason="Seen."))
    return person


def _tool(board, instructor, quality):
    """A tool that a board names, found out of its limits since, and out of service for a while."""
    said = {"actor": instructor, "at": NOW}
    tool = tools.add_tool(code="IRON-07", kind="iron", site=board.site, **said)
    for days_ago, found in ((30, True), (0, False)):
        tools.record_calibration(
            tool=tool,
            calibrated_on=TODAY - timedelta(days=days_ago),
            valid_through=TODAY + timedelta(days=300),
            passed_as_found=found,
            passed=True,
            document=Document("k.pdf", b"%PDF-1.7\n%%EOF\n"),
            **said,
        )
    early = {
        "calibrated_on": TODAY - timedelta(days=400),
        "valid_through": TODAY - timedelta(days=35),
        "passed": True,
        "reference": "K-1",
    }
    in_error = tools.record_calibration(
        tool=tool, calibrated_on=TODAY, valid_through=TODAY, passed=True, **said
    )
    tools.withdraw_calibration(
        calibration=in_error, reason="Another tool.", proof="password", **said
    )
    tool.calibrations.create(**early, recorded_at=NOW)
    # As calibrations were written down before they had an entry of their own.
    trail.record(
        act="calibration recorded", about=tool, payload={"tool": tool.code, **early}, **said
    )
    boards.name_tools(board=board, tools=[tool], **said)
    tools.put_out_of_service(tool=tool, first_day=TODAY, reason="Dropped.", told=None, **said)
    tools.put_back_in_service(tool=tool, from_day=TODAY, **said)
    decide_on_work(
        calibration=tool.calibrations.get(passed_as_found=False),
        boards={board.number: 0},
        decision="stands",
        reason="Far inside.",
        actor=quality,
        at=NOW,
    )
    return tool


def _ask(board, joint_name, grader, photo):
    return judgements.say_cannot_tell(
        boards=Board.objects.all(),
        number=board.number,
        grader=grader,
        place=judgements.NamedPlace("soldered", joint_name, "S-1"),
        asks="photo",
        photo=photo,
        note="From the left.",
        at=NOW,
    )


def _moves(site):
    """Somebody moved, and moved back by mistake."""
    there = factories.make_site("Aldergate", "AL")
    keeper = factories.make_user("administrator", site=site)
    SiteRole.objects.create(user=keeper, site=there, role=Role.ADMINISTRATOR, recorded_at=NOW)
    person = factories.make_person(site)
    first, second = (
        move_person(
            person=person, site=to, from_day=TODAY - timedelta(days=ago), reason="Line 4.",
            actor=keeper, at=NOW,
        )
        for to, ago in ((there, 20), (site, 5))
    )  # fmt: skip
    withdraw_move(membership=second, reason="The wrong person.", actor=keeper, at=NOW)
    return first, second


def _from_elsewhere(person, revision, act, issued_on):
    return certificates_from_elsewhere.enter_certificate_from_elsewhere(
        person=person,
        scope=revision.scopes.get(),
        revision=revision,
        paper=certificates_from_elsewhere.OutsideCertificate(
            issuer="Skarn",
            number="17",
            issued_on=issued_on,
            document=Document("a.pdf", b"%PDF-1.7\n%%EOF\n"),
            ends_on=TODAY,
        ),
        act=act,
    )


def _study(board, photo, grader, quality):
    """A closed measurement study in which one photograph was marked twice."""
    _first, second = board.joints.order_by("position__order")[:2]
    other = photos.add_photo(
        board=board,
        file=BytesIO(pictures.jpeg(100, 70)),
        name="b.jpg",
        actor=grader,
        at=NOW,
        joint=second,
    )
    study = measurement_studies.make_study(
        site=board.site,
        title="Fill of a cup",
        quantity="fill",
        photos=[photo, other],
        graders=[grader],
        repeats=2,
        actor=quality,
        at=NOW,
    )
    measurement_studies.state_reference(
        study=study,
        joint=second,
        value=50,
        expanded_uncertainty=2,
        source="Section",
        actor=quality,
        at=NOW,
    )
    for turn in range(4):
        measurement_studies.keep_reading(
            study=study,
            grader=grader,
            turn=turn,
            marks={"bottom": [[30, 60]], "top": [[30, 10]], "level": [[30, 30 + turn]]},
            at=NOW,
        )
    measurement_studies.close_study(study=study, reason="Done.", actor=quality, at=NOW)


def _judge(grading, measurement):
    """Accept everything, but the second joint, under the first criterion."""
    joints = board_results.joints_that_count(grading.board)
    for joint in joints:
        for criterion in board_results.criteria_for(grading, "soldered", joint):
            rejects = joint == joints[1] and criterion.code == "S-1"
            by_marks = joint == joints[0] and criterion.is_measured
            judgements.judge(
                grading=grading,
                criterion=criterion,
                joint=joint,
                outcome="reject" if rejects else "accept",
                seen=Circumstances(
                    measured=measurement.pk if by_marks else None, by_eye_because="far inside"
                ),
                at=NOW,
            )


def alter(statement, *values):
    """Run SQL by hand, with the triggers lifted and put back."""
    alter_all((statement, values))


def alter_all(*statements):
    with append_only.lifted(connection), connection.cursor() as cursor:
        for statement, values in statements:
            cursor.execute(statement, values)
            assert cursor.rowcount == 1, statement


def faults():
    return [str(fault) for fault in verify_records().faults]


def test_rows_as_they_were_written_fit(kept):
    report = verify_records()

    assert [str(fault) for fault in report.faults] == []
    assert (report.not_rebuilt, report.not_compared) == (0, 0)
    assert report.compared >= 25


ALTERATIONS = {
    "a lower pass mark of a written test": lambda kept: (
        "UPDATE assessments_writtentest SET pass_percent = 30 WHERE id = %s",
        [kept.paper.test_id],
        f"assessments_writtentest {kept.paper.test_id} is not what",
    ),
    "a written test retired by hand": lambda kept: (
        "UPDATE assessments_writtentest SET retired_at = %s WHERE id = %s",
        [NOW, kept.paper.test_id],
        f"assessments_writtentest {kept.paper.test_id} is not what trail entry",
    ),
    "another choice that is right": lambda kept: (
        "UPDATE assessments_question SET key = '{\"right\": [2]}' WHERE code = 'Q01' "
        "AND test_id = %s",
        [kept.paper.test_id],
        "assessments_question Q01 (of assessments_writtentest",
    ),
    "a second try called the first": lambda kept: (
        "UPDATE assessments_paper SET attempt = 9 WHERE id = %s",
        [kept.paper.pk],
        f"assessments_paper {kept.paper.pk} is not what trail entry",
    ),
    "choices that nobody was shown": lambda kept: (
        "UPDATE assessments_paperquestion SET shown = '[2, 1, 0, 3]' "
        'WHERE paper_id = %s AND "order" = 1',
        [kept.paper.pk],
        "assessments_paperquestion",
    ),
    "more time for a written test": lambda kept: (
        "UPDATE assessments_paperstart SET ends_at = %s WHERE paper_id = %s",
        [NOW + timedelta(hours=3), kept.paper.pk],
        "assessments_paperstart",
    ),
    "a better answer": lambda kept: (
        "UPDATE assessments_paperanswer SET given = '[\"0\"]' WHERE key = 'k1' AND late = %s",
        [False],
        "assessments_paperanswer",
    ),
    "a written test handed in on an earlier day": lambda kept: (
        "UPDATE assessments_paperend SET ended_on = %s WHERE paper_id = %s",
        [TODAY - timedelta(days=9), kept.paper.pk],
        "assessments_paperend",
    ),
    "a written test passed by hand": lambda kept: (
        "UPDATE assessments_paperresult SET passed = %s WHERE paper_id = %s",
        [True, kept.paper.pk],
        "assessments_paperresult",
    ),
    "a paper withdrawn for another reason": lambda kept: (
        "UPDATE assessments_paperwithdrawal SET reason = 'Ill.' WHERE paper_id = %s",
        [kept.withdrawn_paper.pk],
        "assessments_paperwithdrawal",
    ),
    "a name that somebody never had": lambda kept: (
        "UPDATE people_namechange SET before = 'Bo Quill' WHERE person_id = %s",
        [kept.returned.pk],
        "people_namechange",
    ),
    "another line lead": lambda kept: (
        "UPDATE people_lineleadchange SET after_id = %s WHERE person_id = %s",
        [kept.other.pk, kept.returned.pk],
        "people_lineleadchange",
    ),
    "fewer days away": lambda kept: (
        "UPDATE people_return SET left_on = %s WHERE person_id = %s",
        [TODAY - timedelta(days=1), kept.returned.pk],
        "people_return",
    ),
    "a certificate issued again under a name that nobody signed": lambda kept: (
        "UPDATE certification_certificatename SET name = 'Bo Quill' WHERE name = %s",
        ["Ari Holt"],
        "certification_certificatename",
    ),
    "a set retired by hand": lambda kept: (
        "UPDATE assessments_criteriaset SET retired_at = %s WHERE id = %s",
        [NOW, kept.criteria.pk],
        f"assessments_criteriaset {kept.criteria.pk} is not what trail entry",
    ),
    "a retired set in force again": lambda kept: (
        "UPDATE assessments_criteriaset SET retired_at = NULL WHERE id = %s",
        [kept.retired.pk],
        f"assessments_criteriaset {kept.retired.pk} is not what trail entry",
    ),
    "a set retired on another day": lambda kept: (
        "UPDATE assessments_criteriaset SET retired_at = %s WHERE id = %s",
        [NOW - timedelta(days=90), kept.retired.pk],
        f"assessments_criteriaset {kept.retired.pk} is not what trail entry",
    ),
    "somebody else chose an exercise's criteria": lambda kept: (
        "UPDATE assessments_exercisecriteria SET chosen_by_id = NULL WHERE exercise_code = %s",
        [kept.board.exercise.code],
        "assessments_exercisecriteria",
    ),
    "what could not be told taken back by hand": lambda kept: (
        "UPDATE assessments_cannottell SET taken_back_at = %s WHERE id = %s",
        [NOW, kept.untold.pk],
        f"assessments_cannottell {kept.untold.pk} is not what trail entry",
    ),
    "what was taken back asked for again": lambda kept: (
        "UPDATE assessments_cannottell SET taken_back_at = NULL WHERE id = %s",
        [kept.taken_back.pk],
        f"assessments_cannottell {kept.taken_back.pk} is not what trail entry",
    ),
    "what could not be told told otherwise": lambda kept: (
        "UPDATE assessments_cannottell SET note = 'From the right.' WHERE id = %s",
        [kept.untold.pk],
        f"assessments_cannottell {kept.untold.pk} is not what trail entry",
    ),
    "a study's bound made better": lambda kept: (
        "UPDATE assessments_studyclosing SET spreads = '[]' WHERE closed_by_id = %s",
        [kept.quality.pk],
        "assessments_studyclosing",
    ),
    "a reading of a study made better": lambda kept: (
        "UPDATE assessments_studyreading SET value = 50 WHERE turn = 3 AND id > %s",
        [0],
        "assessments_studyreading",
    ),
    "a grader left out of a study": lambda kept: (
        "UPDATE assessments_studygrader SET user_id = %s",
        [kept.quality.pk],
        "assessments_studygrader",
    ),
    "a study's photograph of another scale": lambda kept: (
        "UPDATE assessments_studyphoto SET scale_px_per_mm = 7 WHERE photo_id = %s",
        [kept.photo.pk],
        "assessments_studyphoto",
    ),
    "a study that was withdrawn by nobody": lambda kept: (
        "INSERT INTO assessments_studywithdrawal (study_id, reason, withdrawn_by_id, recorded_at) "
        "SELECT study_id, reason, closed_by_id, recorded_at FROM assessments_studyclosing "
        "WHERE closed_by_id = %s",
        [kept.quality.pk],
        "assessments_studywithdrawal",
    ),
    "a better reference value": lambda kept: (
        "UPDATE assessments_studyreference SET value = 51 WHERE stated_by_id = %s",
        [kept.quality.pk],
        "assessments_studyreference",
    ),
    "a photo set-up that leans less": lambda kept: (
        "UPDATE assessments_photosetup SET tilt_deg = 0.1 WHERE id = %s",
        [kept.photo.setup_id],
        f"assessments_photosetup {kept.photo.setup_id} is not what trail entry",
    ),
    "a better reading of the graticule": lambda kept: (
        "UPDATE assessments_setupqualification SET graticule = 'K-9' WHERE setup_id = %s",
        [kept.photo.setup_id],
        "assessments_setupqualification",
    ),
    "a move from an earlier day": lambda kept: (
        "UPDATE people_sitemembership SET from_day = %s WHERE id = %s",
        [TODAY - timedelta(days=90), kept.move.pk],
        f"people_sitemembership {kept.move.pk} is not what trail entry",
    ),
    "a withdrawn move in force": lambda kept: (
        "DELETE FROM people_sitemembershipwithdrawal WHERE membership_id = %s",
        [kept.withdrawn_move.pk],
        f"people_sitemembershipwithdrawal {kept.withdrawn_move.pk} is gone",
    ),
    "a move invented": lambda kept: (
        "INSERT INTO people_sitemembership (person_id, site_id, from_day, reason, recorded_at) "
        "SELECT person_id, site_id, '2026-01-02', '', recorded_at FROM people_sitemembership "
        "WHERE id = %s",
        [kept.move.pk],
        "people_sitemembership",
    ),
    "a calibration that was passed as found": lambda kept: (
        "UPDATE training_calibration SET passed_as_found = %s WHERE NOT passed_as_found",
        [True],
        "training_calibration",
    ),
    "an early calibration that lasts longer": lambda kept: (
        "UPDATE training_calibration SET valid_through = %s WHERE reference = 'K-1'",
        [TODAY],
        f"training_calibration {kept.tool.pk} is not what trail entry",
    ),
    "a calibration that nobody recorded": lambda kept: (
        "INSERT INTO training_calibration (tool_id, calibrated_on, valid_through, passed, readings,"
        " reference, recorded_at) SELECT tool_id, calibrated_on, valid_through, passed, readings,"
        " 'K-9', %s FROM training_calibration WHERE NOT passed_as_found AND tool_id = %s",
        [NOW - timedelta(days=1), kept.tool.pk],
        "training_calibration",
    ),
    "a calibration's withdrawal for another reason": lambda kept: (
        "UPDATE training_calibrationwithdrawal SET reason = %s",
        ["So."],
        "training_calibrationwithdrawal",
    ),
    "a calibration that was withdrawn by nobody": lambda kept: (
        "INSERT INTO training_calibrationwithdrawal (calibration_id, reason, withdrawn_by_id, "
        "withdrawn_at, signature_id) SELECT c.id, 'So.', w.withdrawn_by_id, w.withdrawn_at, "
        "(SELECT min(id) FROM records_signature) FROM training_calibration c, "
        "training_calibrationwithdrawal w WHERE NOT c.passed_as_found",
        [],
        "training_calibrationwithdrawal",
    ),
    "a tool out of service from a later day": lambda kept: (
        "UPDATE training_tooloutofservice SET first_day = %s WHERE tool_id = %s",
        [TODAY + timedelta(days=1), kept.tool.pk],
        "training_tooloutofservice",
    ),
    "a tool back in service that was not": lambda kept: (
        "DELETE FROM training_toolbackinservice WHERE from_day = %s",
        [TODAY],
        "training_toolbackinservice",
    ),
    "a board that names a tool no more": lambda kept: (
        "DELETE FROM assessments_board_tools WHERE board_id = %s",
        [kept.board.pk],
        f"assessments_board_tools {kept.board.pk} is not what trail entry",
    ),
    "a board that names a tool it never did": lambda kept: (
        "INSERT INTO assessments_board_tools (board_id, tool_id) "
        "SELECT max(id), %s FROM assessments_board WHERE id NOT IN "
        "(SELECT board_id FROM assessments_board_tools)",
        [kept.tool.pk],
        "assessments_board_tools",
    ),
    "work with a tool that is to be made again": lambda kept: (
        "UPDATE assessments_toolworkdecision SET decision = 'make_again' WHERE board_id = %s",
        [kept.board.pk],
        "assessments_toolworkdecision",
    ),
    "a failed vision test passed": lambda kept: (
        "UPDATE training_visiontest SET passed = %s WHERE id = %s",
        [True, kept.failed_test.pk],
        f"training_visiontest {kept.failed_test.pk} is not what trail entry",
    ),
    "every vision test passed": lambda kept: (
        "UPDATE training_visiontest SET passed = %s WHERE NOT passed",
        [True],
        f"training_visiontest {kept.failed_test.pk} is not what trail entry",
    ),
    "a vision test's day moved": lambda kept: (
        "UPDATE training_visiontest SET tested_on = %s WHERE id = %s",
        [TODAY + timedelta(days=300), kept.failed_test.pk],
        f"training_visiontest {kept.failed_test.pk} is not what",
    ),
    "a vision test given to somebody else": lambda kept: (
        "UPDATE training_visiontest SET person_id = %s WHERE id = %s",
        [kept.other.pk, kept.failed_test.pk],
        f"training_visiontest {kept.failed_test.pk} is not what",
    ),
    "a vision test gone": lambda kept: (
        "DELETE FROM training_visiontest WHERE id = %s",
        [kept.failed_test.pk],
        f"training_visiontest {kept.failed_test.pk} is gone",
    ),
    "a vision test invented": lambda kept: (
        "INSERT INTO training_visiontest (id, test_id, person_id, tested_on, passed, method, "
        "examiner, recorded_at) VALUES (7777, 'V-X', %s, %s, %s, '', '', %s)",
        [kept.person.pk, TODAY, True, NOW],
        "training_visiontest 7777 was never written down",
    ),
    "a vision test's withdrawal gone": lambda kept: (
        "DELETE FROM training_visiontestwithdrawal WHERE vision_test_id = %s",
        [kept.withdrawn_test.pk],
        f"training_visiontestwithdrawal {kept.withdrawn_test.pk} is gone",
    ),
    "a vision test withdrawn unseen": lambda kept: (
        "INSERT INTO training_visiontestwithdrawal (id, vision_test_id, withdrawn_at, reason) "
        "VALUES (7777, %s, %s, 'Quietly.')",
        [kept.failed_test.pk, NOW],
        f"training_visiontestwithdrawal {kept.failed_test.pk} was never written down",
    ),
    "practice moved to a later day": lambda kept: (
        "UPDATE training_practicerecord SET performed_on = %s WHERE id = %s",
        [TODAY + timedelta(days=90), kept.practice.pk],
        f"training_practicerecord {kept.practice.pk} is not what",
    ),
    "a withdrawal of practice on another day": lambda kept: (
        "UPDATE training_practicewithdrawal SET withdrawn_at = %s WHERE reason <> ''",
        [NOW + timedelta(days=90)],
        "training_practicewithdrawal",
    ),
    "a rejected judgement accepted": lambda kept: (
        "UPDATE assessments_judgement SET outcome = 'accept' WHERE id = %s",
        [kept.rejected.pk],
        "assessments_judgement E02 1 S-1 (of assessments_stagesigning "
        f"{kept.grading.pk}) is not what signature",
    ),
    "a rejected judgement moved to another stage": lambda kept: (
        "UPDATE assessments_judgement SET stage = 'cleaned' WHERE id = %s",
        [kept.rejected.pk],
        "assessments_judgement E02 1 S-1",
    ),
    "a judgement gone": lambda kept: (
        "DELETE FROM assessments_judgement WHERE id = %s",
        [kept.rejected.pk],
        "assessments_judgement E02 1 S-1",
    ),
    "a judgement's magnification": lambda kept: (
        "UPDATE assessments_judgement SET magnification = 40 WHERE id = %s",
        [kept.rejected.pk],
        "assessments_judgement E02 1 S-1",
    ),
    "a stage's result": lambda kept: (
        "UPDATE assessments_stagesigning SET result = '{}' WHERE grading_id = %s",
        [kept.grading.pk],
        f"assessments_stagesigning {kept.grading.pk} is not what signature",
    ),
    "a stage signed on another day": lambda kept: (
        "UPDATE assessments_stagesigning SET signed_at = %s WHERE grading_id = %s",
        [NOW - timedelta(days=300), kept.grading.pk],
        f"assessments_stagesigning {kept.grading.pk} is not what signature",
    ),
    "a stage's signing gone": lambda kept: (
        "DELETE FROM assessments_stagesigning WHERE grading_id = %s",
        [kept.grading.pk],
        f"assessments_stagesigning {kept.grading.pk} is gone",
    ),
    "a grading given to another board": lambda kept: (
        "UPDATE assessments_grading SET board_id = (SELECT id FROM assessments_board "
        "WHERE id <> %s) WHERE id = %s",
        [kept.board.pk, kept.grading.pk],
        f"assessments_stagesigning {kept.grading.pk} is not what signature",
    ),
    "a board given to somebody else": lambda kept: (
        "UPDATE assessments_board SET person_id = %s WHERE id = %s",
        [kept.other.pk, kept.board.pk],
        f"assessments_board {kept.board.pk} is not what trail entry",
    ),
    "a photograph's file name of another file": lambda kept: (
        "UPDATE assessments_photo SET original_name = 'E02.jpg' WHERE id = %s",
        [kept.photo.pk],
        f"assessments_photo {kept.photo.pk} is not what trail entry",
    ),
    "a photograph taken back by nobody": lambda kept: (
        "UPDATE assessments_photo SET taken_back_at = %s WHERE id = %s",
        [NOW, kept.photo.pk],
        f"assessments_photo {kept.photo.pk} is not what trail entry",
    ),
    "a photograph that was taken back and is there again": lambda kept: (
        "UPDATE assessments_photo SET taken_back_at = NULL WHERE sending = %s",
        ["0" * 32],
        "assessments_photo",
    ),
    "a photograph said to have come with others": lambda kept: (
        "UPDATE assessments_photo SET sending = %s WHERE id = %s",
        ["0" * 32, kept.photo.pk],
        f"assessments_photo {kept.photo.pk} is not what trail entry",
    ),
    "a photograph moved to another joint": lambda kept: (
        "UPDATE assessments_photo SET joint_id = (SELECT id FROM assessments_joint "
        "WHERE board_id = %s AND id <> joint_id ORDER BY id DESC LIMIT 1) WHERE id = %s",
        [kept.board.pk, kept.photo.pk],
        f"assessments_photo {kept.photo.pk} is not what trail entry",
    ),
    "a measurement's value": lambda kept: (
        "UPDATE assessments_measurement SET value = 260 WHERE id = %s",
        [kept.measurement.pk],
        f"assessments_measurement {kept.measurement.pk} is not what trail entry",
    ),
    "a published limit": lambda kept: (
        "UPDATE assessments_criterion SET low = 90 WHERE code = 'W' AND criteria_set_id = %s",
        [kept.criteria.pk],
        f"assessments_criterion W (of assessments_criteriaset {kept.criteria.pk}) is not what",
    ),
    "a drawing of a criterion": lambda kept: (
        "UPDATE assessments_criteriondrawing SET title = 'Another' WHERE id = %s",
        [kept.drawing.pk],
        f"assessments_criteriondrawing {kept.drawing.pk} is not what trail entry",
    ),
    "the set that an exercise names": lambda kept: (
        "UPDATE assessments_exercisecriteria SET title = 'Another' WHERE exercise_code = %s",
        [kept.board.exercise.code],
        "assessments_exercisecriteria",
    ),
    "a published scheme's validity": lambda kept: (
        "UPDATE certification_schemerevision SET validity_months = 240 WHERE id = %s",
        [kept.revision.pk],
        f"certification_schemerevision {kept.revision.pk} is not what trail entry",
    ),
    "a scheme's source made better": lambda kept: (
        "UPDATE certification_schemerevision SET sources = %s WHERE id = %s",
        ['{"validity_months": "A standard"}', kept.revision.pk],
        f"certification_schemerevision {kept.revision.pk} is not what trail entry",
    ),
    "a scheme retired by hand": lambda kept: (
        "UPDATE certification_schemerevision SET retired_at = %s WHERE id = %s",
        [NOW, kept.revision.pk],
        f"certification_schemerevision {kept.revision.pk} is not what trail entry",
    ),
    "fewer boards asked for": lambda kept: (
        "UPDATE certification_schemerequirement SET boards = 0 WHERE revision_id = %s",
        [kept.revision.pk],
        "certification_schemerequirement",
    ),
    "a certificate's last day ten years later": lambda kept: (
        "UPDATE certification_certificate SET valid_through = %s WHERE id = %s",
        [kept.certificate.valid_through.replace(year=2038), kept.certificate.pk],
        f"certification_certificate {kept.certificate.number} is not what signature",
    ),
    "an imported certificate's last day": lambda kept: (
        "UPDATE certification_certificate SET valid_through = %s WHERE id = %s",
        [date(2040, 1, 1), kept.imported.pk],
        f"certification_certificate {kept.imported.number} is not what trail entry",
    ),
    "a restriction wiped out": lambda kept: (
        "UPDATE certification_certificateevent SET kind = 'unrestricted', restriction = '' "
        "WHERE id = %s",
        [kept.restriction.pk],
        f"certification_certificateevent {kept.restriction.event_id}",
    ),
    "a restriction made looser": lambda kept: (
        "UPDATE certification_certificateevent SET restriction = 'turrets and cups' WHERE id = %s",
        [kept.restriction.pk],
        f"certification_certificateevent {kept.restriction.event_id}",
    ),
    "a certificate given to somebody else": lambda kept: (
        "UPDATE certification_certificate SET person_id = %s WHERE id = %s",
        [kept.other.pk, kept.certificate.pk],
        f"certification_certificate {kept.certificate.number} is not what signature",
    ),
    "a certificate made one of an earlier register": lambda kept: (
        "UPDATE certification_certificate SET origin = 'imported', signature_id = NULL "
        "WHERE id = %s",
        [kept.certificate.pk],
        f"certification_certificate {kept.certificate.number} was never written down",
    ),
    "a certificate invented": lambda kept: (
        "INSERT INTO certification_certificate (number, person_id, scope_id, scheme_revision_id, "
        "issued_on, valid_through, restriction, origin, holder_name, figures, evidence, issued_by, "
        "issuer_certificate, outside_number, recorded_at) SELECT 'CA-C-77777', person_id, "
        "scope_id, scheme_revision_id, issued_on, valid_through, '', 'imported', holder_name, "
        "figures, evidence, '', '', '', recorded_at FROM certification_certificate WHERE id = %s",
        [kept.imported.pk],
        "certification_certificate CA-C-77777 was never written down",
    ),
    "a suspension gone": lambda kept: (
        "DELETE FROM certification_certificateevent WHERE id = %s",
        [kept.suspension.pk],
        f"certification_certificateevent {kept.suspension.event_id} is gone",
    ),
    "a suspension from a later day": lambda kept: (
        "UPDATE certification_certificateevent SET effective_on = %s WHERE id = %s",
        [TODAY + timedelta(days=700), kept.suspension.pk],
        f"certification_certificateevent {kept.suspension.event_id}",
    ),
    "an imported suspension gone": lambda kept: (
        "DELETE FROM certification_certificateevent WHERE id = %s",
        [kept.imported_event.pk],
        "certification_certificateevent OLD-7 is gone",
    ),
    "a suspension lifted under the signature of another act": lambda kept: (
        "INSERT INTO certification_certificateevent (event_id, certificate_id, kind, "
        "effective_on, authority, restriction, reason, signature_id, recorded_at) VALUES "
        "('CA-E-77777', %s, 'reinstated', %s, '', '', '', %s, %s)",
        [kept.certificate.pk, TODAY, kept.suspension.signature_id, NOW],
        "certification_certificateevent CA-E-77777 (of certification_certificateevent "
        f"{kept.suspension.event_id}) is not what signature",
    ),
    "a certificate's withdrawal gone": lambda kept: (
        "DELETE FROM certification_certificatewithdrawal WHERE certificate_id = %s",
        [kept.withdrawn.pk],
        f"certification_certificatewithdrawal {kept.withdrawn.number} is gone",
    ),
    "a document's stored hash": lambda kept: (
        "UPDATE certification_certificatedocument SET sha256 = %s WHERE id = %s",
        ["0" * 64, kept.elsewhere.document_id],
        f"certification_certificate {kept.elsewhere.number} is not what signature",
    ),
    "a proposal's note": lambda kept: (
        "UPDATE certification_proposal SET note = 'Never mind.' WHERE id = %s",
        [kept.proposal.pk],
        f"certification_proposal {kept.person.employee_number} is not what signature",
    ),
}


BY_ITSELF = (
    "a grader left out of a study",
    "a vision test's withdrawal gone",
    "a withdrawal of practice on another day",
    "a grading given to another board",
    "a board given to somebody else",
    "a published scheme's validity",
    "a restriction wiped out",
    "a restriction made looser",
    "a certificate given to somebody else",
    "a certificate made one of an earlier register",
    "a suspension gone",
    "a suspension from a later day",
    "a document's stored hash",
    "a stage's signing gone",
    "a calibration's withdrawal for another reason",
)
"""What is named more than once, or takes with it what another alteration is seen by."""


@pytest.mark.parametrize("name", BY_ITSELF)
def test_an_altered_row_is_named_by_table_and_number(kept, name):
    statement, values, named = ALTERATIONS[name](kept)

    alter(statement, *values)

    assert append_only.missing(connection) == []
    assert any(fault.startswith(named) for fault in faults()), faults()


def of_row(named):
    """The beginning of a fault, which where it is a table alone is that table's whole name."""
    return named if " " in named else f"{named} "


def test_each_of_several_altered_rows_is_named_by_table_and_number(kept):
    """One row of each table at a time: whatever is altered is one fault, and there is no other."""
    waiting = {name: of(kept) for name, of in ALTERATIONS.items() if name not in BY_ITSELF}
    while waiting:
        by_table = {named.split()[0]: name for name, (_sql, _values, named) in waiting.items()}
        together = {name: waiting.pop(name) for name in by_table.values()}
        with put_back():
            alter_all(*((statement, values) for statement, values, _named in together.values()))
            assert append_only.missing(connection) == []
            found = faults()
        told = {
            name: [fault for fault in found if fault.startswith(of_row(named))]
            for name, (_sql, _values, named) in together.items()
        }
        assert {name: told[name] for name in told if len(told[name]) != 1} == {}, found
        assert set(found) == {fault for faults in told.values() for fault in faults}


@pytest.fixture
def file_of_photo(kept, files) -> Iterator[Path]:
    """The file of the photograph, which is put back afterwards."""
    file = files / kept.photo.original.name
    was = file.read_bytes()
    yield file
    file.write_bytes(was)


def test_a_photograph_swapped_together_with_its_hash_is_named(kept, file_of_photo):
    other = pictures.jpeg(90, 60)
    file_of_photo.write_bytes(other)
    alter(
        "UPDATE assessments_photo SET sha256 = %s, size_bytes = %s WHERE id = %s",
        photos.sha256_of(BytesIO(other)),
        len(other),
        kept.photo.pk,
    )

    named = f"assessments_photo {kept.photo.pk} is not what trail entry"
    assert any(fault.startswith(named) for fault in faults())
    assert any("sha256" in fault for fault in faults())


def test_a_new_employee_number_is_no_alteration(kept):
    administrator = factories.make_user("administrator", site=kept.person.site)
    change_person(person=kept.person, actor=administrator, at=NOW, employee_number="N-9000")

    assert faults() == []


def test_details_erased_for_privacy_are_told_apart_from_what_fits(kept, capsys):
    entry = TrailEntry.objects.get(act="vision test recorded", about_id=str(kept.failed_test.pk))
    erase_payload(entry=entry, reason="Asked for.", actor=kept.quality, at=NOW)

    report = verify_records()

    assert report.fits
    assert report.not_compared == 1
    call_command("verify_trail")
    assert "not compared, since their details were erased: 1" in capsys.readouterr().out


def test_a_row_whose_details_were_erased_must_still_be_there(kept):
    entry = TrailEntry.objects.get(act="vision test recorded", about_id=str(kept.failed_test.pk))
    erase_payload(entry=entry, reason="Asked for.", actor=kept.quality, at=NOW)
    alter("DELETE FROM training_visiontest WHERE id = %s", kept.failed_test.pk)

    assert faults() == [
        f"training_visiontest {kept.failed_test.pk} is gone or another one, which trail entry "
        f"{entry.number} wrote down."
    ]


def test_who_altered_a_whole_table_is_not_listed_row_by_row(kept, monkeypatch):
    monkeypatch.setattr("records.queries.verification.MOST_FAULTS", 1)
    alter("UPDATE training_visiontest SET passed = %s WHERE id = %s", True, kept.failed_test.pk)
    alter("DELETE FROM assessments_judgement WHERE id = %s", kept.rejected.pk)

    assert len(faults()) == 2
    assert faults()[-1] == "1 more rows are not what was written down."
