"""The drawings by which something was judged, as files of a pack."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass

from assessments.models import CriteriaSet
from assessments.presenters.criterion_drawings import accept_shown, file_of, rejects_shown
from audit.domain.bag import safe_name

FOLDER = "data/criteria/drawings/"


@dataclass(frozen=True, slots=True)
class DrawingFile:
    """A drawing by the name that criteria give it, and as a file."""

    name: str
    path: str
    content: bytes

    @property
    def sha256(self) -> str:
        return hashlib.sha256(self.content).hexdigest()


def shown_by(criteria_set: CriteriaSet) -> set[str]:
    """Names of the drawings that pages show beside the criteria of a set, by their limits."""
    return {
        name
        for criterion in criteria_set.criteria.all()
        for name in (accept_shown(criterion), *rejects_shown(criterion))
        if name
    }


def files_of(names: set[str]) -> Iterator[DrawingFile]:
    """Those of them of which there is a file, by their names."""
    for name in sorted(names):
        if (found := file_of(name)) is not None:
            ending, content = found
            yield DrawingFile(name, f"{FOLDER}{safe_name(name)}.{ending}", content)
