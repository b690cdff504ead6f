"""Through how few files a judgement goes, from its address to its row."""

import sys
from pathlib import Path

import pytest
from django.conf import settings
from django.db.models.signals import pre_save
from django.urls import reverse

from assessments.models import Judgement
from assessments.urls import grading
from tests import factories

pytestmark = pytest.mark.django_db

PACKAGES = ("assessments", "certification", "people", "records", "training")
MIDDLEWARE = (
    "people/middleware/languages.py",
    "people/middleware/sign_ins.py",
    "people/middleware/tablets.py",
)
MOST_FILES = 10


@pytest.fixture
def files_entered():
    """The project's files whose functions are called from the view on until the row is written.

    Counted with the module of the address. Not counted: middleware, and what is read when the
    site starts.
    """
    entered = set()

    def note(frame, event, _argument):
        path = Path(frame.f_code.co_filename)
        if event == "call" and path.is_relative_to(settings.BASE_DIR):
            name = str(path.relative_to(settings.BASE_DIR))
            if name.startswith(PACKAGES) and name not in MIDDLEWARE:
                entered.add(name)

    def trace(view):
        def traced(*args, **kwargs):
            sys.setprofile(note)
            try:
                return view(*args, **kwargs)
            finally:
                sys.setprofile(None)

        return traced

    def stop(**_kwargs):
        sys.setprofile(None)

    pre_save.connect(stop, sender=Judgement)
    yield trace, entered
    pre_save.disconnect(stop, sender=Judgement)


@pytest.mark.parametrize("accept", ["application/json", "text/html"])
@pytest.mark.parametrize("graders", [1, 2])
def test_a_judgement_goes_through_ten_files_at_most(
    client, monkeypatch, files_entered, graders, accept
):
    trace, entered = files_entered
    [pattern] = [each for each in grading.urlpatterns if each.name == "board_judge"]
    monkeypatch.setattr(pattern, "callback", trace(pattern.callback))
    factories.make_criteria_set()
    board = factories.make_board(exercise=factories.make_exercise(graders=graders))
    photo = factories.make_photo(board)
    client.force_login(factories.make_user("instructor"))
    for position in ("E01", "E02"):  # The first begins the reading, the second goes on in it.
        entered.clear()
        client.post(
            reverse("assessments:board_judge", args=[board.number]),
            {
                "stage": "soldered",
                "joint": position,
                "criterion": "S-1",
                "outcome": "reject",
                "how": "photograph",
                "photo": photo.key,
                "note": "a nick",
            },
            headers={"Accept": accept},
        )
    assert Judgement.objects.count() == 2
    files = {"assessments/urls/grading.py", *entered}
    assert len(files) <= MOST_FILES, sorted(files)
    assert "assessments/services/judgements.py" in files
