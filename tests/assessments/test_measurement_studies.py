"""Measurement studies: laid out, marked blind, closed, withdrawn, and what a mark is good to."""

from datetime import timedelta
from math import sqrt

import numpy as np
import pytest
from django.db import DatabaseError, transaction

from assessments.domain.measurement_study import PIXEL_U, MarkSpread
from assessments.exceptions import AssessmentError
from assessments.models import (
    Board,
    Criterion,
    Judgement,
    Measurement,
    MeasurementStudy,
    StudyClosing,
    StudyReading,
    StudyReference,
    StudyWithdrawal,
)
from assessments.queries import measurement_studies as queries
from assessments.services import measurement_studies as services
from assessments.services import measuring
from assessments.services.measuring import least_mark_uncertainty_px
from people.models import Person, SiteRole
from records.models import TrailEntry
from records.queries.verification import verify_records
from tests import factories
from tests.factories import NOW, TODAY

pytestmark = pytest.mark.django_db

BOTTOM, TOP = (200.0, 500.0), (200.0, 100.0)
SHOWN = 800.0  # as wide as the photograph itself


@pytest.fixture
def site():
    return factories.make_site()


@pytest.fixture
def quality(site):
    return factories.make_user("quality", site=site)


@pytest.fixture
def graders(site):
    return [factories.make_user("instructor", site=site) for _ in range(2)]


@pytest.fixture
def photos(site):
    board = factories.make_board(factories.make_person(site))
    return [factories.make_photo(board, joint) for joint in board.joints.all() for _ in range(2)]


def make(site, photos, graders, actor, **fields):
    said = {"title": "Fill of cups", "quantity": "fill", "repeats": 3, **fields}
    return services.make_study(
        site=site, photos=photos, graders=graders, actor=actor, at=NOW, **said
    )


@pytest.fixture
def study(site, photos, graders, quality):
    return make(site, photos, graders, quality)


def test_whoever_has_left_marks_in_no_study(site, photos, graders, quality):
    Person.objects.filter(pk=graders[1].person_id).update(left_on=TODAY - timedelta(days=1))
    graders[1].refresh_from_db()

    with pytest.raises(AssessmentError, match="has left or cannot sign in"):
        make(site, photos, graders, quality)
    assert not MeasurementStudy.objects.exists()


def marks_at(percent, off=((0, 0), (0, 0), (0, 0))):
    level = (200.0, BOTTOM[1] - 4 * percent)
    names = ("bottom", "top", "level")
    return {
        name: [[x + dx, y + dy]]
        for name, (x, y), (dx, dy) in zip(names, (BOTTOM, TOP, level), off, strict=True)
    }


def read(study, user, marks, turn=None, shown=SHOWN):
    grader = study.graders.get(user=user)
    return services.keep_reading(
        study=study,
        grader=user,
        turn=grader.readings.count() if turn is None else turn,
        marks=marks,
        shown_width_px=shown,
        at=NOW,
    )


def mark_all(study, user, sigma, seed=1, shown=SHOWN, turns=1000):
    """Mark as a grader whose every coordinate is off by so much, at random.

    By how much hangs on the photograph and the repeat alone, and not on the order.
    """
    grader = study.graders.get(user=user)
    for _turn in range(turns):
        due = queries.next_turn(study, grader)
        if due is None:
            return
        place = due.study_photo.order
        repeat = due.study_photo.readings.filter(grader=grader).count()
        rng = np.random.default_rng((seed, place, repeat))
        off = sigma * rng.standard_normal((3, 2))
        read(study, user, marks_at(60 + 5 * place, off), shown=shown)


def close(study, actor, reason="All have marked."):
    return services.close_study(study=study, reason=reason, actor=actor, at=NOW)


# Laid out


def test_a_study_keeps_its_photographs_graders_and_scales(site, photos, graders, quality):
    photos[0].scale_px_per_mm, photos[0].scale_uncertainty, photos[0].scale_view = 40, 0.01, 0.02
    photos[0].save()
    study = make(site, photos[::-1], graders, quality)
    kept = queries.photos_of(study)
    assert [each.photo for each in kept] == photos[::-1]
    assert kept[-1].joint == photos[0].joint
    photos[0].scale_px_per_mm, photos[0].joint = 99, None
    photos[0].save()
    last = queries.photos_of(study)[-1]
    assert (last.photo.scale_px_per_mm, last.joint) == (40, kept[-1].joint)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        pytest.param({"quantity": "scale"}, "no scale", id="of a scale"),
        pytest.param({"graders": []}, "one grader or more", id="nobody marks"),
        pytest.param({"photos": slice(0, 2)}, "two joints", id="one joint"),
        pytest.param(
            {"photos": slice(0, None, 2), "repeats": 1}, "Nothing is repeated", id="not repeated"
        ),
        pytest.param({"repeats": 11}, "1 to 10 times", id="too often"),
        pytest.param({"quantity": "length", "unit": "mm"}, "no scale. Set", id="lengths unscaled"),
        pytest.param(
            {"quantity": "clearance", "unit": "D"}, "diameter is not known", id="no diameter"
        ),
    ],
)
def test_what_makes_no_study_is_refused(site, photos, graders, quality, change, says):
    chosen = photos[change.pop("photos", slice(None))]
    graders = change.pop("graders", graders)
    with pytest.raises(AssessmentError, match=says):
        make(site, chosen, graders, quality, **change)
    assert not MeasurementStudy.objects.exists()


def test_nobody_and_nothing_of_another_site_is_in_a_study(site, photos, graders, quality):
    there = factories.make_site("Aldergate", "AL")
    stranger = factories.make_user("instructor", site=there)
    with pytest.raises(AssessmentError, match="neither teaches nor audits"):
        make(site, photos, [*graders, stranger], quality)
    board = factories.make_board(factories.make_person(there))
    elsewhere = factories.make_photo(board, board.joints.first())
    with pytest.raises(AssessmentError, match="another site"):
        make(site, [*photos, elsewhere], graders, quality)


def test_a_photograph_of_no_single_joint_is_refused(site, photos, graders, quality):
    with pytest.raises(AssessmentError, match="no single joint"):
        make(site, [*photos, factories.make_photo(photos[0].board)], graders, quality)


def test_no_photograph_of_a_cancelled_board_is_offered_or_taken(
    client, site, photos, graders, quality
):
    board = photos[0].board
    client.force_login(quality)
    address = f"/measurement-studies/new/?boards={board.number}"
    assert photos[0].key in client.get(address).content.decode()
    Board.objects.filter(pk=board.pk).update(cancelled_at=factories.NOW)

    assert photos[0].key not in client.get(address).content.decode()
    with pytest.raises(AssessmentError, match=f"{board.number} was cancelled"):
        make(site, photos, graders, quality)
    assert not MeasurementStudy.objects.exists()


def test_a_title_stands_once_at_a_site(site, photos, graders, quality, study):
    with pytest.raises(AssessmentError, match="another title"):
        make(site, photos, graders, quality, title="FILL of cups")


# Marked


def test_each_grader_marks_every_photograph_as_often_as_asked(study, photos, graders):
    for user in graders:
        mark_all(study, user, 1.0)
        grader = study.graders.get(user=user)
        counts = [each.readings.filter(grader=grader).count() for each in queries.photos_of(study)]
        assert counts == [3] * len(photos)
        with pytest.raises(AssessmentError, match="marked all"):
            read(study, user, marks_at(50))


def test_a_turn_pressed_twice_is_kept_once(study, graders):
    first = read(study, graders[0], marks_at(50), turn=0)
    with pytest.raises(AssessmentError, match="kept already"):
        read(study, graders[0], marks_at(52), turn=0)
    assert StudyReading.objects.get() == first
    assert first.value == pytest.approx(50)


def test_who_was_not_asked_marks_nothing(study, quality):
    with pytest.raises(AssessmentError, match="not asked"):
        services.keep_reading(study=study, grader=quality, turn=0, marks=marks_at(50), at=NOW)


@pytest.mark.parametrize(
    ("marks", "says"),
    [
        ({"bottom": [BOTTOM], "top": [TOP], "level": []}, "still missing"),
        ({"bottom": [BOTTOM], "top": [BOTTOM], "level": [TOP]}, "same place"),
        ({"bottom": [BOTTOM], "top": [TOP], "level": [(9999, 1)]}, "outside the photograph"),
    ],
)
def test_marks_that_give_no_value_are_refused(study, graders, marks, says):
    with pytest.raises(AssessmentError, match=says):
        read(study, graders[0], marks)
    assert not StudyReading.objects.exists()


def test_a_study_judges_nothing_and_changes_no_photograph(study, graders, photos, quality):
    before = [(photo.scale_px_per_mm, photo.mark_uncertainty_px) for photo in photos]
    for user in graders:
        mark_all(study, user, 1.0)
    close(study, quality)
    for photo in photos:
        photo.refresh_from_db()
    assert [(photo.scale_px_per_mm, photo.mark_uncertainty_px) for photo in photos] == before
    assert not Measurement.objects.exists()
    assert not Judgement.objects.exists()


def test_the_scale_of_the_beginning_counts_to_the_end(site, photos, graders, quality):
    for photo in photos:
        photo.scale_px_per_mm, photo.scale_uncertainty, photo.scale_view = 40, 0.01, 0.0
        photo.save()
    study = make(site, photos, graders, quality, quantity="length", unit="mm")
    type(photos[0]).objects.update(scale_px_per_mm=80)
    kept = read(study, graders[0], {"ends": [[100, 100], [300, 100]]})
    assert kept.value == pytest.approx(5.0)


# Closed and withdrawn


def test_a_closed_study_takes_nothing_more(study, graders, quality):
    mark_all(study, graders[0], 1.0)
    close(study, quality)
    joint = study.photos.first().joint
    for act in (
        lambda: read(study, graders[1], marks_at(50)),
        lambda: close(study, quality),
        lambda: state(study, joint, quality),
    ):
        with pytest.raises(AssessmentError, match="closed and does not change"):
            act()
    grader, photo = study.graders.last(), study.photos.first()
    with pytest.raises(DatabaseError), transaction.atomic():
        StudyReading.objects.create(
            study_photo=photo, grader=grader, turn=0, marks={}, mark_uncertainty_px=1,
            pixel_px=1, value=1, standard_uncertainty=1, unit="percent",
        )  # fmt: skip
    with pytest.raises(DatabaseError), transaction.atomic():
        StudyReading.objects.update(value=1)


def test_a_study_without_readings_is_not_closed(study, quality):
    with pytest.raises(AssessmentError, match="Nothing has been marked"):
        close(study, quality)


def test_who_marks_neither_closes_nor_withdraws_nor_knows_the_reference(study, graders):
    SiteRole.objects.create(user=graders[0], site=study.site, role="quality")
    mark_all(study, graders[0], 1.0)
    with pytest.raises(AssessmentError, match="Ask a colleague"):
        close(study, graders[0])
    with pytest.raises(AssessmentError, match="Ask a colleague"):
        services.withdraw_study(study=study, reason="Bad.", actor=graders[0], at=NOW)
    with pytest.raises(AssessmentError, match="states no reference"):
        state(study, study.photos.first().joint, graders[0])


def state(study, joint, actor, value=60.0, expanded=1.0):
    return services.state_reference(
        study=study, joint=joint, value=value, expanded_uncertainty=expanded,
        source="Section", actor=actor, at=NOW,
    )  # fmt: skip


def test_the_latest_reference_counts_against_what_was_read(study, graders, quality):
    first, *_others = queries.photos_of(study)
    for value in (10.0, 64.0):
        state(study, first.joint, quality, value, expanded=2.0)
    mark_all(study, graders[0], 0.0)
    close(study, quality)
    (zeta,) = queries.result_of(study).zetas
    assert zeta.value == pytest.approx(62.5)  # Its two photographs were drawn at 60 and 65.
    u = zeta.u
    assert zeta.zeta == pytest.approx((62.5 - 64) / sqrt(u**2 + 1))


@pytest.mark.parametrize("expanded", [0.0, -1.0, float("nan")])
def test_no_reference_is_exact(study, quality, expanded):
    with pytest.raises(AssessmentError, match="nothing is exact"):
        state(study, study.photos.first().joint, quality, expanded=expanded)
    assert not StudyReference.objects.exists()


def test_a_reference_is_of_a_joint_in_the_study(study, quality):
    board = factories.make_board(factories.make_person(study.site))
    with pytest.raises(AssessmentError, match="not in this study"):
        state(study, board.joints.first(), quality)


# What came of it


def test_a_study_tells_the_joints_the_graders_and_the_marking_apart(study, graders, quality):
    for n, user in enumerate(graders):
        mark_all(study, user, 1.0, seed=n)
    close(study, quality)
    result = queries.result_of(study)
    assert (len(result.readings), result.expected) == (
        len(graders) * len(study.photos.all()) * 3,
    ) * 2
    again = result.marked_again
    joints = {each.joint_id for each in study.photos.all()}
    assert again.table.values.shape == (len(joints), 2, 3)
    assert again.variances.part > 3 * again.variances.gauge
    assert again.ranges.gauge == pytest.approx(again.variances.gauge, rel=0.5)
    photographed = result.photographed_again
    # Each joint's second photograph was drawn 5 % fuller, which is no marking.
    assert photographed.table.values.shape == (len(joints), 2, 2)
    assert photographed.variances.repeatability == pytest.approx(5 / sqrt(2), rel=0.25)
    assert [each.readings for each in result.joints] == [12] * len(joints)


def test_the_spread_of_a_mark_is_found_again_for_each_grader(study, graders, quality):
    for user, sigma in zip(graders, (0.5, 3.0), strict=True):
        mark_all(study, user, sigma, seed=7)
    close(study, quality)
    careful, careless = (each.spread for each in queries.result_of(study).graders)
    assert careful.freedom == 2 * study.photos.count()
    assert careful.sigma_px == pytest.approx(0.5, rel=0.5)
    assert careless.sigma_px == pytest.approx(6 * careful.sigma_px, rel=1e-2)
    assert careful.pixel_px == 1


def test_readings_with_gaps_are_taken_as_far_as_they_have_none(study, graders, quality):
    mark_all(study, graders[0], 1.0)
    mark_all(study, graders[1], 1.0, turns=3)
    close(study, quality, "The second grader fell ill.")
    result = queries.result_of(study)
    assert result.marked_again.variances.graders == 1
    assert result.marked_again.table.left_out == 3 - sum(
        reading.study_photo.order % 2
        for reading in result.readings
        if reading.grader.user == graders[1]
    )


# What may be stated of a mark


@pytest.fixture
def photo(site):
    return factories.make_photo(factories.make_board(factories.make_person(site)))


def spread_of(user, site):
    return queries.studied_spread(user, site)


def test_without_a_study_a_mark_is_a_pixel_as_shown(photo, graders, study):
    mark_all(study, graders[0], 0.3)
    for user in (None, *graders):  # Open studies show nothing yet.
        assert least_mark_uncertainty_px(photo, SHOWN, user) == 1
        assert least_mark_uncertainty_px(photo, 400, user) == 2


def test_a_closed_study_lets_a_grader_state_its_upper_bound_and_no_less(
    photo, graders, study, quality
):
    mark_all(study, graders[0], 0.4)
    close(study, quality)
    spread = spread_of(graders[0], study.site)
    least = least_mark_uncertainty_px(photo, SHOWN, graders[0])
    assert least == spread.upper_px
    assert spread.sigma_px < least < 1
    assert least_mark_uncertainty_px(photo, SHOWN, graders[1]) == 1
    for stated, counts in ((0.05, least), (None, least), (0.9, 0.9)):
        kept = measuring.keep_measurement(
            photo=photo, quantity="fill", marks=marks_at(50),
            options=measuring.options_for(joint=None, criterion=None),
            mark_uncertainty_px=stated, shown_width_px=SHOWN, actor=graders[0], at=NOW,
        )  # fmt: skip
        assert kept.mark_uncertainty_px == counts
        assert kept.options["studied_px"] == least  # So that it is seen what it rests on.


def test_what_a_study_shows_holds_as_close_as_it_was_marked(photo, graders, study, quality):
    mark_all(study, graders[0], 0.4)
    close(study, quality)
    assert least_mark_uncertainty_px(photo, SHOWN, graders[0]) < 1
    assert least_mark_uncertainty_px(photo, SHOWN / 2, graders[0]) == 2
    assert least_mark_uncertainty_px(photo, None, graders[0]) < 1  # 800 pixels are taken then.


def test_a_study_that_shows_more_than_a_pixel_leaves_the_usual(photo, graders, study, quality):
    mark_all(study, graders[0], 4.0)
    close(study, quality)
    assert spread_of(graders[0], study.site).sigma_px > 2
    assert least_mark_uncertainty_px(photo, SHOWN, graders[0]) == 1


def test_a_few_lucky_repeats_prove_little(site, photos, graders, quality, photo):
    study = make(site, [photos[0], photos[2]], graders, quality, repeats=2)
    mark_all(study, graders[0], 0.8, turns=3)
    close(study, quality)
    spread = spread_of(graders[0], site)
    assert spread.freedom == 1
    assert spread.upper_px > 15 * spread.sigma_px or spread.upper_px == PIXEL_U


def test_a_study_of_another_site_or_a_withdrawn_one_shows_nothing(photo, graders, study, quality):
    mark_all(study, graders[0], 0.4)
    close(study, quality)
    there = factories.make_photo(
        factories.make_board(factories.make_person(factories.make_site("Aldergate", "AL")))
    )
    assert least_mark_uncertainty_px(there, SHOWN, graders[0]) == 1
    services.withdraw_study(study=study, reason="Wrong lens.", actor=quality, at=NOW)
    assert least_mark_uncertainty_px(photo, SHOWN, graders[0]) == 1
    assert study.closing.spreads  # It is kept to be read.
    with pytest.raises(AssessmentError, match="withdrawn already"):
        services.withdraw_study(study=study, reason="Twice.", actor=quality, at=NOW)


def test_daily_repeats_that_scatter_more_speak_against_a_study(photo, graders, study, quality):
    mark_all(study, graders[0], 0.4)
    close(study, quality)
    factories.make_criteria_set(
        {"code": "F", "how": "measured", "quantity": "fill", "unit": "percent", "low": 75}
    )
    criterion = Criterion.objects.get(code="F")
    for n in range(12):
        level = marks_at(60 + (n % 2) * 4)
        kept = measuring.keep_measurement(
            photo=photo, quantity="fill", marks=level | {"top": [[200.0 + n / 9, 100.0]]},
            options=measuring.options_for(joint=None, criterion=criterion),
            mark_uncertainty_px=None, shown_width_px=SHOWN, actor=graders[0], at=NOW,
            criterion=criterion,
        )  # fmt: skip
        if n < 10:
            assert kept.mark_uncertainty_px < 1
    assert kept.mark_uncertainty_px > 2


def test_all_studies_that_stand_count_together(site, photos, graders, quality, photo):
    found = []
    for n, sigma in enumerate((0.2, 0.9)):
        study = make(site, photos, graders, quality, title=f"Study {n}")
        mark_all(study, graders[0], sigma, seed=n)
        close(study, quality)
        (row,) = StudyClosing.objects.get(study=study).spreads
        found.append(MarkSpread(row["squares"], row["freedom"], row["pixel_px"]))
    both = spread_of(graders[0], site)
    assert both == found[0].with_others(found[1:])
    assert found[0].upper_px < both.upper_px


# Kept


def test_everything_of_a_study_is_in_the_trail_fits_it_and_stays(study, graders, quality):
    state(study, study.photos.first().joint, quality)
    mark_all(study, graders[0], 1.0, turns=4)
    close(study, quality)
    services.withdraw_study(study=study, reason="Wrong lens.", actor=quality, at=NOW)
    acts = list(TrailEntry.objects.values_list("act", flat=True))
    assert acts.count("marked in a measurement study") == 4
    assert {
        "measurement study made",
        "reference value of a measurement study stated",
        "measurement study closed",
        "measurement study withdrawn",
    } <= set(acts)
    for rows in (
        MeasurementStudy, StudyReading, StudyReference, StudyClosing, StudyWithdrawal,
        study.photos.model, study.graders.model,
    ):  # fmt: skip
        with pytest.raises(DatabaseError), transaction.atomic():
            rows.objects.all().delete()
    said = [str(fault) for fault in verify_records().faults]
    assert [fault for fault in said if "study" in fault] == []
