"""Who may open what: every address of the site, asked by every kind of reader.

An address that stands in no row fails here until somebody has placed it.
"""

import logging
import re
from collections.abc import Callable, Iterator, Set
from dataclasses import dataclass, field
from http.cookies import SimpleCookie
from typing import Any

import pytest
from django.db import connection, transaction
from django.http.response import ResponseHeaders
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from records.models import TrailEntry
from tests.access_scenario import READERS, Scenario, build

pytestmark = pytest.mark.django_db

OK, SIGN_IN, NO, NOT_THERE = "may", "signs in first", "may not (403)", "is not there (404)"
NO_TOKEN = "shows no token (401)"

PEOPLE = frozenset(READERS) - {"kiosk"}
EVERYBODY = PEOPLE - {"anonymous"}
KIOSK = frozenset({"kiosk"})
INSTRUCTORS = frozenset({"instructor", "instructor_there", "own_instructor"})
QUALITY = frozenset({"quality", "quality_there", "own_quality"})
LEADS = frozenset({"lead", "other_lead"})
ADMINISTRATORS = frozenset({"administrator", "administrator_there"})

OWN = frozenset({"owner", "own_instructor", "own_quality"})
TEACHES = frozenset({"instructor"})  # At the owner's site, and not about themselves.
AUDITS = frozenset({"quality"})
READS = OWN | TEACHES | AUDITS
HERE = EVERYBODY - {"instructor_there", "quality_there", "administrator_there", "staff"}


@dataclass(frozen=True)
class Row:
    """Who may, how others are turned away, and how the address is asked.

    ``elsewhere`` are those whose role opens the page, but not for this thing. ``of`` names
    the things in the address, in its order; ``asked`` is what stands behind a question mark
    or is sent.
    """

    may: frozenset[str]
    others: str = NOT_THERE
    method: str = "GET"
    of: tuple[str, ...] = ()
    asked: dict[str, Any] = field(default_factory=dict)
    elsewhere: Set[str] = frozenset()

    def expected(self, reader: str) -> str:
        if reader in self.may:
            return OK
        if reader in self.elsewhere:
            return NOT_THERE
        if self.others == NO_TOKEN:
            return NO_TOKEN
        if reader == "kiosk":
            return NO  # Whatever else is asked for.
        return SIGN_IN if reader == "anonymous" else self.others


def page(may, *of, **more) -> Row:
    """An address that is only read."""
    return Row(frozenset(may), of=of, **more)


def form(may, *of, **more) -> Row:
    """An address that shows a form and takes it."""
    return Row(frozenset(may), of=of, method="GET POST", **more)


def act(may, *of, **more) -> Row:
    """An address that is only written to."""
    return Row(frozenset(may), of=of, method="POST", **more)


JUDGED = {
    "stage": "soldered",
    "joint": "E01",
    "criterion": "S-1",
    "outcome": "accept",
    "how": "at_board",
}

AUDITS_HERE = AUDITS | {"own_quality"}
NOT_THERE_THERE: dict[str, Any] = {"others": NO, "elsewhere": {"quality_there"}}

# A list of people is read by whoever brought it, and by nobody else whatever their role.
BROUGHT = frozenset({"administrator"})
BROUGHT_BY_OTHERS: dict[str, Any] = {
    "others": NO,
    "elsewhere": (QUALITY | ADMINISTRATORS) - BROUGHT,
}

TABLE: dict[str, Row] = {
    # Home pages, and what each role finds
    "certification:home": page(EVERYBODY | KIOSK),
    "certification:my_card": page(EVERYBODY),
    "certification:bench": page(INSTRUCTORS, others=NO),
    "people:find": page(INSTRUCTORS | QUALITY, others=NO, asked={"q": "nobody"}),
    "certification:register": page(INSTRUCTORS | QUALITY | LEADS, others=NO),
    "certification:register_csv": page(INSTRUCTORS | QUALITY | LEADS, others=NO),
    "certification:register_xlsx": page(INSTRUCTORS | QUALITY | LEADS, others=NO),
    "certification:register_as_known": act(
        QUALITY, others=NO, asked={"day": "2026-05-03", "known_at": "2026-05-10"}
    ),
    "audit:who_was_that": page(QUALITY, others=NO, asked={"q": "47 2026-05-03"}),
    "certification:person_standing": page(READS | {"lead", "administrator"}, "person"),
    "certification:wall_list": page(INSTRUCTORS | QUALITY | LEADS, others=NO),
    "certification:wall_list_pdf": page(INSTRUCTORS | QUALITY | LEADS, others=NO),
    "certification:work_missing": page(INSTRUCTORS | QUALITY | LEADS, others=NO),
    "certification:work_missing_pdf": page(INSTRUCTORS | QUALITY | LEADS, others=NO),
    "certification:months_ahead": page(INSTRUCTORS | QUALITY | LEADS, others=NO),
    "certification:months_ahead_csv": page(INSTRUCTORS | QUALITY | LEADS, others=NO),
    # Plans of classes: read by whoever reads all their sites, changed by who teaches there
    "certification:class_plan_list": page(INSTRUCTORS | QUALITY, others=NO),
    "certification:class_plan_new": form(INSTRUCTORS, others=NO),
    "certification:class_plan_detail": page(
        TEACHES | AUDITS | {"own_instructor", "own_quality"}, "class_plan"
    ),
    "certification:class_plan_move": act(TEACHES | {"own_instructor"}, "class_plan"),
    "certification:class_plan_again": act(TEACHES | {"own_instructor"}, "class_plan"),
    "certification:class_plan_send": act(TEACHES | {"own_instructor"}, "class_plan"),
    "certification:standing_detail": page(READS | {"lead"}, "person_pk", "scope_pk"),
    # The bench check: at one's site about anybody, and all that a kiosk opens
    "certification:bench_check": page(
        LEADS | INSTRUCTORS | QUALITY | KIOSK, others=NO, asked={"number": "7", "scope": "X"}
    ),
    # The same for programs: nobody signs in there, and the document is for everybody
    "interfaces:api-v1:openapi-json": page(READERS),
    "interfaces:api-v1:standing": page((), others=NO_TOKEN),
    "interfaces:api-v1:standings": act((), others=NO_TOKEN),
    "interfaces:api-v1:changes": page((), others=NO_TOKEN),
    "interfaces:api-v1:people": act((), others=NO_TOKEN),
    "interfaces:api-v1:work": act((), others=NO_TOKEN),
    "interfaces:api_token_list": form(ADMINISTRATORS, others=NO),
    "interfaces:api_token_revoke": act({"administrator"}, "api_token"),
    # Certificates: read by whose they are, acted on by quality and never one's own
    "certification:certificate_detail": page(READS, "certificate"),
    "certification:certificate_document": page(READS, "certificate"),
    "certification:certificate_card": page(READS, "certificate"),
    "certification:certificate_pdf": page(READS, "certificate"),
    "certification:certificate_credential": act(READS, "certificate"),
    "certification:certificate_act": form(AUDITS, "certificate", "suspend"),
    "certification:event_remove": form(AUDITS, "certificate", "event"),
    "certification:certificates_issue_again": form(AUDITS, "person"),
    "certification:certificate_from_elsewhere": form(QUALITY, others=NO),
    "certification:requirements": page(READS, "person", "scope"),
    "certification:proposal_new": act(TEACHES, "person", "scope"),
    "certification:proposal_list": page(INSTRUCTORS | QUALITY, others=NO),
    "certification:board_leads_to": page(READS, "board"),
    "certification:proposals_new": form(INSTRUCTORS, others=NO),
    "certification:proposals_decide": form(INSTRUCTORS | QUALITY, others=NO),
    "certification:proposal_detail": page(TEACHES | AUDITS, "proposal"),
    "certification:proposal_issue": act(TEACHES | AUDITS, "proposal"),
    "certification:proposal_decline": act(TEACHES | AUDITS, "proposal"),
    # A certificate by number and code, keys and status lists: for whoever holds a paper
    "certification:public_check": page(PEOPLE),
    "certification:public_certificate": page(PEOPLE, "certificate", "public_code"),
    "certification:signing_keys": page(PEOPLE),
    "certification:issuer_metadata": page(PEOPLE),
    "certification:credential_issuer": page(PEOPLE),
    "certification:status_list": page(PEOPLE, "status_list"),
    # The calendar of what ends: its address is one's own, and all that a calendar program has
    "reminders:calendar_address": form(EVERYBODY),
    "reminders:calendar_stop": act(EVERYBODY),
    "reminders:calendar_feed": page(PEOPLE, "calendar"),
    "reminders:mail_choices": form(EVERYBODY),
    # Web hooks: what other systems are told, for whoever administers the site
    "interfaces:hook_list": page(ADMINISTRATORS, others=NO),
    "interfaces:hook_new": form(ADMINISTRATORS, others=NO),
    "interfaces:hook_stop": act(
        {"administrator"}, "hook", others=NO, elsewhere={"administrator_there"}
    ),
    "interfaces:hook_deliveries": page(ADMINISTRATORS, others=NO),
    "interfaces:hook_delivery_send_again": act(
        {"administrator"}, "delivery", others=NO, elsewhere={"administrator_there"}
    ),
    # Work-log checks: of quality at every site whose people were held against the log
    "audit:people_list_new": form(QUALITY | ADMINISTRATORS, others=NO),
    "audit:people_list": page(BROUGHT, "people_list", **BROUGHT_BY_OTHERS),
    "audit:people_list,taken in": page(BROUGHT, "taken_list", **BROUGHT_BY_OTHERS),
    "audit:people_list_columns": form(BROUGHT, "people_list", **BROUGHT_BY_OTHERS),
    "audit:people_list_answers": act(BROUGHT, "people_list", **BROUGHT_BY_OTHERS),
    "audit:people_list_take_in": act(BROUGHT, "people_list", **BROUGHT_BY_OTHERS),
    "audit:people_list_stop": act(BROUGHT, "people_list", **BROUGHT_BY_OTHERS),
    "audit:people_list_undo": form(BROUGHT, "taken_list", **BROUGHT_BY_OTHERS),
    "audit:people_list_throw_away": act(BROUGHT, "people_list", **BROUGHT_BY_OTHERS),
    # Evidence packs: of quality at every site that they tell of
    "audit:evidence_packs": form(QUALITY, others=NO),
    "audit:evidence_pack": page(AUDITS_HERE, "evidence_pack", **NOT_THERE_THERE),
    "audit:evidence_pack_file": page(AUDITS_HERE, "evidence_pack", **NOT_THERE_THERE),
    "audit:work_log": form(QUALITY, others=NO),
    "audit:work_log_example": page(QUALITY, others=NO),
    "audit:work_log_check": page(AUDITS_HERE, "work_log_check", **NOT_THERE_THERE),
    "audit:work_log_practice": form(AUDITS_HERE, "work_log_check", **NOT_THERE_THERE),
    "audit:work_log_csv": page(AUDITS_HERE, "work_log_check", **NOT_THERE_THERE),
    "audit:work_log_xlsx": page(AUDITS_HERE, "work_log_check", **NOT_THERE_THERE),
    "audit:work_log_problems": page(AUDITS_HERE, "work_log_check", **NOT_THERE_THERE),
    # Reminders: seen coming by whoever teaches, audits or administers; mails not by instructors
    "reminders:reminders": page(INSTRUCTORS | QUALITY | ADMINISTRATORS, others=NO),
    "reminders:reminders_printed_list": page(INSTRUCTORS | QUALITY | ADMINISTRATORS, others=NO),
    "reminders:reminders_printed_list_pdf": page(INSTRUCTORS | QUALITY | ADMINISTRATORS, others=NO),
    "reminders:reminders_outbox": page(QUALITY | ADMINISTRATORS, others=NO),
    "reminders:reminder_message": page(
        AUDITS | {"own_quality", "administrator"},
        "message",
        others=NO,
        elsewhere={"quality_there", "administrator_there"},
    ),
    "reminders:reminder_message_send_again": act(
        {"administrator"},
        "message",
        others=NO,
        elsewhere={"quality", "quality_there", "own_quality", "administrator_there"},
    ),
    # Health: a page for administrators; which part works, for whoever asks
    "operations:health": page(ADMINISTRATORS, others=NO),
    "operations:health_check": page(PEOPLE),
    # How long it is kept: read by whoever administers or audits there, changed by the first
    "operations:retention": page(ADMINISTRATORS | QUALITY, others=NO),
    "operations:retention_site": page({"administrator", "quality", "own_quality"}, "site"),
    "operations:retention_change": form({"administrator"}, "site"),
    "operations:metrics": page((), others=NO_TOKEN),
    # Setting up: read by whoever administers or audits, done by whoever administers. The link of a
    # test mail is followed wherever the mail is read.
    "operations:set_up": page(ADMINISTRATORS | QUALITY, others=NO),
    "operations:organisation": form(ADMINISTRATORS, others=NO),
    "operations:content_add": act(ADMINISTRATORS, others=NO),
    "operations:mail_trial": form(ADMINISTRATORS, others=NO),
    "operations:mail_arrived": form(PEOPLE, "mail_trial"),
    # Boards: read by whose they are, judged by instructors and never one's own
    "assessments:board_list": page(EVERYBODY),
    "assessments:board_new": form(INSTRUCTORS, others=NO),
    "assessments:board_labels": page(READS, asked={"number": "board"}),
    "assessments:board_labels_pdf": page(READS, asked={"number": "board"}),
    "assessments:board_detail": page(READS, "board"),
    "assessments:board_result": page(READS, "board"),
    "assessments:board_sheet": page(READS, "board"),
    "assessments:board_sheet_pdf": page(READS, "board"),
    "assessments:person_progress": page(READS, "person"),
    "assessments:boards_correct": form(INSTRUCTORS, others=NO),
    "assessments:board_hand_in": form(OWN | TEACHES, "board"),
    "assessments:board_take_back": act(OWN | TEACHES, "board"),
    "assessments:board_tools": form(OWN | TEACHES, "board"),
    "assessments:board_piece": form(TEACHES, "board"),
    "assessments:board_grade": page(TEACHES, "board"),
    "assessments:board_comparison": page(
        TEACHES, "board", asked={"stage": "soldered", "joint": "E01"}
    ),
    "assessments:board_judge": act(TEACHES, "board", asked=JUDGED),
    "assessments:board_accept_rest": act(TEACHES, "board", asked=JUDGED),
    "assessments:board_undo": act(TEACHES, "board", asked=JUDGED),
    "assessments:stage_sign": form(TEACHES, "board", "soldered"),
    "assessments:stages_sign": form(INSTRUCTORS, others=NO),
    "assessments:grading_correct": form(TEACHES, "board", "grading"),
    "assessments:joint_rework": form(TEACHES, "board", "joint"),
    "assessments:board_decide": form(TEACHES, "differing_board"),
    "assessments:another_reading": form(OWN, "board"),
    "assessments:board_own_reading": page(OWN, "board"),
    "assessments:own_judge": act(OWN, "board", asked=JUDGED),
    "assessments:own_accept_rest": act(OWN, "board", asked=JUDGED),
    "assessments:own_undo": act(OWN, "board", asked=JUDGED),
    # What fails most, over the boards of one's sites
    "assessments:what_fails": page(INSTRUCTORS | QUALITY, others=NO),
    "assessments:what_fails_csv": page(INSTRUCTORS | QUALITY, others=NO),
    "assessments:what_fails_joints": page(
        INSTRUCTORS | QUALITY, others=NO, asked={"by": "criterion", "key": "S-1"}
    ),
    # Photographs go with their board; the original file is for those who judge and audit
    "assessments:board_photos_add": act(OWN | TEACHES, "board"),
    "assessments:board_photos_foresee": act(OWN | TEACHES, "board"),
    "assessments:board_photos_take_back": act(OWN | TEACHES, "board"),
    "assessments:photo_detail": page(READS, "photo"),
    "assessments:photo_rendition": page(READS, "photo", 160),
    "assessments:photo_change": act(OWN | TEACHES, "photo"),
    "assessments:photo_measure": form(OWN | TEACHES, "photo"),
    "assessments:photo_find_marks": act(OWN | TEACHES, "photo"),
    "assessments:photo_setup_choose": act(OWN | TEACHES, "photo"),
    "assessments:setup_list": form(INSTRUCTORS | QUALITY, others=NO),
    "assessments:wire_tolerance": act(INSTRUCTORS | QUALITY, others=NO),
    "assessments:setup_detail": page(
        TEACHES | AUDITS | {"own_instructor", "own_quality"}, "photo_setup"
    ),
    "assessments:setup_qualify": act(
        TEACHES | AUDITS | {"own_instructor", "own_quality"}, "photo_setup"
    ),
    "assessments:setup_retire": act(
        TEACHES | AUDITS | {"own_instructor", "own_quality"}, "photo_setup"
    ),
    # Measurement studies: the site's to lay out and read, quality's to close
    # Written tests: the bank for those who draft, a paper for whom it is, and who decides on it
    "assessments:written_test_list": page(EVERYBODY),
    "assessments:written_test_new": form(INSTRUCTORS | QUALITY, others=NO),
    "assessments:written_test_detail": page(INSTRUCTORS | QUALITY, "written_test"),
    "assessments:written_test_rules": form(INSTRUCTORS | QUALITY, "written_draft"),
    "assessments:written_test_publish": form(QUALITY, "written_draft", others=NO),
    "assessments:written_test_retire": act(QUALITY, "written_test", others=NO),
    "assessments:written_test_revise": act(INSTRUCTORS | QUALITY, "written_test"),
    "assessments:written_test_hand_out": form(INSTRUCTORS, "written_test", others=NO),
    "assessments:written_test_figures": page(INSTRUCTORS | QUALITY, "written_test"),
    "assessments:question_new": form(INSTRUCTORS | QUALITY, "written_draft"),
    "assessments:question_edit": form(INSTRUCTORS | QUALITY, "written_draft", "question"),
    "assessments:question_remove": act(INSTRUCTORS | QUALITY, "written_draft", "question"),
    "assessments:question_picture": page(INSTRUCTORS | QUALITY, "written_test", "question"),
    "assessments:paper_detail": page(READS, "paper"),
    "assessments:paper_start": act(OWN, "paper"),
    "assessments:paper_answer": act(OWN, "paper"),
    "assessments:paper_hand_in": act(OWN, "paper"),
    "assessments:paper_picture": page(OWN, "paper", "picture_order"),
    "assessments:paper_pdf": page(TEACHES, "paper"),
    "assessments:paper_enter": form(TEACHES, "paper"),
    "assessments:paper_correct": form(TEACHES, "paper"),
    "assessments:paper_count_late": form(TEACHES, "paper"),
    "assessments:paper_withdraw": act(TEACHES | AUDITS, "paper"),
    "assessments:study_list": page(INSTRUCTORS | QUALITY, others=NO),
    "assessments:study_new": form(INSTRUCTORS | QUALITY, others=NO),
    "assessments:study_detail": page(TEACHES | AUDITS | {"own_instructor", "own_quality"}, "study"),
    "assessments:study_csv": page(TEACHES | AUDITS | {"own_instructor", "own_quality"}, "study"),
    "assessments:study_mark": form(TEACHES, "study"),
    "assessments:study_reference": act(
        TEACHES | AUDITS | {"own_instructor", "own_quality"}, "study"
    ),
    "assessments:study_close": act(AUDITS_HERE, "study"),
    "assessments:study_withdraw": act(AUDITS_HERE, "study"),
    "assessments:photo_measured": page(READS, "photo", "measurement"),
    "assessments:photo_original": page(
        TEACHES | AUDITS | {"own_instructor", "own_quality"}, "photo"
    ),
    # Criteria: read by everybody, drafted by instructors, confirmed and published by quality
    "assessments:criteria_list": page(EVERYBODY),
    "assessments:criteria_for_joint_type": page(EVERYBODY, "joint_type"),
    "assessments:exercise_criteria": page(EVERYBODY, "exercise"),
    "assessments:criteria_set_detail": page(EVERYBODY, "published"),
    "assessments:criteria_set_detail, a draft": page(INSTRUCTORS | QUALITY, "draft"),
    "assessments:criterion_edit": form(INSTRUCTORS | QUALITY, "draft", "criterion", others=NO),
    "assessments:criteria_draft": act(INSTRUCTORS | QUALITY, "published", others=NO),
    "assessments:criteria_set_new": form(INSTRUCTORS | QUALITY, others=NO),
    "assessments:criteria_discard": act(INSTRUCTORS | QUALITY, "draft", others=NO),
    "assessments:criteria_import": form(INSTRUCTORS | QUALITY, others=NO),
    "assessments:criteria_export": page(EVERYBODY, "published", "csv"),
    "assessments:criteria_describe": act(INSTRUCTORS | QUALITY, "draft", others=NO),
    "assessments:criterion_add": form(INSTRUCTORS | QUALITY, "draft", others=NO),
    "assessments:criterion_drop": act(INSTRUCTORS | QUALITY, "draft", "criterion", others=NO),
    "assessments:criterion_move": act(INSTRUCTORS | QUALITY, "draft", "criterion", others=NO),
    "assessments:criterion_restore": act(INSTRUCTORS | QUALITY, "draft", "criterion", others=NO),
    "assessments:criteria_compare": page(EVERYBODY, "published"),
    "assessments:criteria_confirm": form(QUALITY, "draft", others=NO),
    "assessments:criteria_publish": form(QUALITY, "draft", others=NO),
    "assessments:criterion_drawing_add": act(INSTRUCTORS | QUALITY, "draft", others=NO),
    "assessments:criterion_drawing": page(EVERYBODY, "drawing"),
    "assessments:exercise_lesson": page(EVERYBODY, "exercise"),
    "assessments:exercise_lesson, a draft": page(INSTRUCTORS | QUALITY, "drafted_exercise"),
    "assessments:exercise_bench_sheet": page(EVERYBODY, "exercise"),
    "assessments:exercise_bench_sheet, a draft": page(INSTRUCTORS | QUALITY, "drafted_exercise"),
    "assessments:board_bench_sheet": page(READS, "board"),
    "assessments:exercise_drawings": form(INSTRUCTORS | QUALITY, "drafted_exercise", others=NO),
    "assessments:exercise_criteria_choose": act(QUALITY, "exercise", others=NO),
    "assessments:criteria_retire": act(QUALITY, "published", others=NO),
    # Schemes, scopes and operations: read by everybody, drafted by instructors, kept by quality
    "certification:scheme_list": page(EVERYBODY),
    "certification:scheme_new": form(INSTRUCTORS | QUALITY, others=NO),
    "certification:scheme_starter": act(INSTRUCTORS | QUALITY, others=NO),
    "certification:scheme_example": page(
        INSTRUCTORS | QUALITY,
        others=NO,
        asked={
            "validity_months": "24",
            "expiry_rule": "same_day",
            "renewal_window_days": "90",
            "vision_months": "12",
            "max_absence_months": "6",
            "reminder_steps": "90, 1",
        },
    ),
    "certification:scheme_detail": page(EVERYBODY, "published_scheme"),
    "certification:scheme_detail, a draft": page(INSTRUCTORS | QUALITY, "draft_scheme"),
    "certification:scheme_change": act(INSTRUCTORS | QUALITY, "draft_scheme", others=NO),
    "certification:scheme_next": act(INSTRUCTORS | QUALITY, "published_scheme", others=NO),
    "certification:scheme_discard": act(INSTRUCTORS | QUALITY, "draft_scheme", others=NO),
    "certification:scheme_publish": form(QUALITY, "draft_scheme", others=NO),
    "certification:scheme_retire": act(QUALITY, "published_scheme", others=NO),
    "certification:scope_list": page(EVERYBODY),
    "certification:scope_new": form(QUALITY, others=NO),
    "certification:scope_edit": form(QUALITY, "scope_pk", others=NO),
    "certification:scope_retire": act(QUALITY, "scope_pk", others=NO),
    "certification:scope_restore": act(QUALITY, "scope_pk", others=NO),
    "certification:operation_list": page(EVERYBODY),
    "certification:operation_add": act(QUALITY, others=NO),
    "certification:operation_edit": form(QUALITY, "operation", others=NO),
    "certification:operation_remove": act(QUALITY, "operation", others=NO),
    # What is taught
    "training:exercise_list": page(EVERYBODY),
    "training:exercise_detail": page(EVERYBODY, "exercise"),
    "training:exercise_detail, a draft": page(INSTRUCTORS | QUALITY, "drafted_exercise"),
    "training:exercise_new": form(INSTRUCTORS | QUALITY, others=NO),
    "training:exercise_revise": act(INSTRUCTORS | QUALITY, "exercise", others=NO),
    "training:exercise_edit": form(INSTRUCTORS | QUALITY, "drafted_exercise", others=NO),
    "training:exercise_positions": form(INSTRUCTORS | QUALITY, "drafted_exercise", others=NO),
    "training:exercise_steps": form(INSTRUCTORS | QUALITY, "drafted_exercise", others=NO),
    "training:exercise_discard": act(INSTRUCTORS | QUALITY, "drafted_exercise", others=NO),
    "training:exercise_publish": form(QUALITY, others=NO),
    "training:exercise_retire": act(QUALITY, "exercise", "1", others=NO),
    "training:course_list": page(EVERYBODY),
    "training:course_detail": page(EVERYBODY, "course"),
    "training:course_detail, a draft": page(INSTRUCTORS | QUALITY, "drafted_course"),
    "training:course_new": form(INSTRUCTORS | QUALITY, others=NO),
    "training:course_revise": act(INSTRUCTORS | QUALITY, "course", others=NO),
    "training:course_edit": form(INSTRUCTORS | QUALITY, "drafted_course", others=NO),
    "training:course_discard": act(INSTRUCTORS | QUALITY, "drafted_course", others=NO),
    "training:course_publish": form(QUALITY, others=NO),
    "training:course_retire": act(QUALITY, "course", "1", others=NO),
    "training:class_list": page(INSTRUCTORS | QUALITY, others=NO),
    "training:class_new": form(INSTRUCTORS, others=NO),
    "training:class_places": form(INSTRUCTORS, others=NO),
    "training:class_detail": page(READS, "session"),
    "training:class_edit": form(TEACHES | {"own_instructor"}, "session"),
    "training:class_enrol": act(TEACHES | {"own_instructor"}, "session"),
    "training:class_attendance": form(TEACHES | {"own_instructor"}, "session", "day_of_class"),
    "training:enrolment_cancel": act(TEACHES | {"own_instructor"}, "session", "enrolment"),
    "training:class_offers": page(EVERYBODY),
    "training:class_book": act(HERE, "session"),
    "training:class_book_waiting": act(HERE, "session"),
    "training:class_give_back": act(HERE, "session"),
    "training:class_cancel": act(TEACHES | {"own_instructor"}, "session"),
    "training:class_letters": page(TEACHES | {"own_instructor"}, "session"),
    "training:class_letters_printed": act(TEACHES | {"own_instructor"}, "session"),
    "training:class_wait": act(TEACHES | {"own_instructor"}, "session"),
    "training:waiting_first": act(TEACHES | {"own_instructor"}, "session", "waiting"),
    "training:waiting_cancel": act(TEACHES | {"own_instructor"}, "session", "waiting"),
    "training:room_list": page(INSTRUCTORS | QUALITY, others=NO),
    "training:room_new": form(INSTRUCTORS, others=NO),
    "training:room_edit": form(TEACHES | {"own_instructor"}, "room"),
    # Days away: entered by whoever leads or teaches somebody
    "training:absence_list": form(INSTRUCTORS | LEADS, others=NO),
    "training:absence_remove": act(TEACHES | {"own_instructor", "lead"}, "absence"),
    "training:away_limit": act(INSTRUCTORS | LEADS, others=NO),
    # The class on its day: whoever teaches at its site
    "assessments:class_day_today": page(INSTRUCTORS, others=NO),
    "assessments:class_day": page(TEACHES | {"own_instructor"}, "session"),
    "assessments:class_position": page(
        TEACHES | {"own_instructor"},
        "session",
        asked={"exercise": "1", "stage": "soldered", "position": "E01"},
    ),
    "assessments:class_pass": act(
        TEACHES, "session", asked={"board": "board", "stage": "soldered"}
    ),
    "assessments:class_take_back": act(
        TEACHES,
        "session",
        asked={"board": "board", "key": "0d8a9d3e-2f0c-4f6e-9d4e-5a8f7f8c0b11"},
    ),
    # People: who somebody is, what is written down about them, how they sign in
    "people:person_list": page(LEADS | INSTRUCTORS | QUALITY | ADMINISTRATORS, others=NO),
    "people:person_new": form(INSTRUCTORS | ADMINISTRATORS, others=NO),
    "people:person_detail": page(READS | {"lead", "administrator"}, "person"),
    "people:person_edit": form(TEACHES | {"administrator"}, "person"),
    "training:vision_test_new": form(TEACHES | AUDITS, "person"),
    "training:vision_test_withdraw": form(TEACHES | AUDITS, "person", "vision_test"),
    "training:practice_new": form(TEACHES | AUDITS, "person"),
    "training:practice_withdraw": form(TEACHES | AUDITS, "person", "practice"),
    "training:vision_grid": form(INSTRUCTORS | QUALITY, others=NO),
    "training:my_work": form(EVERYBODY),
    "training:work_reported": form(INSTRUCTORS | QUALITY | LEADS, others=NO),
    "training:work_grid": form(INSTRUCTORS | QUALITY | LEADS, others=NO),
    "people:own_personal_data": page(EVERYBODY),
    "people:personal_data": form(OWN | AUDITS | {"administrator"}, "person"),
    "people:person_change": form(TEACHES | {"administrator"}, "person"),
    "people:person_return": form((), "person"),  # Of somebody who has left; test_returns asks it.
    "people:person_erase": form((), "person"),  # Of somebody who has left; test_erasing asks it.
    "people:person_move": form(TEACHES | {"administrator"}, "person"),
    "people:move_withdraw": form(TEACHES | {"administrator"}, "person", "move"),
    "people:stamp_list": form(QUALITY | ADMINISTRATORS, others=NO),
    "people:stamp_issue": form(AUDITS | {"own_quality", "administrator"}, "person"),
    "people:stamp_return": form(AUDITS | {"own_quality", "administrator"}, "person", "stamp"),
    "people:person_sign_in": form({"administrator"}, "person"),
    "people:sign_in_password": act({"administrator"}, "person"),
    "people:letters": form(ADMINISTRATORS, others=NO),
    "people:printed_code": form(PEOPLE),
    "people:sign_in_second_factor": act({"administrator"}, "person"),
    "people:sign_in_switch": act({"administrator"}, "person"),
    # Tools
    "training:tool_list": page(INSTRUCTORS | QUALITY, others=NO),
    "training:tool_new": form(INSTRUCTORS, others=NO),
    "training:tool_list_new": form(INSTRUCTORS, others=NO),
    "training:tool_detail": page(TEACHES | AUDITS | {"own_instructor", "own_quality"}, "tool"),
    "training:tool_edit": form(TEACHES | {"own_instructor"}, "tool"),
    "training:calibration_new": form(TEACHES | {"own_instructor"}, "tool"),
    "training:calibration_document": page(
        TEACHES | AUDITS | {"own_instructor", "own_quality"}, "tool", "calibration"
    ),
    "training:calibration_withdraw": form(TEACHES | {"own_instructor"}, "tool", "calibration"),
    "training:tool_out": act(TEACHES | {"own_instructor"}, "tool"),
    "training:tool_back": act(TEACHES | {"own_instructor"}, "tool"),
    "assessments:tool_work": form(TEACHES | AUDITS | {"own_instructor", "own_quality"}, "tool"),
    "training:calibration_grid": form(INSTRUCTORS, others=NO),
    "training:tool_retire": act(TEACHES | {"own_instructor"}, "tool"),
    # Sites: set up by whoever administers them
    "people:site_calendar": form(INSTRUCTORS | ADMINISTRATORS, others=NO),
    "people:site_list": page(ADMINISTRATORS, others=NO),
    "people:site_new": form(ADMINISTRATORS, others=NO),
    "people:site_edit": form({"administrator"}, "site"),
    "people:site_sign_in": form({"administrator"}, "site"),
    # Kiosks: made and shut by whoever administers the site
    "people:kiosk_list": form(ADMINISTRATORS, others=NO),
    "people:kiosk_password": act({"administrator"}, "a_kiosk"),
    "people:kiosk_switch": act({"administrator"}, "a_kiosk"),
    # Shared tablets: declared by who teaches or administers; their own pages on a tablet alone
    "people:tablet_list": form(INSTRUCTORS | ADMINISTRATORS, others=NO),
    "people:tablet_revoke": act(TEACHES | {"own_instructor", "administrator"}, "a_tablet"),
    "people:tablet": page(()),
    "people:tablet_open": act(()),
    "people:tablet_full": form(()),
    "people:tablet_lock": act(()),
    "people:tablet_awake": page(()),
    "people:pin": form(EVERYBODY),
    # Signing in is for strangers; what is one's own is not
    "account_login": page(READERS),
    "mfa_authenticate": form(EVERYBODY),
    "mfa_passkey_options": act(EVERYBODY),
    "people:own_sign_in": page(EVERYBODY),
    # Where the site has a provider; tests/people/test_provider.py asks them there.
    "people:provider_begin": act(()),
    "people:provider_back": page(()),
    "people:provider_proof": form(()),
    "people:provider_link": form(()),
    "people:provider_unlink": form(()),
    "people:second_factor": page(EVERYBODY),
    "people:second_factor_app": form(EVERYBODY),
    "people:passkey_new": form(EVERYBODY),
    "people:passkey_options": act(EVERYBODY),
    "people:passkey_proof": act(EVERYBODY),
    "people:second_factor_codes": form(EVERYBODY),
    "people:second_factor_remove": form(EVERYBODY, "1"),
    "account_reset_password": page(PEOPLE),
    "account_reset_password_done": page(PEOPLE),
    "account_reset_password_from_key": page(PEOPLE, "key"),
    "account_reset_password_from_key_done": page(PEOPLE),
    "account_logout": page(EVERYBODY | KIOSK),
    "account_change_password": page(EVERYBODY),
}

# Django's own pages for administrators have a test of their own below.
OF_PROGRAMS = ("interfaces:api-v1:", "operations:metrics")  # Where no cookie is looked at.
OF_DJANGO = re.compile(r"^admin:")


def names(patterns, within: tuple[str, ...] = ()) -> Iterator[str]:
    """Every address of a resolver by its name, with the namespaces before it."""
    for one in patterns:
        if isinstance(one, URLResolver):
            inner = (*within, one.namespace) if one.namespace else within
            yield from names(one.url_patterns, inner)
        elif isinstance(one, URLPattern):
            yield ":".join([*within, one.name or ""])


EVERY_NAME = sorted(set(names(get_resolver().url_patterns)))


@pytest.fixture(scope="module")
def built(django_db_setup, django_db_blocker) -> Iterator[Scenario]:
    """Built once, and everything is put back at the end."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield build()
        transaction.set_rollback(True)


@pytest.fixture
def scenario(built, db) -> Scenario:
    """Where each question that wrote is put back to."""
    built.as_built = transaction.savepoint()
    return built


@pytest.fixture(autouse=True, scope="module")
def _refusals_are_not_logged() -> Iterator[None]:
    """Thousands are asked for here; pytest would write each out with its traceback."""
    log = logging.getLogger("django.request")
    level = log.level
    log.setLevel(logging.ERROR)
    yield
    log.setLevel(level)


def in_address(thing: Any) -> Any:
    """How a thing is named in an address."""
    for name in ("employee_number", "number", "key", "test_id", "code", "prefix"):
        if hasattr(thing, name):
            return getattr(thing, name)
    return getattr(thing, "pk", thing)


def address(name: str, row: Row, things: dict[str, Any]) -> str:
    named = name.split(",")[0]
    if named == "account_reset_password_from_key":
        return reverse(named, kwargs={"uidb36": "1", "key": "no-such-key"})
    return reverse(named, args=[in_address(things.get(one, one)) for one in row.of])


def asked(row: Row, things: dict[str, Any]) -> dict[str, Any]:
    return {name: in_address(things.get(said, said)) for name, said in row.asked.items()}


@dataclass(frozen=True)
class Answer:
    """What a reader was told. A refusal is kept, and a whole response holds all it was made of."""

    status_code: int
    headers: ResponseHeaders
    body: bytes

    @property
    def url(self) -> str:
        return self.headers["Location"]


def ask(scenario: Scenario, reader: str, method: str, url: str, data: dict[str, Any]) -> Answer:
    """Ask as a reader; what the answer wrote is undone, what it holds open is closed.

    What keeps a session that may only look from writing is the method, so no address may write
    by being read. Since all is put back, a refusal that several tests look at is asked for once.
    """
    question = (reader, method, url, repr(sorted(data.items())))
    if question in scenario.refusals:
        return scenario.refusals[question]
    client = scenario.client
    client.cookies = SimpleCookie(scenario.clients[reader].cookies)
    written: list[str] = []
    with connection.execute_wrapper(_noting(written)):
        response = getattr(client, method.lower())(url, data, HTTP_X_REQUEST_ID="one-of-all")
        body = b"".join(response) if response.streaming else response.content
    if written or connection.needs_rollback:
        transaction.set_rollback(False)
        transaction.savepoint_rollback(scenario.as_built)
    if method == "GET":
        told = [sql for sql in written if not LEFT_BY_READING.match(sql)]
        assert told == [], f"{url} writes by being read"
    answer = Answer(response.status_code, response.headers, bytes(body))
    if said(answer) != OK:
        scenario.refusals[question] = answer
    return answer


LEFT_BY_READING = re.compile(
    r'(?:INSERT (?:OR IGNORE )?INTO|UPDATE|DELETE FROM) "(?:'
    "django_session|"  # When somebody was last there.
    "assessments_rendition|"  # A smaller size of a photograph, made again at need.
    "people_wrongtries|"  # How often the code of a certificate's public page was wrong.
    "reminders_calendarfeed"  # The day a calendar was last read, by whoever has its address.
    ')"'
)
"""What may be written by reading."""
WRITES_NOTHING = ("SELECT ", "SAVEPOINT ", "RELEASE ", "ROLLBACK TO ")


def _noting(written: list[str]) -> Callable[..., Any]:
    """Note what may have written something; in a loop of thousands, by how it begins."""

    def execute(run, sql, *rest):
        if not sql.startswith(WRITES_NOTHING):
            written.append(sql[:200])
        return run(sql, *rest)

    return execute


def said(response: Answer) -> str:
    """The kind of an answer."""
    if response.status_code == 302 and re.match(r"/(account|admin)/login/", response.url):
        return SIGN_IN
    if response.status_code == 401:
        return NO_TOKEN
    if response.status_code in (403, 404):
        return NO if response.status_code == 403 else NOT_THERE
    # 422: the form was taken and is shown again with what is wrong in it. 503: health, and
    # that it is bad, since no worker runs beside these tests.
    return OK if response.status_code in (200, 302, 422, 503) else f"answers {response.status_code}"


def test_every_address_has_its_place_in_the_table():
    placed = {name.split(",")[0] for name in TABLE}

    assert {name for name in EVERY_NAME if not OF_DJANGO.match(name)} == placed


@pytest.mark.parametrize("name", TABLE)
def test_table_is_kept(scenario, name):
    row = TABLE[name]
    found = {}
    for reader in READERS:
        things = scenario.things_for(reader)
        url, data = address(name, row, things), asked(row, things)
        answers = {said(ask(scenario, reader, one, url, data)) for one in row.method.split()}
        found[reader] = " or ".join(sorted(answers))

    assert found == {reader: row.expected(reader) for reader in READERS}


OF_SOMEBODY = [
    name
    for name, row in TABLE.items()
    if (row.of or row.asked.get("number")) and row.may < EVERYBODY
]
UNKNOWN = {
    "waiting": 99_999_999,
    "room": 99_999_999,
    "absence": 99_999_999,
    "class_plan": 99_999_999,
    "exercise": "EX-NONE",
    "drafted_exercise": "EX-NONE",
    "course": "HS-NONE",
    "drafted_course": "HS-NONE",
    "person": "99999",
    "person_pk": 99_999_999,
    "board": "CA-B-99999",
    "differing_board": "CA-B-99999",
    "joint": 99_999_999,
    "photo": "no-such-photograph-is-stored-here",
    "measurement": 99_999_999,
    "grading": 99_999_999,
    "certificate": "CA-C-99999",
    "event": 99_999_999,
    "proposal": 99_999_999,
    "session": "CA-K-99999",
    "enrolment": 99_999_999,
    "vision_test": "V-99999",
    "practice": 99_999_999,
    "stamp": 99_999_999,
    "draft": 99_999_999,
    "published": 99_999_999,
    "photo_setup": 99_999_999,
    "study": 99_999_999,
    "written_test": 99_999_999,
    "written_draft": 99_999_999,
    "paper": "CA-T-99999",
    "tool": "T-99999",
    "calibration": 99_999_999,
    "message": 99_999_999,
    "hook": 99_999_999,
    "delivery": 99_999_999,
    "work_log_check": 99_999_999,
    "evidence_pack": "CA-P-99999",
    "people_list": 99_999_999,
    "taken_list": 99_999_999,
    "site": "XX",
    "a_kiosk": "no-such-kiosk",
    "a_tablet": 99_999_999,
    "api_token": 99_999_999,
    "scope": "NO-SUCH",
    "draft_scheme": 99_999_999,
    "published_scheme": 99_999_999,
    "operation": 99_999_999,
    "scope_pk": 99_999_999,
}


def without_secrets(response: Answer) -> bytes:
    """A body without what differs from one answer to the next."""
    return re.sub(rb'(csrfmiddlewaretoken" value="|X-CSRFToken": ")\w+', b"", response.body)


@pytest.mark.parametrize("name", OF_SOMEBODY)
def test_what_is_forbidden_answers_like_what_does_not_exist(scenario, name):
    row = TABLE[name]
    first = row.of[0] if row.of else next(iter(row.asked.values()))
    for reader in (EVERYBODY | KIOSK) - row.may:
        things = scenario.things_for(reader)
        unknown = things | {first: UNKNOWN[first]}
        for method in row.method.split():
            forbidden, missing = (
                ask(scenario, reader, method, address(name, row, of), asked(row, of))
                for of in (things, unknown)
            )
            assert said(forbidden) == said(missing) == row.expected(reader), reader
            assert without_secrets(forbidden) == without_secrets(missing), reader
            assert forbidden.headers == missing.headers, reader


PARTS = [name for name, row in TABLE.items() if row.of[1:] and row.of[1] in UNKNOWN]


@pytest.mark.parametrize(
    "name", [name for name in PARTS if TABLE[name].of[1] not in ("scope", "scope_pk")]
)
def test_part_of_something_else_is_not_reached_through_what_one_may_open(scenario, name):
    row = TABLE[name]
    reader = next(iter(sorted(row.may & {"instructor", "quality"})))
    mixed = scenario.things["owner"] | {row.of[1]: scenario.things["own_quality"][row.of[1]]}
    for method in row.method.split():
        response = ask(scenario, reader, method, address(name, row, mixed), {})
        assert response.status_code == 404


@pytest.mark.parametrize(
    "name", [name for name, row in TABLE.items() if not name.startswith("account_")]
)
def test_address_that_is_only_read_or_only_written_to_refuses_the_rest(scenario, name):
    row = TABLE[name]
    things = scenario.things["owner"]
    for method in {"GET", "POST"} - set(row.method.split()):
        # The method is looked at before the reader: who is nobody sees that, whoever reads
        # everything sees that no role goes past it.
        for reader in ("anonymous", "quality"):
            response = ask(scenario, reader, method, address(name, row, things), {})
            assert response.status_code == 405, reader


HERE_TEACHES = frozenset({"instructor", "own_instructor"})
HERE_READS = HERE_TEACHES | {"quality", "own_quality"}

LISTS: dict[str, tuple[str, frozenset[str]]] = {
    "assessments:board_list": ("board", HERE_READS | {"owner"}),
    "certification:bench": ("board", HERE_TEACHES),
    "certification:register": ("certificate", HERE_READS | {"lead"}),
    "certification:register_csv": ("certificate", HERE_READS | {"lead"}),
    "certification:proposal_list": ("person", HERE_READS),
    "reminders:reminders_outbox": (
        "message",
        frozenset({"quality", "own_quality", "administrator"}),
    ),
    "certification:my_card": ("certificate", frozenset({"owner"})),
    "audit:work_log": ("work_log_check", AUDITS_HERE),
    "audit:evidence_packs": ("evidence_pack", AUDITS_HERE),
    "audit:people_list_new": ("people_list", BROUGHT),
    "people:person_list": ("person", HERE_READS | {"lead", "administrator"}),
    "training:class_list": ("session", HERE_READS),
    "training:tool_list": ("tool", HERE_READS),
    "training:room_list": ("room", HERE_READS),
    "people:site_list": ("site", frozenset({"administrator"})),
    "people:kiosk_list": ("a_kiosk", frozenset({"administrator"})),
    "interfaces:api_token_list": ("api_token", frozenset({"administrator"})),
}


TOLD_BY = {
    "room": "name",
    "person": "full_name",
    "message": "subject",
    "work_log_check": "file_name",
    "people_list": "file_name",
    "api_token": "name",
}


@pytest.mark.parametrize("name", LISTS)
def test_list_shows_the_things_of_the_owner_to_those_who_may_read_them(scenario, name):
    thing, may = LISTS[name]
    owners = scenario.things["owner"][thing]
    told_by = TOLD_BY.get(thing)
    shown_as = getattr(owners, told_by) if told_by else str(in_address(owners))

    shown_to = set()
    for reader in READERS:
        # The top line names whoever reads.
        body = ask(scenario, reader, "GET", reverse(name), {}).body.decode().split("<main")[-1]
        if re.search(rf"\b{re.escape(shown_as)}\b", body):
            shown_to.add(reader)

    assert shown_to == may


# Django's pages for administrators: staff read the trail there, and nobody writes it


def addresses_of_django(entry) -> Iterator[tuple[str, str]]:
    """Each of them with its name, those of one entry asked for the entry."""
    for name in EVERY_NAME:
        if not OF_DJANGO.match(name) or name == "admin:":
            continue
        of: dict[str, Any] = {"object_id": entry.pk}
        if name == "admin:app_list":
            of = {"app_label": "records"}
        elif name == "admin:view_on_site":
            of = {"content_type_id": 1, "object_id": entry.pk}
        elif not re.search(r"_(change|delete|history)$", name) or "password" in name:
            of = {}
        yield name, reverse(name, kwargs=of)


ASK_DJANGO = ("anonymous", "administrator", "quality", "kiosk")


def test_pages_of_django_open_for_staff_alone(scenario):
    entry = TrailEntry.objects.first()
    found = dict(addresses_of_django(entry))
    assert len(found) == len([name for name in EVERY_NAME if OF_DJANGO.match(name)]) - 1

    # Each stands behind the same question, which no role answers: that is asked of everybody on
    # one page, and that it stands there of four on each.
    for name, url in found.items():
        asking = set(READERS) - {"staff"} if name == "admin:index" else ASK_DJANGO
        for reader in asking:
            response = ask(scenario, reader, "GET", url, {})
            assert response.status_code in (302, 403, 404), (name, reader)
            response = ask(scenario, reader, "POST", url, {})
            assert response.status_code in (302, 403, 404), (name, reader)
    opened = {
        name for name, url in found.items() if said(ask(scenario, "staff", "GET", url, {})) == OK
    }
    assert {"admin:index", "admin:records_trailentry_changelist"} <= opened


@pytest.mark.parametrize("act", ["add", "change", "delete"])
def test_staff_read_the_trail_and_write_nothing_in_it(scenario, act):
    entry = TrailEntry.objects.first()
    found = dict(addresses_of_django(entry))
    before = list(TrailEntry.objects.values_list("pk", "entry_hash"))

    url = found[f"admin:records_trailentry_{act}"]
    assert ask(scenario, "staff", "POST", url, {"act": "x"}).status_code == 403
    read = ask(scenario, "staff", "GET", found["admin:records_trailentry_change"], {})
    assert read.status_code == 200
    assert entry.act.encode() in read.body
    assert list(TrailEntry.objects.values_list("pk", "entry_hash")) == before
