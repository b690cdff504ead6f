"""Which languages the site speaks: that of its texts, and each that has a catalogue."""

from pathlib import Path

from django.conf.locale import LANG_INFO
from django.utils.translation import to_language


def languages_in(folder: Path, *, source: str) -> list[tuple[str, str]]:
    """Each language's code with its own name: the texts' own first, the others in order.

    Parameters
    ----------
    folder : Path
        With ``<locale>/LC_MESSAGES/django.mo`` for each language, ``pt_BR`` for ``pt-br``.
    source : str
        The code of the language that the texts are written in.
    """
    found = {to_language(path.parts[-3]) for path in folder.glob("*/LC_MESSAGES/django.mo")}
    return [(code, _own_name(code)) for code in (source, *sorted(found - {source}))]


def _own_name(code: str) -> str:
    known = LANG_INFO.get(code) or LANG_INFO.get(code.partition("-")[0]) or {}
    return str(known.get("name_local", code)).capitalize()
