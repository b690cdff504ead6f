"""The documents lead where they say, and name commands and options that there are."""

import re

import pytest
from django.conf import settings
from django.core.management import get_commands, load_command_class

TOP = settings.BASE_DIR
PAGES = [
    "README.md",
    "DEVELOPERS.md",
    *sorted(str(path.relative_to(TOP)) for path in (TOP / "docs").glob("*.md")),
]


def text(page):
    return (TOP / page).read_text(encoding="utf-8")


def anchors(page):
    titles = re.findall(r"^#+ (.*)$", text(page), re.MULTILINE)
    return {re.sub(r"[^\w -]", "", title.lower()).replace(" ", "-") for title in titles}


@pytest.mark.parametrize("page", PAGES)
def test_links_and_pictures_are_there(page):
    links = re.findall(r"\]\(([^)]+)\)|src=\"([^\"]+)\"", text(page))
    for link in (link or source for link, source in links):
        path, _, anchor = link.partition("#")
        target = ((TOP / page).parent / path).resolve() if path else TOP / page
        assert target.is_file(), link
        assert not anchor or anchor in anchors(target), link


@pytest.mark.parametrize("page", PAGES)
def test_commands_and_options_are_there(page):
    joined = text(page).replace("\\\n", " ")
    for name, rest in re.findall(r"manage\.py ([a-z_]+)([^`|\n]*)", joined):
        assert name in get_commands(), name
        parser = load_command_class(get_commands()[name], name).create_parser("manage.py", name)
        for option in re.findall(r"(?<!\S)\[?(--[a-z-]+)", rest):
            assert option in parser._option_string_actions, f"{name} {option}"


@pytest.mark.parametrize("page", PAGES)
def test_make_targets_are_there(page):
    targets = set(re.findall(r"^([a-z-]+):", text("Makefile"), re.MULTILINE))
    assert set(re.findall(r"(?:^|`)make ([a-z-]+)", text(page), re.MULTILINE)) <= targets


def test_readme_is_two_screens():
    assert len(text("README.md").splitlines()) <= 90
