"""A language is a file: whichever has a catalogue can be chosen, by its own name."""

from django.conf import settings

from config.languages import languages_in


def test_languages_are_those_with_a_catalogue(tmp_path):
    for name in ("pt_BR", "de", "tlh"):
        (tmp_path / name / "LC_MESSAGES").mkdir(parents=True)
        (tmp_path / name / "LC_MESSAGES/django.mo").touch()
    (tmp_path / "fr").mkdir()

    assert languages_in(tmp_path, source="en") == [
        ("en", "English"),
        ("de", "Deutsch"),
        ("pt-br", "Português brasileiro"),
        ("tlh", "Tlh"),
    ]


def test_this_site_speaks_english_and_german():
    assert settings.LANGUAGES == [("en", "English"), ("de", "Deutsch")]
