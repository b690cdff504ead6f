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


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="On PostgreSQL alone.")
def test_every_row_is_put_back_where_rows_were_added_changed_or_taken_away():
    changed, gone = factories.make_person(full_name="Signe"), factories.make_person()
    factories.make_certificate(changed)
    factories.write_down()
    everything = [list(model.objects.order_by("pk").values()) for model in (Person, TrailEntry)]
    assert all(everything)
    kept = kept_rows.Kept()

    for put_back in range(2):
        added = factories.make_certificate().person
        factories.write_down()
        Person.objects.filter(pk=changed.pk).update(full_name=f"Somebody else {put_back}")
        Person.objects.filter(pk=gone.pk).delete()
        kept.put_back()
        found = [list(model.objects.order_by("pk").values()) for model in (Person, TrailEntry)]
        assert found == everything
        assert factories.make_person().pk > added.pk
    empty(connection)
    kept.put_back()
    found = [list(model.objects.order_by("pk").values()) for model in (Person, TrailEntry)]
    assert found == everything
    with pytest.raises(IntegrityError, match="append-only"):
        TrailEntry.objects.update(actor_label="")
