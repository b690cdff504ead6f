"""What is put back for a test is what was made for the one before."""

import pytest
from django.db import IntegrityError, connection

from people.models import Person
from records.models import TrailEntry
from tests import factories, kept_rows
from tests.conftest import empty


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "sqlite", reason="Rows are kept on SQLite alone.")
def test_rows_are_put_back_as_they_were_and_keys_go_on(monkeypatch):
    monkeypatch.setattr(kept_rows, "_kept", {})

    def make() -> list[Person]:
        factories.load_published_content()
        return [factories.make_person(full_name="Signe Aldous")]

    (made,) = kept_rows.made_once("somebody", make)
    rows = kept_rows._rows()
    assert len(rows) > 10
    later = factories.make_person()
    empty(connection)
    (again,) = kept_rows.made_once("somebody", lambda: pytest.fail("is made a second time"))
    assert kept_rows._rows() == rows
    assert (again, again.full_name) == (made, "Signe Aldous")
    assert factories.make_person().pk > later.pk
    empty(connection)
    other = factories.make_person()
    assert kept_rows.made_once("somebody", lambda: [other]) == [other]
    empty(connection)
    kept_rows.made_once("somebody", make)
    with pytest.raises(IntegrityError, match="append-only"):
        TrailEntry.objects.update(actor_label="")
