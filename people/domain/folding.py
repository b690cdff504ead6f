"""Letters brought to one form, so that a name is found without its accents and capitals."""

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
