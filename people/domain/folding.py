"""Letters brought to one form, so that a name is found without its accents and capitals."""

import re
import unicodedata

MARKS = "".join(chr(point) for point in range(0x300, 0x370))
"""What decomposing takes off a letter: combining marks."""
UNDIVIDED = {"ø": "o", "Ø": "O", "ł": "l", "Ł": "L", "đ": "d", "Đ": "D", "ı": "i"}
"""Letters whose stroke is part of them, and which no decomposing takes apart."""
_TABLE = str.maketrans(UNDIVIDED | dict.fromkeys(MARKS, ""))


def fold(text: str) -> str:
    """Small letters without their marks.

    Examples
    --------
    >>> fold("Łucja Müller"), fold("SØREN")
    ('lucja muller', 'soren')
    """
    if text.isascii():
        return text.lower()
    return unicodedata.normalize("NFKD", text).translate(_TABLE).lower()


def heading_key(heading: str) -> str:
    """A heading without capitals, marks and signs, one blank between words.

    Examples
    --------
    >>> heading_key("  Personal-Nr. ")
    'personal nr'
    """
    return re.sub(r"[^a-z0-9]+", " ", fold(heading).replace("ß", "ss")).strip()
