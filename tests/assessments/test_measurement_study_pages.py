"""The pages of measurement studies: laid out, marked blind, closed, and read by whom."""

import csv
import io
import re

import pytest
from django.urls import reverse

from assessments.models import MeasurementStudy, StudyReading
from assessments.presenters.measurement_studies import mark_says
from assessments.queries import measurement_studies as queries
from assessments.services import measurement_studies as services
from assessments.services import measuring
from people.models import SiteRole
from tests import factories
from tests.assessments.test_measurement_studies import (
    close,
    make,
    mark_all,
    marks_at,
    read,
    state,
)
from tests.factories import NOW, TODAY

pytestmark = pytest.mark.django_db


@pytest.fixture
def site():
    return factories.make_site()


@pytest.fixture
def quality(site):
    return factories.make_user("quality", site=site)


@pytest.fixture
def graders(site):
    names = ("Rosalind Hale", "Ivo Marek")
    people = [factories.make_person(site, full_name=name) for name in names]
    return [factories.make_user("instructor", site=site, person=one) for one in people]


@pytest.fixture
def photos(site):
    board = factories.make_board(factories.make_person(site))
    return [factories.make_photo(board, joint) for joint in board.joints.all() for _ in range(2)]


@pytest.fixture
def study(site, photos, graders, quality):
    return make(site, photos, graders, quality)


def url(name, study):
    return reverse(f"assessments:{name}", args=[study.pk])


def text_of(response):
    return re.sub(r"\s+", " ", response.content.decode())


def sent(study, turn, percent=50.0, **more):
    marks = marks_at(percent)
    data = {"quantity": "fill", "turn": turn, "shown_width_px": "800"}
    for name, [(x, y)] in marks.items():
        data |= {f"{name}_x": x, f"{name}_y": y}
    return data | more


# Laid out


def test_a_study_is_laid_out_by_its_page(client, site, photos, graders, quality):
    client.force_login(quality)
    page = client.get(reverse("assessments:study_new"), {"boards": photos[0].board.number.lower()})
    assert all(photo.key in page.content.decode() for photo in photos)
    data = {
        "site": site.pk,
        "title": "Cups in spring",
        "quantity": "fill",
        "repeats": "2",
        "photos": [photo.key for photo in photos],
        "graders": [user.pk for user in graders],
    }
    answer = client.post(reverse("assessments:study_new"), data, follow=True)
    study = MeasurementStudy.objects.get()
    assert "Cups in spring" in text_of(answer)
    assert [each.photo for each in queries.photos_of(study)] == photos
    assert {one.user for one in study.graders.all()} == set(graders)


def test_what_was_ticked_stays_ticked_beside_the_refusal(client, site, photos, graders, quality):
    client.force_login(quality)
    data = {"site": site.pk, "title": "X", "quantity": "fill", "repeats": "2"}
    data |= {"photos": [photos[0].key], "graders": [graders[0].pk]}
    answer = client.post(reverse("assessments:study_new"), data)
    assert answer.status_code == 422
    assert "two joints or more" in text_of(answer)
    assert f'value="{photos[0].key}" checked' in text_of(answer)
    assert not MeasurementStudy.objects.exists()


def test_no_photograph_of_another_site_is_offered_or_taken(client, site, photos, graders, quality):
    there = factories.make_site("Aldergate", "AL")
    board = factories.make_board(factories.make_person(there))
    elsewhere = factories.make_photo(board, board.joints.first())
    client.force_login(quality)
    assert elsewhere.key not in text_of(client.get(reverse("assessments:study_new")))
    data = {"site": site.pk, "title": "X", "quantity": "fill", "repeats": "2"}
    data |= {"photos": [photos[0].key, elsewhere.key], "graders": [graders[0].pk]}
    answer = client.post(reverse("assessments:study_new"), data)
    assert answer.status_code == 422
    assert "Choose again" in text_of(answer)


# Marked


def test_a_grader_sees_no_earlier_mark_and_no_value(client, study, graders):
    grader = graders[0]
    client.force_login(grader)
    for turn in range(study.photos.count()):
        assert client.post(url("study_mark", study), sent(study, turn, 41.7)).status_code == 302
    due = queries.next_turn(study, study.graders.get(user=grader))
    measuring.keep_measurement(
        photo=due.study_photo.photo, quantity="fill", marks=marks_at(73.25),
        options=measuring.options_for(joint=due.study_photo.joint, criterion=None),
        mark_uncertainty_px=None, actor=grader, at=NOW, joint=due.study_photo.joint,
    )  # fmt: skip
    page = text_of(client.get(url("study_mark", study)))
    for told in ("41.7", "73.25", "333.2", "207"):  # Values, and the y of their levels.
        assert told not in page
    assert "7 of 18" in page


def test_marks_are_kept_by_script_and_lead_to_the_next(client, study, graders):
    client.force_login(graders[0])
    address = url("study_mark", study)
    accept = {"HTTP_ACCEPT": "application/json"}
    answer = client.post(address, sent(study, 0), **accept)
    assert answer.json() == {"saved": True, "go": address}
    again = client.post(address, sent(study, 0), **accept)
    assert (again.status_code, again.json()["saved"]) == (422, False)
    assert "kept already" in again.json()["says"]
    assert StudyReading.objects.get().value == pytest.approx(50)


def test_marks_refused_stand_there_again(client, study, graders):
    client.force_login(graders[0])
    data = sent(study, 0) | {"level_x": "", "level_y": ""}
    answer = client.post(url("study_mark", study), data)
    assert answer.status_code == 422
    assert "still missing" in text_of(answer)
    assert 'value="500.0"' in text_of(answer)


@pytest.mark.parametrize("change", [{"quantity": "wrap"}, {"turn": "x"}, {"turn": "7"}])
def test_a_page_that_does_not_fit_the_study_keeps_nothing(client, study, graders, change):
    client.force_login(graders[0])
    assert client.post(url("study_mark", study), sent(study, 0) | change).status_code == 422
    assert not StudyReading.objects.exists()


def test_after_the_last_photograph_there_is_nothing_to_mark(client, study, graders):
    mark_all(study, graders[0], 1.0, turns=17)
    client.force_login(graders[0])
    answer = client.post(url("study_mark", study), sent(study, 17), follow=True)
    assert "the last photograph" in text_of(answer)
    answer = client.get(url("study_mark", study), follow=True)
    assert "nothing left for you" in text_of(answer)


def test_who_was_not_asked_or_lost_the_role_marks_nothing(client, study, graders, quality):
    client.force_login(quality)
    assert client.get(url("study_mark", study)).status_code == 404
    SiteRole.objects.filter(user=graders[0]).delete()
    client.force_login(graders[0])
    assert client.get(url("study_mark", study)).status_code == 404
    assert client.post(url("study_mark", study), sent(study, 0)).status_code == 404


# Closed and read


def test_nobody_sees_a_reading_of_an_open_study(client, study, graders, quality):
    for user in graders:
        mark_all(study, user, 0.0, turns=1)
    value = StudyReading.objects.first().value
    for user in (quality, *graders):
        client.force_login(user)
        page = text_of(client.get(url("study_detail", study)))
        assert f"{value:.1f}" not in page
        assert "What it means" not in page
        assert "1 of 18" in page
        answer = client.get(url("study_csv", study), follow=True)
        assert "once the study is closed" in text_of(answer)


def test_the_page_says_first_what_a_study_means(client, study, graders, quality):
    for n, user in enumerate(graders):
        mark_all(study, user, 0.4, seed=n)
    state(study, study.photos.first().joint, quality, 62.0)
    client.force_login(quality)
    answer = client.post(url("study_close", study), {"close-reason": "All marked."}, follow=True)
    page = text_of(answer)
    assert "A mark of Rosalind Hale is good to 0." in page
    assert "they may state 0." in page
    for heading in (
        "What it means", "Marked again on the same photograph", "Photographed again",
        "By grader", "By joint", "Against reference values",
    ):  # fmt: skip
        assert page.count(f">{heading}</h2>") == 1, heading
    assert page.index("What it means</h2>") < page.index("photograph</h2>")
    assert page.count('class="life-picture study-bars is-narrow"') == 2
    client.force_login(graders[0])
    assert "A mark of yours is good to 0." in text_of(client.get(url("study_detail", study)))


def test_shares_in_the_table_are_those_of_the_picture(client, study, graders, quality):
    for n, user in enumerate(graders):
        mark_all(study, user, 1.0, seed=n)
    close(study, quality)
    gauge = queries.result_of(study).marked_again.variances
    share = f"{100 * gauge.share(gauge.part):.1f}\u00a0%"
    client.force_login(quality)
    page = client.get(url("study_detail", study)).content.decode()
    assert f">{share}</text>" in page
    assert f"<td>{share}</td>" in page


def test_a_grader_without_the_role_reads_their_own_alone(client, study, graders, quality):
    for n, user in enumerate(graders):
        mark_all(study, user, 1.0, seed=n, turns=4)
    first, second = graders
    SiteRole.objects.filter(user=first).delete()
    client.force_login(first)
    assert client.get(url("study_detail", study)).status_code == 404  # Open still.
    close(study, quality)
    page = text_of(client.get(url("study_detail", study)))
    assert str(first) in page
    assert str(second) not in page
    answer = client.get(url("study_csv", study))
    rows = list(csv.DictReader(io.StringIO(answer.getvalue().decode("utf-8-sig"))))
    assert {row["grader"] for row in rows} == {str(first)}
    assert len(rows) == 4


def test_the_file_holds_every_reading_and_no_formula(client, site, photos, graders, quality):
    study = make(site, photos, graders, quality, title="=1+1")
    mark_all(study, graders[0], 1.0)
    close(study, quality)
    client.force_login(quality)
    answer = client.get(url("study_csv", study))
    rows = list(csv.DictReader(io.StringIO(answer.getvalue().decode("utf-8-sig"))))
    kept = queries.readings_of(study)
    assert [float(row["value"]) for row in rows] == [one.value for one in kept]
    assert {row["study"] for row in rows} == {"'=1+1"}
    assert rows[0]["photograph_sha256"] == kept[0].study_photo.photo.sha256


def test_an_instructor_neither_closes_nor_withdraws(client, study, site):
    client.force_login(factories.make_user("instructor", site=site))
    for name, field in (("study_close", "close"), ("study_withdraw", "withdraw")):
        answer = client.post(url(name, study), {f"{field}-reason": "X"})
        assert answer.status_code == 404


def test_what_cannot_be_closed_says_why(client, study, quality, graders):
    client.force_login(quality)
    answer = client.post(url("study_close", study), {"close-reason": "Done."})
    assert answer.status_code == 422
    assert "Nothing has been marked" in text_of(answer)
    assert client.post(url("study_close", study), {}).status_code == 422
    read(study, graders[0], marks_at(50))
    close(study, quality)
    answer = client.post(url("study_close", study), {"close-reason": "Again."})
    assert answer.status_code == 422
    assert "closed and does not change" in text_of(answer)


def test_a_study_is_withdrawn_by_its_page_and_read_on(client, study, quality, graders):
    mark_all(study, graders[0], 0.3)
    close(study, quality)
    client.force_login(quality)
    answer = client.post(
        url("study_withdraw", study), {"withdraw-reason": "Wrong lens."}, follow=True
    )
    page = text_of(answer)
    assert "nothing rests on it" in page
    assert "Wrong lens." in page
    assert "What it means" in page
    assert "may state" not in page
    assert "withdrawn" in text_of(client.get(reverse("assessments:study_list")))


def test_a_reference_is_stated_with_a_comma_and_kept_from_graders(client, study, quality, graders):
    joint = study.photos.first().joint
    client.force_login(quality)
    data = {
        "joint": joint.pk,
        "value": "61.5",
        "expanded_uncertainty": "0.8",
        "source": "Section 7",
    }
    answer = client.post(url("study_reference", study), data, follow=True)
    assert "Section 7" in text_of(answer)
    refused = client.post(url("study_reference", study), data | {"expanded_uncertainty": "0"})
    assert refused.status_code == 422
    assert "nothing is exact" in text_of(refused)
    client.force_login(graders[0])
    page = text_of(client.get(url("study_detail", study)))
    assert "Section 7" not in page
    refused = client.post(url("study_reference", study), data)
    assert refused.status_code == 422
    assert "states no reference" in text_of(refused)


def test_the_list_asks_whoever_is_to_mark(client, study, quality, graders):
    client.force_login(quality)
    assert "asked to mark" not in text_of(client.get(reverse("assessments:study_list")))
    client.force_login(graders[0])
    page = text_of(client.get(reverse("assessments:study_list")))
    assert "asked to mark in “Fill of cups”" in page
    assert url("study_mark", study) in page


def test_the_list_reads_as_much_for_many_studies_as_for_one(
    client, site, photos, graders, quality, django_assert_max_num_queries
):
    client.force_login(quality)
    for n in range(6):
        make(site, photos, graders, quality, title=f"Study {n}")
    with django_assert_max_num_queries(20):
        answer = client.get(reverse("assessments:study_list"))
    assert all(f"Study {n}" in answer.text for n in range(6))


def test_the_measuring_page_counts_with_what_a_study_bears_out(client, study, graders, quality):
    mark_all(study, graders[0], 0.4)
    close(study, quality)
    spread = queries.studied_spread(graders[0], study.site)
    address = reverse("assessments:photo_measure", args=[study.photos.first().photo.key])
    client.force_login(graders[0])
    page = client.get(address)
    told = page.context["screen"].told["studied"]
    assert told == {"upper_px": spread.upper_px, "pixel_px": spread.pixel_px}
    assert "A measurement study bears out" in text_of(page)
    client.force_login(graders[1])
    assert client.get(address).context["screen"].told["studied"] is None


def test_a_bound_is_shown_no_smaller_than_it_is(study, graders, quality):
    mark_all(study, graders[0], 0.4)
    close(study, quality)
    spread = queries.studied_spread(graders[0], study.site)
    says = mark_says("R. Hale", spread, spread, own=True, day=TODAY)
    shown = float(re.search(r"you may state ([\d.]+)", says)[1])
    assert spread.upper_px <= shown < spread.upper_px + 0.01


def test_services_take_the_unit_that_a_quantity_has(site, photos, graders, quality):
    study = make(site, photos, graders, quality, unit="mm")
    assert study.unit == ""
    with pytest.raises(services.AssessmentError, match="Say in what it is read"):
        make(site, photos, graders, quality, title="Y", quantity="clearance")
