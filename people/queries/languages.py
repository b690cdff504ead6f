"""Which language a page, a mail or a calendar speaks."""

from contextlib import AbstractContextManager

from django.conf import settings
from django.utils import translation

from people.models import Person


def language_of(person: Person | None) -> str:
    """Somebody's language if the site has it, else the site's own."""
    languages = dict(settings.LANGUAGES)
    return person.language if person and person.language in languages else settings.LANGUAGE_CODE


def in_language(language: str) -> AbstractContextManager[None]:
    """Speak a language for a while."""
    return translation.override(language)
