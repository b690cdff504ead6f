"""A measurement study in a real browser: laid out, marked blind with the mouse, closed, read."""

import io

import pytest

from assessments.models import MeasurementStudy, StudyReading
from assessments.queries import measurement_studies as queries
from assessments.services import measurement_studies as services
from assessments.services import measuring, photos
from demo.drawn import draw_joint
from tests import factories
from tests.browser.test_measuring_page import AT
from training.models import Exercise

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

OFF = [(0, 0), (1, 0), (-1, 1), (0, -1)]  # pixels by which the marks of each turn are off


@pytest.fixture
def study(shop, live_server):
    exercise = Exercise.objects.current().filter(positions__joint_type="turret").first()
    board = factories.make_board(shop.trainee.person, exercise)
    taken = []
    for seed, joint in zip((5, 6), board.joints.order_by("position__order")[:2], strict=True):
        drawn = draw_joint("turret", seed=seed, view="top")
        file = io.BytesIO()
        drawn.image.save(file, "JPEG", quality=85)
        file.seek(0)
        photo = photos.add_photo(
            board=board, joint=joint, file=file, name=f"{seed}.jpg", actor=shop.instructor,
            at=factories.NOW,
        )  # fmt: skip
        taken.append((photo, drawn.truth))
    study = services.make_study(
        site=board.site, title="Wraps", quantity="wrap", photos=[photo for photo, _t in taken],
        graders=[shop.instructor], repeats=2, actor=shop.quality, at=factories.NOW,
    )  # fmt: skip
    return study, {photo.pk: truth for photo, truth in taken}


def set_marks(page, truth, off):
    if truth["wrap_direction"] == "anticlockwise":
        page.check("[name=winding][value=anticlockwise]")
    page.check("[name=next][value=centre]")
    for name in ("wrap_centre", "contact_start", "contact_end"):
        x, y = truth[f"{name}_px"]
        page.mouse.click(*page.evaluate(AT, [x + off[0], y + off[1]]))


def test_a_study_is_marked_blind_and_says_what_a_mark_is_good_to(shop, visitor, study):
    study, truths = study
    grader = study.graders.get()
    visit = visitor()
    visit.sign_in(shop.instructor.person.employee_number)
    visit.go("/measurement-studies/")
    visit.audit()
    with visit.page.expect_navigation():
        visit.page.click("text=Go on marking")
    for off in OFF:
        visit.page.wait_for_selector(".view-tools:not([hidden])")
        due = queries.next_turn(study, grader)
        assert visit.page.locator("#marks .mark").count() == 0
        set_marks(visit.page, truths[due.study_photo.photo_id], off)
        assert not visit.page.locator("#live-value").is_visible()
        live = float(visit.page.locator("#live-value").get_attribute("data-value"))
        visit.audit()
        with visit.page.expect_navigation():
            visit.page.click("#keep")
        kept = StudyReading.objects.latest("pk")
        assert kept.value == pytest.approx(live, rel=1e-6)
        assert kept.value == pytest.approx(truths[due.study_photo.photo_id]["wrap_deg"], abs=6)
    services.close_study(study=study, reason="All.", actor=shop.quality, at=factories.NOW)
    visit.go(f"/measurement-studies/{study.pk}/")
    assert "A mark of yours" in visit.page.inner_text(".means")
    visit.audit()
    assert MeasurementStudy.objects.standing().get() == study


def test_what_a_study_bears_out_counts_on_the_measuring_page_as_it_is_kept(shop, visitor, study):
    study, truths = study
    grader = study.graders.get()
    for off in OFF:
        due = queries.next_turn(study, grader)
        truth = truths[due.study_photo.photo_id]
        marks = {
            kind: [[truth[f"{name}_px"][0] + off[0] / 20, truth[f"{name}_px"][1] + off[1] / 20]]
            for kind, name in (
                ("centre", "wrap_centre"), ("start", "contact_start"), ("end", "contact_end")
            )
        }  # fmt: skip
        services.keep_reading(
            study=study, grader=shop.instructor, turn=due.number, marks=marks,
            winding=truth["wrap_direction"], shown_width_px=400, at=factories.NOW,
        )  # fmt: skip
    services.close_study(study=study, reason="All.", actor=shop.quality, at=factories.NOW)
    photo, truth = study.photos.first().photo, truths[study.photos.first().photo_id]
    visit = visitor()
    visit.sign_in(shop.instructor.person.employee_number)
    visit.go(f"/photos/{photo.key}/measure/?quantity=wrap")
    visit.page.wait_for_selector(".view-tools:not([hidden])")
    set_marks(visit.page, truth, (0, 0))
    live = float(visit.page.locator("#live-value").get_attribute("data-u"))
    with visit.page.expect_navigation():
        visit.page.click("#keep")
    kept = photo.measurements.get()
    least = measuring.least_mark_uncertainty_px(
        photo, kept.options["shown_width_px"], shop.instructor
    )
    usual = measuring.least_mark_uncertainty_px(photo, kept.options["shown_width_px"])
    assert kept.mark_uncertainty_px == pytest.approx(least)
    assert least < usual
    assert live == pytest.approx(kept.standard_uncertainty, rel=1e-6)
