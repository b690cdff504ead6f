"""What a criterion's note says of how far its source can be trusted."""

import re

DOUBTS = (
    "from memory",
    "check in the document",
    "check against",
    "at second hand",
    "read in an excerpt",
    "read in a damaged",
    "read in a public",
    "aus dem gedächtnis",
    "im dokument prüfen",
)
"""Phrases by which a note says that nobody has read the document itself."""
SENTENCE_ENDS = re.compile(r"(?<=[.!?])\s+")


def without_doubts(note: str) -> str:
    """Leave out the sentences that doubt the source: somebody has read the document now.

    Parameters
    ----------
    note : str
        Sentences, each with its full stop.

    Examples
    --------
    >>> without_doubts("From memory: check in the document. Two overlaps were seen to crack.")
    'Two overlaps were seen to crack.'
    """
    sentences = SENTENCE_ENDS.split(note.strip())
    return " ".join(
        sentence for sentence in sentences if not any(doubt in sentence.lower() for doubt in DOUBTS)
    )
