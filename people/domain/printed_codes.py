"""Codes that are read off paper and typed: how they are written, and what is the same when typed.

No letter or digit can be taken for another one, so that capitals, spaces and hyphens do not
matter.
"""

LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
GROUP = 4
LONGEST_TYPED = 80


def in_groups(letters: str) -> str:
    """A code as it is printed.

    Examples
    --------
    >>> in_groups("abcdefgh")
    'abcd-efgh'
    """
    return "-".join(letters[at : at + GROUP] for at in range(0, len(letters), GROUP))


def plain(typed: str) -> str:
    """A code as it is compared, whatever stands between its letters and however they are written.

    Examples
    --------
    >>> plain(" ABCD efgh")
    'abcdefgh'
    """
    return "".join(letter for letter in typed.lower() if letter in LETTERS)
