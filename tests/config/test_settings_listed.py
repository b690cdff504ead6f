"""docs/running-a-site.md lists every setting that is read, and none that is not."""

import re

from django.conf import settings

from config import env, gunicorn


def settings_in_the_table():
    text = (settings.BASE_DIR / "docs/running-a-site.md").read_text(encoding="utf-8")
    section = re.split(r"^## ", text.split("\n## Settings\n", 1)[1], flags=re.MULTILINE)[0]
    return re.findall(r"^\| `([A-Z_]+)` \|", section, flags=re.MULTILINE)


def test_the_table_lists_every_setting_once():
    assert gunicorn.bind  # It reads settings too, when it is imported.
    assert sorted(settings_in_the_table()) == sorted(env.READ)


def test_every_setting_says_what_it_is_for():
    assert [setting.name for setting in env.READ.values() if not setting.about.endswith(".")] == []
