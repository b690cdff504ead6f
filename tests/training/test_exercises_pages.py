"""Everyone who signs in reads exercises: all it takes to make one."""

import re

import pytest
from django.urls import reverse

from tests.factories import NOW, load_published_content, make_exercise, make_user
from training.models import Exercise

pytestmark = pytest.mark.django_db

LIST = reverse("training:exercise_list")


def page_of(code):
    return reverse("training:exercise_detail", args=[code])


@pytest.fixture
def operator(client):
    user = make_user()
    client.force_login(user)
    return user


@pytest.fixture
def loaded():
    load_published_content()


def test_whoever_is_not_signed_in_is_asked_to(client):
    for url in (LIST, page_of("EX-WIRE")):
        assert client.get(url).url == f"{reverse('account_login')}?next={url}"


def test_the_list_shows_what_is_in_use(client, operator, loaded):
    Exercise.objects.filter(code="EX-HOOK").update(retired_at=NOW)

    page = client.get(LIST).content.decode()

    assert "Strip and tin" in page
    assert "Hook terminal" not in page


def test_an_empty_list_says_what_to_do(client, operator):
    assert (
        "An administrator adds the exercises that come along" in client.get(LIST).content.decode()
    )


@pytest.mark.parametrize("code", ["EX-WIRE", "EX-TUR-1", "EX-MIX"])
def test_an_exercise_gives_all_it_takes(client, operator, loaded, code):
    exercise = Exercise.objects.get(code=code)

    page = client.get(page_of(code)).content.decode()

    assert 'class="drawing"' in page
    assert "is-missing" not in page
    assert "AWG 22" in page
    assert "approximate and from memory" in page
    for step in exercise.steps.all():
        assert step.source.replace("&", "&amp;").replace("'", "&#x27;") in page
    assert "Flux fume" in page
    assert "does not replace them" in page.split("Flux fume")[1].split("</section>")[0]
    assert "Temperature-controlled iron" in page
    assert reverse("assessments:exercise_criteria", args=[code]) in page


def test_positions_made_alike_stand_in_one_line(client, operator, loaded):
    page = client.get(page_of("EX-MIX")).content.decode()

    for line in ("E01 to E08", "E09 to E14", "E15 to E20"):
        assert line in page
    assert not re.search(r"\bE02\b(?![+/=\w])", page.split("</h1>", 1)[1])


def test_an_exercise_that_is_not_there_is_unknown(client, operator, loaded):
    assert client.get(page_of("EX-NONE")).status_code == 404
    assert client.get(page_of("EX-WIRE"), {"revision": "7"}).status_code == 404
    assert client.get(page_of("EX-WIRE"), {"revision": "x"}).status_code == 404


def test_the_newest_revision_in_use_is_shown_and_older_ones_on_request(client, operator):
    make_exercise(code="EX-A", revision=1, title="As it was", retired_at=NOW)
    make_exercise(code="EX-A", revision=2, title="As it is")

    assert "<h1>As it is</h1>" in client.get(page_of("EX-A")).content.decode()
    older = client.get(page_of("EX-A"), {"revision": "1"}).content.decode()
    assert "<h1>As it was</h1>" in older
    assert "Out of use." in older


def test_boards_are_made_from_the_page_by_instructors(client, operator, loaded):
    link = f"{reverse('assessments:board_new')}?exercise=EX-WIRE"
    assert link not in client.get(page_of("EX-WIRE")).content.decode()

    client.force_login(make_user("instructor"))
    assert link in client.get(page_of("EX-WIRE")).content.decode()


def test_exercises_take_no_post(client, operator, loaded):
    assert client.post(LIST).status_code == 405
    assert client.post(page_of("EX-WIRE")).status_code == 405


def test_an_exercise_names_its_alloy_and_closes_each_caution(client, operator, loaded):
    page = client.get(page_of("EX-TUR-1-LF")).content.decode()

    assert "Sn96.5Ag3Cu0.5" in page
    assert "If somebody is burnt" in page
    assert "licensed medical advice come first" in page
    assert "New and expectant mothers" not in page
    plain = client.get(page_of("EX-TUR-1")).content.decode()
    assert "New and expectant mothers" in plain
    assert "Sn96.5Ag3Cu0.5" not in plain
