"""What the product brings along to practise with: plain data, without models or database.

Sites copy it into their own exercises and courses and change it there.
"""

from dataclasses import dataclass
from decimal import Decimal

JOINT_TYPES = ("turret", "bifurcated", "hook", "pierced", "cup", "hole", "wire")
STAGES = ("prepared", "formed", "soldered", "cleaned")

COMMON_PRACTICE = "common practice"


@dataclass(frozen=True, slots=True)
class Wire:
    """A wire as an exercise calls for it.

    Attributes
    ----------
    awg : int
        Gauge by which the wire is ordered.
    stranding : str
        ``19/34`` is 19 strands of AWG 34; ``solid`` is one.
    conductor_mm : Decimal
        Over the bare conductor, d, in millimetres to three decimals.
    overall_mm : Decimal or None
        Over the insulation, D, in millimetres, approximate; None for a bare lead.
    insulation : str
        What covers it; empty for a bare lead.
    note : str
        How far the figures can be relied on.
    """

    awg: int
    stranding: str
    conductor_mm: Decimal
    overall_mm: Decimal | None
    insulation: str
    note: str


@dataclass(frozen=True, slots=True)
class PositionContent:
    """A place on the board where a joint is made."""

    name: str
    joint_type: str
    wire: Wire
    scope_code: str
    forming: str = ""
    clearance: str = ""
    wires: int = 1
    required: bool = True


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do in a stage, and where the advice comes from.

    `drawing` names one that comes along; `shows` is ``accept``, ``reject`` or empty where it
    judges nothing; `cautions` are codes of what can hurt somebody at this step.
    """

    stage: str
    text: str
    source: str = COMMON_PRACTICE
    drawing: str = ""
    shows: str = ""
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ToolNeeded:
    """A tool an exercise needs.

    `kind` is that of a tool the site keeps (iron, tip, mechanical_stripper, thermal_stripper,
    magnifier, lamp, gauge), or ``bench`` for what lies on every bench.
    """

    kind: str
    name: str


@dataclass(frozen=True, slots=True)
class PassRule:
    """What a board needs besides every stage signed and nothing critical rejected."""

    allowed_rejects: int
    pass_mark: Decimal
    rework_allowed: int
    graders: int = 1


@dataclass(frozen=True, slots=True)
class ExerciseContent:
    """One exercise; `summary` says in a line what is on the board.

    `alloy` is what its boards are soldered with unless a board says otherwise; empty leaves it to
    the board.
    """

    code: str
    title: str
    summary: str
    purpose: str
    drawing: str
    stages: tuple[str, ...]
    positions: tuple[PositionContent, ...]
    steps: tuple[Step, ...]
    tools: tuple[ToolNeeded, ...]
    cautions: tuple[str, ...]
    rule: PassRule
    photographs_wanted: bool
    alloy: str = ""

    @property
    def joints_required(self) -> int:
        return sum(position.required for position in self.positions)


@dataclass(frozen=True, slots=True)
class Caution:
    """What can hurt somebody, and what to do about it.

    Attributes
    ----------
    code : str
    title, text : str
    brief : str
        The same in a line, for beside a step.
    defers_to : str
        The sentence that closes it: whose word comes before this one.
    source : str
    goes_with : str
        The code of another caution beside which this one is shown wherever that one is; for what
        came later, so that exercises which a site made before carry it too.
    """

    code: str
    title: str
    text: str
    brief: str
    defers_to: str
    source: str
    goes_with: str = ""


@dataclass(frozen=True, slots=True)
class LessonContent:
    """A piece of a course day; `exercise` is a code, or empty.

    `kind` is one of ``demonstration``, ``reading``, ``practice``, ``judging``, ``test``.
    """

    day: int
    title: str
    minutes: int
    text: str
    exercise: str = ""
    kind: str = "practice"


@dataclass(frozen=True, slots=True)
class CourseContent:
    code: str
    title: str
    summary: str
    days: int
    lessons: tuple[LessonContent, ...]
