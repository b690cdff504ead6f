"""Signing only what was shown."""

from collections.abc import Mapping
from typing import Any

from records.domain.shown import digest_of
from records.exceptions import ShownOtherwise


def refuse_unless_shown(shown: str | None, content: Mapping[str, Any]) -> None:
    """Raise ShownOtherwise where what would be signed is not what the signer was shown.

    Call it once what the act decides on is locked and read, with the content that is signed less
    what only the act itself brings: its instant, numbers it takes, what the signer typed.

    Parameters
    ----------
    shown : str or None
        The digest that the page carried (`records.domain.shown.Shown`); None where no page was
        shown, as by an import.
    """
    if shown is not None and shown != digest_of(content):
        raise ShownOtherwise
