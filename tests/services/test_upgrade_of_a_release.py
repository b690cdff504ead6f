"""A site of an earlier release is brought to this version, and its records still fit."""

import json
import os
import re
from collections.abc import Iterator
from datetime import timedelta

import pytest
from django.conf import settings
from django.db import connection
from django.test import Client, override_settings

from operations.queries.database_rows import LEFT_OUT
from operations.services import migrating, restoring
from people.models import User
from records.queries.verification import verify_records
from tests import other_site
from tests.other_site import LaterRelease, OtherSite, child, sqlite_site, status_of
from tests.releases import release

pytestmark = [pytest.mark.slow, pytest.mark.django_db(transaction=True)]

RELEASES = release.releases()
ROLES = ("instructor", "quality")

# Expands: what is there stays as it is, and the version before need not know.
NOTE = """
from django.db import migrations, models

class Migration(migrations.Migration):
    dependencies = [("training", "{after}")]
    operations = [
        migrations.AddField("practicerecord", "note", models.TextField(null=True)),
    ]
"""
# Fills what it should not: work done is told in the trail, day by day.
SPOILS = """
from datetime import timedelta
from django.db import migrations, models

def move_days(apps, schema_editor):
    apps.get_model("training", "PracticeRecord").objects.update(
        performed_on=models.F("performed_on") + timedelta(days=1)
    )

class Migration(migrations.Migration):
    dependencies = [("training", "9001_note")]
    operations = [migrations.RunPython(move_days)]
"""


@pytest.fixture
def site(tmp_path) -> Iterator[OtherSite]:
    """An empty site on a database of the kind that this test runs on."""
    if connection.vendor == "sqlite":
        yield sqlite_site(tmp_path / "site")
        return
    with other_site.postgres_site(tmp_path / "site", f"upgraded_{os.getpid()}") as site:
        yield site


def take_over(site: OtherSite) -> None:
    """Make it the site of this process, a child that ends soon, with its files and migrations."""
    site.take_over()
    files = {**settings.STORAGES["default"], "OPTIONS": {"location": site.folder / "files"}}
    override_settings(
        MIGRATION_MODULES={}, STORAGES={**settings.STORAGES, "default": files}
    ).enable()


def faults() -> list[str]:
    return [str(fault) for fault in verify_records().faults]


def columns_of(table: str) -> set[str]:
    with connection.cursor() as cursor:
        return {
            column.name for column in connection.introspection.get_table_description(cursor, table)
        }


def opened_by(role: str) -> dict[str, int]:
    """Every page that navigation leads somebody of a role to, with the status of its answer."""
    people = User.objects.filter(is_active=True, person__left_on=None).order_by("pk")
    client = Client()
    client.force_login(people.filter(roles__role=role)[0])
    home = client.get("/", follow=True)
    links = set(re.findall(r'href="(/[^"#?]*)"', home.content.decode()))
    pages = {link for link in links if not link.startswith(("/static/", "/account/"))}
    return {"/": home.status_code} | {
        page: client.get(page, follow=True).status_code for page in sorted(pages)
    }


@pytest.mark.parametrize("earlier", RELEASES, ids=[each.version for each in RELEASES])
def test_a_site_of_a_release_is_upgraded_with_rows_in_every_table_and_fits(earlier, site, tmp_path):
    archive = earlier.write_archive(tmp_path / "site.backup")
    said = tmp_path / "said.json"

    def act():
        take_over(site)
        # To the release's own migrations, its rows, and on to this version's.
        contents = restoring.restore(archive)
        pages = {role: opened_by(role) for role in ROLES}
        said.write_text(
            json.dumps(
                {
                    "rows": contents.end["rows"],
                    "migrations": contents.about["migrations"],
                    "faults": faults(),
                    "compared": verify_records(with_files=False).compared,
                    "pages": pages,
                }
            )
        )

    assert status_of(child(act)) == 0
    told = json.loads(said.read_text())
    assert {tuple(node) for node in told["migrations"]} == earlier.migrations
    # Who is signed in, which processes live, where back-ups and old photographs lie,
    # what machines share: in none.
    assert {
        "django_session",
        "people_tabletuse",
        "operations_heartbeat",
        "operations_backup",
        "operations_movedphoto",
        "operations_sharedmark",
    } == LEFT_OUT
    assert [table for table, count in told["rows"].items() if not count] == []
    assert len(told["rows"]) > 100
    assert told["faults"] == []
    assert told["compared"] > 100
    for role, pages in told["pages"].items():
        assert len(pages) > 4, role
        assert set(pages.values()) == {200}, (role, pages)


def test_an_upgrade_that_spoils_rows_is_found(site, tmp_path):
    earlier = RELEASES[-1]
    archive = earlier.write_archive(tmp_path / "site.backup")
    said = tmp_path / "said.json"
    last = max(name for app, name in earlier.migrations if app == "training")
    note = {"9001_note": NOTE.format(after=last)}
    expands = LaterRelease(tmp_path / "later", training=note)
    spoils = LaterRelease(tmp_path / "spoilt", training=note | {"9002_days": SPOILS})

    def act():
        take_over(site)
        restoring.restore(archive)
        expands.bring_here()
        migrating.migrate(connection, say=print, patience=timedelta())
        assert "note" in columns_of("training_practicerecord")
        fitting = faults()
        spoils.bring_here()
        migrating.migrate(connection, say=print, patience=timedelta())
        said.write_text(json.dumps([fitting, faults()]))

    assert status_of(child(act)) == 0
    fitting, spoilt = json.loads(said.read_text())
    assert fitting == []
    assert spoilt
    assert all("performed_on" in fault for fault in spoilt), spoilt
