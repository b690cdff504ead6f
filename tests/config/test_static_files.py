"""Every static file that a page or a style sheet names exists, and is served for good."""

import json
import os
import re
import time

import pytest
from django.conf import settings
from django.contrib.staticfiles import finders
from django.core.management import call_command

from operations.services.static_files import gather_static_files

TEMPLATES = [
    path
    for path in sorted((settings.BASE_DIR / "templates").rglob("*.html"))
    if "email" not in path.parts
]


pytestmark = pytest.mark.one_database


@pytest.fixture
def served(settings, tmp_path):
    """Static files as a deployment serves them, in a folder of this test's own."""
    settings.STATIC_ROOT = tmp_path / "static"
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "config.static_files.HashedStaticFiles"},
    }
    return settings.STATIC_ROOT


def found_in_pages(pattern):
    """What matches in each template of a page; mails are under no policy."""
    names = {}
    for path in TEMPLATES:
        if matches := re.findall(pattern, path.read_text(encoding="utf-8"), flags=re.IGNORECASE):
            names[str(path.relative_to(settings.BASE_DIR))] = matches
    return names


def test_every_static_file_that_a_template_names_exists():
    named = found_in_pages(r"""{% static ["']([^"']+)["']""")
    assert len(named) > 5
    missing = {name for names in named.values() for name in names if finders.find(name) is None}
    assert missing == set()


def test_no_page_holds_a_script_or_style_of_its_own():
    events = "click|change|submit|load|input|error|focus|blur|toggle|key[a-z]+|mouse[a-z]+"
    assert found_in_pages(r"<style|<script(?![^>]*\bsrc=)[^>]*>|\sstyle=|javascript:") == {}
    assert found_in_pages(rf"\son(?:{events})=") == {}


def test_no_page_asks_another_site_for_anything():
    assert found_in_pages(r"""(?:src|href)=["'](?:https?:)?//""") == {}


def test_files_are_named_by_their_content_and_compressed(served):
    gather_static_files()
    names = [path.name for path in (served / "css").iterdir()]
    assert any(re.fullmatch(r"tokens\.[0-9a-f]{12}\.css", name) for name in names)
    assert any(re.fullmatch(r"tokens\.[0-9a-f]{12}\.css\.gz", name) for name in names)


def test_a_module_asks_for_what_it_imports_by_the_name_of_its_content(served):
    gather_static_files()
    imports = [
        (script, name)
        for script in (served / "js").rglob("*.js")
        if re.search(r"\.[0-9a-f]{12}\.js$", script.name)
        for name in re.findall(r'(?:from|import) ?"(\.[^"]+)"', script.read_text())
    ]
    assert len(imports) > 20
    for script, name in imports:
        assert re.search(r"\.[0-9a-f]{12}\.js$", name), (script.name, name)
        assert (script.parent / name).exists(), (script.name, name)


def test_no_script_hangs_anything_on_the_window():
    scripts = sorted((settings.BASE_DIR / "static" / "js").rglob("*.js"))
    assert len(scripts) > 20
    for path in scripts:
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"\b(?:window|globalThis|self)\.\w+ *=[^=]", text), path.name


def test_a_page_loads_a_few_of_the_style_sheets_beside_the_common_ones():
    own = found_in_pages(r"{% static 'css/([a-z_]+)\.css' %}")
    common = set(own.pop("templates/partials/styles.html")) | set(own.pop("templates/base.html"))
    own.pop("templates/500.html")
    assert max(map(len, own.values())) <= 3
    sheets = {path.stem for path in (settings.BASE_DIR / "static" / "css").glob("*.css")}
    # The page that is open to everybody begins from nothing, and prints as the others do.
    assert set().union(*own.values()) - common == sheets - common
    assert set(own["templates/certification/public_certificate.html"]) & common == {"print"}


def test_what_did_not_change_is_not_gathered_again(served, monkeypatch):
    gather_static_files()
    called = []
    monkeypatch.setattr("operations.services.static_files.call_command", called.append)
    gather_static_files()
    assert called == []


def test_gathering_that_was_broken_off_is_begun_again(served):
    gather_static_files()
    (served / "gathered-from").unlink()
    manifest = (served / "staticfiles.json").read_text()
    (served / "staticfiles.json").unlink()
    gather_static_files()
    assert (served / "staticfiles.json").read_text() == manifest


def test_a_version_that_serves_again_names_its_own(served, settings, tmp_path):
    settings.STATICFILES_FINDERS = ["django.contrib.staticfiles.finders.FileSystemFinder"]
    settings.STATICFILES_DIRS = [tmp_path / "files"]
    finders.get_finder.cache_clear()
    named = []
    for version in ("first", "second", "first"):
        (tmp_path / "files").mkdir(exist_ok=True)
        (tmp_path / "files/page.css").write_text(f"/* {version} */")
        call_command("gather_static_files")
        named.append(json.loads((served / "staticfiles.json").read_text())["paths"]["page.css"])
    finders.get_finder.cache_clear()
    assert named[0] == named[2] != named[1]


def test_what_earlier_versions_ask_for_stays_for_a_month(served, settings, tmp_path):
    """Versions of which each has changed one file and left another out; the second never served."""
    folder = tmp_path / "files"
    folder.mkdir()
    settings.STATICFILES_FINDERS = ["django.contrib.staticfiles.finders.FileSystemFinder"]
    settings.STATICFILES_DIRS = [folder]
    finders.get_finder.cache_clear()
    there = []
    for version in ("first", "second", "third", "fourth"):
        if version == "fourth":  # The first was replaced more than a month ago, the second less.
            for path in served.rglob("*"):
                age = 31 if path.name in there[0] or "first" in path.name else 29
                os.utime(path, (then := time.time() - age * 24 * 3600, then))
        (folder / "page.css").write_text(f"/* {version} */")
        (folder / f"{version}.css").write_text("b {}")
        gather_static_files()
        (folder / f"{version}.css").unlink()
        there.append({path.name for path in served.glob("page.*.css")})
    finders.get_finder.cache_clear()
    first, second, third, fourth = there
    assert [len(each) for each in there] == [1, 2, 3, 3]
    assert first < second < third
    assert fourth & third == third - first
    names = json.loads((served / "staticfiles.json").read_text())["paths"]
    kept = {"page.css", "second.css", "third.css", "fourth.css"}
    assert names.keys() == kept, "for one that starts again"
    assert all((served / hashed).exists() for hashed in names.values())
    assert not served.with_name("static.new").exists()


@pytest.mark.django_db
def test_prepare_can_be_repeated(served):
    call_command("prepare")
    call_command("prepare")
    assert (served / "staticfiles.json").exists()
