"""What becomes of an act on many rows, of which some may not fit."""

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Outcome:
    """What became of the rows of a grid, by their keys.

    Attributes
    ----------
    recorded : list of int
        Written down now.
    already : list of int
        Written down before, just as the row says.
    refused : dict of int to str
        Not written down, each with the sentence that says why.
    """

    recorded: list[int] = field(default_factory=list)
    already: list[int] = field(default_factory=list)
    refused: dict[int, str] = field(default_factory=dict)
