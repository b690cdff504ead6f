"""The criteria the product brings along: plain data, without models or database.

No limit here has been confirmed by a site against its own document; each says where it comes
from and how far that can be trusted. Sites confirm or change them in a revision of their own.
"""

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class CriterionContent:
    """What is asked of a joint or a board at one stage.

    Attributes
    ----------
    code : str
        Stable from revision to revision: P prepared, F formed, S soldered, C cleaned, B board.
    text, reject_text, try_this : str
        What is asked, what fails, and what to do better next time. Figures stand in `low` and
        `high` and not in these.
    joint_types, alloys : tuple of str
        Where it applies; no alloys means any.
    low, high : Decimal or None
        Limits, both included, in `unit`; a criterion judged by eye may have them too.
    quantity : str
        What is measured on a photograph; empty where no tool of the photograph measures it.
    datum : str
        What an insulation clearance is measured from, as its document says; empty for others.
    document, clause, source_note : str
        Where the criterion comes from; an empty document is common practice.
    """

    code: str
    title: str
    text: str
    reject_text: str
    try_this: str
    stage: Literal["prepared", "formed", "soldered", "cleaned"]
    of: Literal["joint", "board"] = "joint"
    joint_types: tuple[str, ...]
    alloys: tuple[str, ...] = ()
    how: Literal["eye", "measured"] = "eye"
    quantity: Literal["", "wrap", "clearance", "length", "fillet", "wetting_angle", "fill"] = ""
    low: Decimal | None = None
    high: Decimal | None = None
    unit: Literal["", "deg", "d", "D", "mm", "percent", "ratio"] = ""
    datum: Literal["", "terminal", "solder"] = ""
    severity: Literal["critical", "major", "minor"]
    demerits: int
    accept_drawing: str
    reject_drawing: str
    document: str = ""
    clause: str = ""
    source_note: str
    confirmed: bool = False

    def texts(self) -> dict[str, dict[str, str]]:
        """Give the texts by language, as a criterion of a set keeps them."""
        return {
            "en": {
                "title": self.title,
                "text": self.text,
                "reject": self.reject_text,
                "advice": self.try_this,
            }
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class CriteriaSetContent:
    """One revision of a set of criteria."""

    title: str
    revision: int
    summary: str
    retired: bool
    criteria: tuple[CriterionContent, ...]
