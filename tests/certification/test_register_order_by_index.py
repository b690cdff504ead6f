"""A page of the register is read in its order, not sorted out of everybody."""

import pytest
from django.db import connection

from certification.presenters import register
from people.models import Person
from tests.factories import TODAY, make_site, make_user

pytestmark = [pytest.mark.django_db, pytest.mark.each_database]


@pytest.mark.parametrize(
    ("filters", "index"),
    [
        pytest.param({}, "person_by_name", id="by name"),
        pytest.param(
            {"order": "site"},
            "person_by_site_and_name",
            id="by site",
            # The order begins with the site's name, from another table, which PostgreSQL sorts by.
            marks=pytest.mark.skipif("connection.vendor == 'postgresql'", reason="SQLite only"),
        ),
        pytest.param({"site": True}, "person_by_site_and_name", id="one site, by name"),
    ],
)
def test_index_gives_the_order(filters, index):
    quality, site = make_user("quality"), make_site()
    there = make_site("Aldergate", "AL")
    Person.objects.bulk_create(
        Person(
            employee_number=f"N{number}",
            full_name=f"Person {number * 7919 % 1000}",
            site=there if number % 4 else site,
        )
        for number in range(1000)
    )
    question = register.RegisterFilters(
        day=TODAY,
        order=filters.get("order", "name"),
        site_id=site.pk if filters.get("site") else None,
    )
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":  # Of a table so small it would read everything.
            cursor.execute("SET LOCAL enable_seqscan = off")
            cursor.execute("SET LOCAL enable_bitmapscan = off")
            cursor.execute("SET LOCAL enable_sort = off")
            cursor.execute("SET LOCAL enable_incremental_sort = on")
        cursor.execute("ANALYZE")

    plan = register.people_who_match(quality, question)[:50].explain()

    assert index in plan, plan
    if connection.vendor == "sqlite":
        assert "B-TREE FOR ORDER BY" not in plan
