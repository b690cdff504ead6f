"""What of a file cannot be taken in, and where it stands."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """Why one place in a file cannot be taken in; line 0 is the file as a whole."""

    file: str
    line: int
    column: str
    reason: str

    def __str__(self) -> str:
        place = self.file
        if self.line:
            place += f", line {self.line}"
        if self.column:
            place += f", {self.column}"
        return f"{place}: {self.reason}"
