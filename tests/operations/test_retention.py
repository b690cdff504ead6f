"""What a site keeps no longer goes at night; what certificates rest on stays, and all verifies."""

from datetime import UTC, date, datetime, timedelta
from io import BytesIO

import pytest
from django.db import IntegrityError, OperationalError, connection, transaction
from django.urls import reverse

from assessments.exceptions import NotAPhotograph
from assessments.models import Board, Judgement, Measurement, Photo, Rendition
from assessments.services import boards, grading, measuring, photos, removing
from assessments.services.reading_requests import ask_for_another_reading
from audit.models import EvidencePack
from certification.domain.standing import timeline
from certification.queries import standing_on_day
from config.celery import app
from operations.exceptions import ShownOtherRules
from operations.models import SiteRetention
from operations.queries import retention as queries
from operations.services import retention
from operations.tasks import remove_what_is_kept_no_longer
from people.exceptions import PeopleError
from people.models import Person
from records.models import Removal, Signature, TrailEntry, TrailPayload, append_only
from records.queries.verification import verify_records
from records.services import removals, trail
from tests import factories
from tests.assessments import pictures, several
from tests.assessments.measuring_cases import wrap
from tests.factories import NOW, TODAY
from training.models import PracticeRecord, VisionTest, WorkReport
from training.services import facts
from training.services.work_reports import decide_report, report_work

pytestmark = [pytest.mark.django_db, pytest.mark.each_database]

YEAR = timedelta(days=366)
KEEPS_ALL = {kind.value: 0 for kind in SiteRetention.Kind}


@pytest.fixture
def files(tmp_path, settings):
    storage = {
        "BACKEND": "django.core.files.storage.FileSystemStorage",
        "OPTIONS": {"location": tmp_path, "base_url": None},
    }
    settings.STORAGES = {**settings.STORAGES, "default": storage}
    return tmp_path


def keeps(site=None, **months):
    return SiteRetention.objects.update_or_create(
        site=site or factories.make_site(), defaults=months
    )


def run(now=NOW):
    return retention.remove_at_every_site(clock=lambda: now)


def fits():
    report = verify_records()
    assert [str(fault) for fault in report.faults] == []
    return report


def examined(person, on, passed=True, actor=None):
    return facts.record_vision_test(
        person=person,
        tested_on=on,
        passed=passed,
        actor=actor or factories.make_user("quality", site=person.site),
        at=datetime(on.year, on.month, on.day, 9, tzinfo=UTC),
    )


def worked(person, scope, on):
    return facts.record_practice(
        person=person,
        scope_code=scope.code,
        performed_on=on,
        actor=factories.make_user("quality", site=person.site),
        at=datetime(on.year, on.month, on.day, 9, tzinfo=UTC),
    )


def test_the_clock_asks_for_it_once_a_night_before_the_records_are_verified():
    by_task = {entry["task"]: entry["schedule"] for entry in app.conf.beat_schedule.values()}
    asked = by_task["retention.remove"]
    assert (asked.hour, len(asked.minute)) == ({1}, 1)
    assert app.tasks["retention.remove"].name == remove_what_is_kept_no_longer.name


def test_without_a_rule_everything_stays(files):
    person = factories.make_person(left_on=TODAY - 9 * YEAR)
    examined(person, TODAY - 9 * YEAR)
    keeps()
    assert queries.outlook(person.site, NOW) == []
    assert run() == 0
    assert VisionTest.objects.count() == 1
    assert not Removal.objects.exists()


def test_standing_is_the_same_on_every_day_after_old_vision_tests_and_work_are_gone():
    person, scope = factories.make_person(), factories.make_scope()
    revision = factories.make_revision(
        scope, vision_months=12, max_absence_months=6, validity_months=24
    )
    issued = date(2023, 3, 10)
    tests = [
        examined(person, date(2020, 1, 5)),
        examined(person, date(2021, 12, 1)),  # Its months are over before the issue.
        examined(person, date(2022, 4, 2)),  # Good on the day of issue.
        examined(person, date(2023, 2, 1), passed=False),
        examined(person, date(2023, 9, 9)),
        examined(person, date(2025, 3, 10)),  # The last day of the certificate.
        examined(person, date(2025, 3, 11)),
    ]
    work = [
        worked(person, scope, day)
        for day in (
            date(2022, 12, 1), issued, date(2023, 8, 1), date(2024, 1, 15), date(2025, 4, 1),
        )
    ]  # fmt: skip
    certificate = factories.make_certificate(person, scope, revision=revision, issued_on=issued)
    factories.write_down()

    known = [None, *(test.recorded_at for test in tests), NOW]

    def answers():
        """On every day from before the first test to after the last, as known at each instant."""
        recorded = standing_on_day.every_fact(person, scope)
        days = [date(2019, 12, 1) + timedelta(days=n) for n in range(2600)]
        lines = [timeline(recorded, at) for at in known]
        return [line.on(day) for line in lines for day in days]

    before = answers()
    keeps(person.site, vision_tests=12, practice=12)
    [vision, practice] = queries.outlook(person.site, NOW)
    assert [line.stays for line in vision.stays][:1] == [
        f"The certificate {certificate.number} rests on it."
    ]
    assert (vision.goes_count, vision.stays_count) == (2, 5)
    assert (practice.goes_count, practice.stays_count) == (2, 0)

    assert run() == 4

    assert answers() == before
    assert set(VisionTest.objects.values_list("pk", flat=True)) == {t.pk for t in tests[2:]}
    left = set(PracticeRecord.objects.values_list("performed_on", flat=True))
    assert left == {day.performed_on for day in work[1:4]}
    assert fits().removed == 4
    assert run() == 0  # Twice changes nothing.


def test_reported_work_goes_once_its_months_are_over_however_it_was_decided():
    person, scope = factories.make_person(), factories.make_scope()
    factories.make_revision(scope)
    own = factories.make_user(person=person)
    quality = factories.make_user("quality", site=person.site)
    on = TODAY - 2 * YEAR
    at = datetime(on.year, on.month, on.day, 9, tzinfo=UTC)

    def report(reference, *decided_at, confirmed=False, reported_at=at):
        reported = report_work(
            person=person, scope_code=scope.code, performed_on=on, reference=reference,
            actor=own, at=reported_at,
        )  # fmt: skip
        for instant in decided_at:
            decide_report(
                report=reported, people=Person.objects.all(), confirmed=confirmed,
                reason="" if confirmed else "Not in the work order.", actor=quality, at=instant,
            )  # fmt: skip

    report("W-1", at, confirmed=True)
    report("W-2", at)
    report("W-3", NOW)  # Refused today: whoever reported it is still to read why.
    report("W-4")  # Nobody ever decided on it.
    report("W-5", reported_at=NOW)  # Reported today: it is still to be looked at.
    keeps(practice=12)
    [outlook] = queries.outlook(person.site, NOW)
    assert (outlook.count, [line.text for line in outlook.goes]) == (
        3,
        [
            f"{person.employee_number}, {scope.code}",
            f"{person.employee_number}, {scope.code} (reported, and refused)",
            f"{person.employee_number}, {scope.code} (reported, and not decided on)",
        ],
    )
    assert outlook.goes[-1].day == on

    assert run() == 3

    assert not PracticeRecord.objects.exists()
    assert {*WorkReport.objects.values_list("reference", flat=True)} == {"W-3", "W-5"}
    factories.write_down()
    assert fits().removed == 6
    assert run() == 0


def test_person_that_another_act_is_entangled_with_holds_nobody_else_up(monkeypatch):
    people = [factories.make_person(left_on=TODAY - 2 * YEAR) for _ in range(3)]
    keeps(people=12)
    erase = retention.erase_person

    def entangled(*, person, **how):
        if person == people[1]:
            raise OperationalError("deadlock detected")
        return erase(person=person, **how)

    monkeypatch.setattr(retention, "erase_person", entangled)
    assert run() == 2
    monkeypatch.undo()
    assert run() == 1


def test_last_test_of_somebody_who_is_here_stays_and_of_who_left_goes():
    here, gone = factories.make_person(), factories.make_person(left_on=TODAY - timedelta(days=1))
    for person in (here, gone):
        examined(person, TODAY - 3 * YEAR)
        examined(person, TODAY - 2 * YEAR)
    keeps(vision_tests=12)
    assert run() == 3
    left = VisionTest.objects.get()
    assert (left.person, left.tested_on) == (here, TODAY - 2 * YEAR)
    fits()


def test_trail_says_what_went_and_why_and_no_more_of_what_it_was():
    person = factories.make_person(left_on=TODAY)
    test = examined(person, TODAY - 3 * YEAR)
    keeps(vision_tests=12)
    run()
    about = TrailEntry.objects.filter(about_type="vision-test", about_id=str(test.pk))
    entered, removed = about.order_by("number")
    assert (entered.payload.body, entered.payload.salt) == ("", "")
    assert removed.act == "removed"
    assert removed.payload.body == '{"reason":"kept for 12 months at CA: vision_tests"}'
    night = TrailEntry.objects.get(act=queries.RETENTION_RUN)
    assert (night.about_type, night.actor) == ("site", None)
    assert night.payload.body == '{"vision_tests":1}'


def test_database_lets_nothing_go_of_which_the_trail_does_not_say_so():
    test = examined(factories.make_person(), TODAY)
    other = examined(factories.make_person(), TODAY)
    removals.remove(things=[("vision-test", str(other.pk))], reason="-", actor=None, at=NOW)
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        VisionTest.objects.filter(pk=test.pk).delete()
    assert VisionTest.objects.filter(pk=other.pk).delete()[0] == 1
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        Removal.objects.all().delete()


def test_removal_that_nobody_wrote_down_is_named():
    examined(factories.make_person(), TODAY)
    entry = TrailEntry.objects.latest("number")
    Removal.objects.create(about_type="practice", about_id="7", what="row", entry=entry)
    [fault] = verify_records().faults
    assert "records_removal" in str(fault)


def test_removed_row_is_missed_where_no_removal_says_so():
    test = examined(factories.make_person(), TODAY)
    with append_only.lifted(connection):
        VisionTest.objects.filter(pk=test.pk).delete()
    [fault] = verify_records().faults
    assert "is gone" in str(fault)


# Photographs and boards


def make_board(person, instructor, *, on, measured=False):
    """A board that somebody made, photographed, measured, judged and signed on a day."""
    criteria = factories.make_criteria_set({"code": "S-1"})
    at = datetime(on.year, on.month, on.day, 10, tzinfo=UTC)
    [board] = boards.make_boards(
        exercise=factories.make_exercise(), people=[person], purpose="practice", site=person.site,
        handed_out_on=on, actor=instructor, at=at,
    )  # fmt: skip
    photo = photos.add_photo(
        board=board, file=BytesIO(pictures.jpeg(900, 700)), name="E01.jpg", actor=instructor,
        at=at, joint=board.joints.first(),
    )  # fmt: skip
    photos.make_renditions(photo)
    if measured:
        case = wrap(213.5)
        measuring.keep_measurement(
            photo=factories.on_a_stand(photo), quantity=case.quantity, marks=case.marks,
            options=measuring.options_for(joint=photo.joint, criterion=None),
            mark_uncertainty_px=1.0, actor=instructor, at=at, joint=photo.joint,
        )  # fmt: skip
    several.read(board, instructor, ("E01", "S-1"), at=at)
    assert criteria.criteria.count() == 1
    factories.write_down()
    return Board.objects.get(pk=board.pk), photo


@pytest.mark.parametrize("whole_board", [False, True])
def test_smaller_size_that_is_made_meanwhile_does_not_outlive_its_photograph(
    files, monkeypatch, django_capture_on_commit_callbacks, whole_board
):
    board = factories.make_board()
    photo = photos.add_photo(
        board=board, file=BytesIO(pictures.jpeg(900, 700)), name="E01.jpg",
        actor=factories.make_user("instructor"), at=NOW,
    )  # fmt: skip
    render = photos.imaging.renditions

    def render_while_it_is_removed(original, sizes):
        for rendered in render(original, sizes):
            with django_capture_on_commit_callbacks(execute=True):
                if whole_board:
                    removing.remove_board(board=board, reason="Old.", actor=None, at=NOW)
                else:
                    removing.remove_photo_files(photos=[photo], reason="Old.", actor=None, at=NOW)
            yield rendered

    monkeypatch.setattr(photos.imaging, "renditions", render_while_it_is_removed)

    with pytest.raises(NotAPhotograph, match="kept no longer"):
        photos.make_renditions(photo)

    assert not Rendition.objects.exists()
    assert not [path for path in files.rglob("*") if path.is_file()]


@pytest.fixture
def scene(files, everybody_may_grade, django_capture_on_commit_callbacks):
    person = factories.make_person()
    return person, factories.make_user("instructor", site=person.site)


@pytest.fixture
def everybody_may_grade():
    from assessments import ports

    before = ports.register_may_grade(lambda user, joint_types, day: "")
    yield
    ports.register_may_grade(before)


def stored(folder):
    return [path for path in folder.rglob("*") if path.is_file()]


def test_photographs_lose_their_files_and_keep_their_hash(
    client, scene, files, django_capture_on_commit_callbacks
):
    person, instructor = scene
    board, photo = make_board(person, instructor, on=TODAY - 2 * YEAR)
    _newer, kept = make_board(person, instructor, on=TODAY)
    before = len(stored(files))
    keeps(photographs=12)
    with django_capture_on_commit_callbacks(execute=True):
        assert run() == 1
    assert len(stored(files)) == before - 4
    assert Photo.objects.get(pk=photo.pk).sha256 == photo.sha256
    assert kept.original.storage.exists(kept.original.name)
    report = fits()
    assert report.files == 1
    assert photos.make_missing_renditions() == 0

    client.force_login(instructor)
    shown = client.get(reverse("assessments:photo_rendition", args=(photo.key, 800)))
    assert (shown.status_code, shown["Content-Type"]) == (200, "image/svg+xml")
    assert b"No longer kept" in shown.content
    assert client.get(reverse("assessments:photo_original", args=(photo.key,))).status_code == 404
    assert client.get(reverse("assessments:board_detail", args=(board.number,))).status_code == 200


def test_files_that_a_crash_left_are_deleted_the_next_night(scene, files):
    person, instructor = scene
    _board, photo = make_board(person, instructor, on=TODAY - 2 * YEAR)
    keeps(photographs=12)
    assert run() == 1  # Without what follows the commit, as after a crash.
    assert photo.original.storage.exists(photo.original.name)
    assert removing.delete_left_files(NOW - timedelta(days=1)) == 1
    assert not photo.original.storage.exists(photo.original.name)
    assert removing.delete_left_files(NOW - timedelta(days=1)) == 0


def test_boards_go_with_all_that_was_judged_of_them_and_who_signed_stays(
    scene, files, django_capture_on_commit_callbacks
):
    person, instructor = scene
    board, _photo = make_board(person, instructor, on=TODAY - 2 * YEAR, measured=True)
    newer, _kept = make_board(person, instructor, on=TODAY)
    signed = Signature.objects.order_by("pk").first()
    keeps(boards=12)
    with django_capture_on_commit_callbacks(execute=True):
        assert run() == 1
    assert list(Board.objects.values_list("number", flat=True)) == [newer.number]
    assert {judgement.grading.board for judgement in Judgement.objects.all()} == {newer}
    assert not Measurement.objects.exists()
    assert Photo.every.count() == 1
    assert Rendition.objects.count() == len(stored(files)) - 1
    after = Signature.objects.get(pk=signed.pk)
    assert (after.content, after.content_sha256) == ("", signed.content_sha256)
    assert after.printed_name == signed.printed_name
    bodies = TrailPayload.objects.filter(entry__about_type__in=["board", "grading", "photograph"])
    assert not bodies.filter(body__contains=board.number).exists()
    assert fits().removed > 0


def test_what_is_signed_is_blanked_by_nobody_where_its_thing_is_there(scene):
    make_board(*scene, on=TODAY)
    with pytest.raises(IntegrityError), transaction.atomic():
        Signature.objects.update(content="")


@pytest.mark.parametrize("begun", ["regrading", "correction"])
def test_boards_that_somebody_reads_anew_stay_with_their_photographs(scene, begun):
    person, instructor = scene
    board, _photo = make_board(person, instructor, on=TODAY - 3 * YEAR)
    before = NOW - timedelta(days=1)
    if begun == "regrading":
        factories.make_user("instructor", site=person.site)
        trainee = factories.make_user("operator", person=person)
        ask_for_another_reading(board=board, trainee=trainee, reason="E01 is fine.", at=before)
    else:
        grading.correct_grading(
            grading=board.gradings.get(), grader=instructor, reason="Misread.", at=before
        )
    keeps(boards=12, photographs=12)
    sentence = {
        "regrading": "A regrading of it was asked for.",
        "correction": "Somebody has begun a correction of it.",
    }[begun]
    seen = queries.outlook(person.site, NOW)
    assert [line.stays for outlook in seen for line in outlook.stays] == [sentence] * 2
    assert run() == 0
    fits()


@pytest.mark.parametrize("why", ["evidence", "open"])
def test_boards_that_are_in_use_stay_with_their_photographs(scene, why):
    person, instructor = scene
    board, _photo = make_board(person, instructor, on=TODAY - 3 * YEAR)
    if why == "evidence":
        copied = {"boards": [{"number": board.number}]}
        certificate = factories.make_certificate(person, evidence=copied)
    else:
        board.outcome.complete = False
        board.outcome.save()
    factories.write_down()
    keeps(boards=12, photographs=12)
    seen = queries.outlook(person.site, NOW)
    if why == "evidence":
        assert {line.stays for outlook in seen for line in outlook.stays} == {
            f"The certificate or proposal {certificate.number} rests on it."
        }
    assert sum(outlook.goes_count for outlook in seen) == 0
    assert run() == 0
    fits()


def test_a_board_that_an_evidence_pack_is_about_keeps_no_other_from_going(scene):
    """It stays whole, with what was judged of it."""
    person, instructor = scene
    board, _photo = make_board(person, instructor, on=TODAY - 3 * YEAR)
    make_board(factories.make_person(site=person.site), instructor, on=TODAY - 3 * YEAR)
    EvidencePack.objects.create(
        number="CA-P-1", asked_by=instructor, site=person.site, about="board", board=board,
        recorded_at=NOW,
    )  # fmt: skip
    keeps(boards=12)
    assert run() == 1
    assert list(Board.objects.all()) == [board]
    assert Judgement.objects.filter(grading__board=board).exists()


# Rules and pages


def test_a_page_that_showed_other_rules_changes_nothing():
    administrator = factories.make_user("administrator")
    site = administrator.person.site
    common = {"site": site, "proof": "password", "actor": administrator, "at": NOW}
    first = KEEPS_ALL | {"boards": 60}
    retention.change_retention(months=first, shown=KEEPS_ALL, **common)
    with pytest.raises(ShownOtherRules):
        retention.change_retention(months=KEEPS_ALL | {"boards": 1}, shown=KEEPS_ALL, **common)
    assert queries.retention_of(site).boards == 60
    retention.change_retention(months=first, shown=first, **common)  # Pressed twice.
    assert TrailEntry.objects.filter(act=retention.CHANGED).count() == 1


def test_page_says_what_goes_and_why_by_number_alone(client):
    administrator = factories.make_user("administrator", password=factories.PASSWORD)
    site = administrator.person.site
    person = factories.make_person(site, full_name="Ada Holm", left_on=TODAY - 2 * YEAR)
    examined(person, TODAY - 3 * YEAR)
    page = reverse("operations:retention_site", args=(site.prefix,))
    client.force_login(administrator)
    opened = client.get(page)
    assert "Everything is kept for ever" in opened.content.decode()
    months = KEEPS_ALL | {"vision_tests": 12, "people": 12}
    shown = {f"shown_{kind}": 0 for kind in KEEPS_ALL}
    change = reverse("operations:retention_change", args=(site.prefix,))
    assert client.get(change).status_code == 200
    wrong = client.post(change, months | shown | {"password": "not this one"})
    assert (wrong.status_code, SiteRetention.objects.count()) == (422, 0)
    bad = client.post(change, months | shown | {"people": "-1", "password": factories.PASSWORD})
    assert (bad.status_code, SiteRetention.objects.count()) == (422, 0)
    saved = client.post(change, months | shown | {"password": factories.PASSWORD})
    assert saved.status_code == 302
    text = client.get(page).content.decode()
    assert person.employee_number in text
    assert "Ada Holm" not in text
    assert "Removed: it is" in text
    late = client.post(change, months | shown | {"password": factories.PASSWORD}, follow=True)
    assert late.redirect_chain == [(change, 302)]
    assert "Somebody has changed these rules since" in late.content.decode()
    assert late.context["form"]["shown_people"].value() == 12


def test_quality_reads_and_does_not_change(client):
    quality = factories.make_user("quality")
    page = reverse("operations:retention_site", args=(quality.person.site.prefix,))
    client.force_login(quality)
    assert client.get(reverse("operations:retention")).url == page
    opened = client.get(page)
    assert opened.status_code == 200
    change = reverse("operations:retention_change", args=(quality.person.site.prefix,))
    assert change not in opened.content.decode()
    assert client.post(change, {}).status_code == 404


def test_people_who_left_are_known_by_their_number_once_their_months_are_over():
    person = factories.make_person(full_name="Ada Holm", left_on=TODAY - 2 * YEAR)
    recent = factories.make_person(full_name="Bo Lund", left_on=TODAY - timedelta(days=30))
    keeps(people=12)
    assert run() == 1
    person.refresh_from_db()
    recent.refresh_from_db()
    assert (person.full_name, recent.full_name) == (person.employee_number, "Bo Lund")
    assert Person.objects.count() == 2
    assert run() == 0
    fits()


def test_one_that_is_refused_keeps_no_other_from_going(monkeypatch):
    people = [factories.make_person(left_on=TODAY - 2 * YEAR) for _ in range(2)]
    keeps(people=12)
    erase = retention.erase_person

    def refuses_the_first(*, person, **how):
        if person.pk == people[0].pk:
            raise PeopleError("-")
        return erase(person=person, **how)

    monkeypatch.setattr(retention, "erase_person", refuses_the_first)
    assert run() == 1
    names = Person.objects.filter(pk__in=[person.pk for person in people]).order_by("pk")
    assert [person.full_name == person.employee_number for person in names] == [False, True]


def test_rule_that_is_taken_back_meanwhile_removes_nothing(monkeypatch):
    person = factories.make_person(left_on=TODAY)
    examined(person, TODAY - 3 * YEAR)
    keeps(vision_tests=12)
    lock = retention.lock_person

    def changed_meanwhile(who):
        SiteRetention.objects.update(vision_tests=0)
        return lock(who)

    monkeypatch.setattr(retention, "lock_person", changed_meanwhile)
    assert run() == 0
    assert VisionTest.objects.exists()
    with transaction.atomic():
        trail.lock_trail()
