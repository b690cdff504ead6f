"""Who works at Skarnfell Instruments, and how each of them is to stand today.

Everything is invented. Days are counted from the day the demo is loaded.
"""

from dataclasses import dataclass, field

ORGANISATION = "Skarnfell Instruments"


@dataclass(frozen=True, slots=True)
class DemoCertificate:
    """A certificate to be held: when it ends, and whether that one renewed an earlier.

    `ends_in` counts days from today to its last day, negative where it has ended; `event`
    is something that happened to it, with the days ago it took effect and why. The last
    such work lies some weeks back unless `last_work_ago` says when. `restriction` is what it
    was issued with, `restricted_to` what an event of that kind allows alone.
    """

    scope: str
    ends_in: int
    renewed: bool = False
    event: str = ""
    event_ago: int = 0
    reason: str = ""
    last_work_ago: int | None = None
    restriction: str = ""
    restricted_to: str = ""


@dataclass(frozen=True, slots=True)
class DemoPerson:
    """One person. `vision_ends_in` counts days to the last day of their vision test.

    Where it is not said it lies months ahead; a visitor has none.
    """

    number: str
    name: str
    site: str
    roles: tuple[str, ...] = ()
    lead: str = ""
    kind: str = "own"
    employer: str = ""
    email: bool = True
    vision_ends_in: int | None = None
    certificates: tuple[DemoCertificate, ...] = ()
    stamp: str = ""
    since_days: int = 800
    left_ago: int | None = None


@dataclass(frozen=True, slots=True)
class Trainee:
    """Somebody who is learning, and the boards they have made: exercise, purpose, days ago.

    `skill` is how rarely a joint goes wrong, from the first board to the last.
    """

    number: str
    boards: tuple[tuple[str, str, int], ...]
    skill: tuple[float, float] = (0.75, 0.97)
    unjudged: int = 0
    certify: tuple[str, ...] = field(default=())


STAFF = (
    DemoPerson("10001", "Leocadia Brandt", "CA", ("instructor",), stamp="I7"),
    DemoPerson("10002", "Anselm Okonjo", "CA", ("instructor",)),
    DemoPerson("10003", "Ottoline Vesper", "CA", ("quality",)),
    DemoPerson("10004", "Goran Silvestrin", "CA", ("line_lead",)),
    DemoPerson("10005", "Maite Urrutia", "CA", ("line_lead",)),
    DemoPerson("10006", "Cornelius Adeyemi", "CA", ("administrator",)),
    DemoPerson("10007", "Ysolde Karsten", "CA", ("instructor",)),
    DemoPerson("20001", "Rhoswen Carrick", "AL", ("instructor",), stamp="I9"),
    DemoPerson("20002", "Emeka Thistlewood", "AL", ("quality",)),
    DemoPerson("20003", "Fenella Marsh", "AL", ("line_lead",)),
)

OPERATORS = (
    DemoPerson(
        "10101",
        "Bastian Ferreyra",
        "CA",
        lead="10004",
        stamp="47",
        certificates=(
            DemoCertificate("TERM-OP", 410, renewed=True),
            DemoCertificate("CUP-OP", 190, last_work_ago=20),
        ),
    ),
    DemoPerson(
        "10102",
        "Ilka Norrgard",
        "CA",
        lead="10004",
        certificates=(DemoCertificate("TERM-OP", 12),),
        stamp="48",
    ),
    DemoPerson(
        "10103", "Teodora Vukic", "CA", lead="10004", certificates=(DemoCertificate("TERM-OP", 44),)
    ),
    DemoPerson(
        "10104",
        "Casimir Doyle",
        "CA",
        lead="10004",
        certificates=(DemoCertificate("TERM-OP", -20),),
    ),
    DemoPerson(
        "10105",
        "Yevgenia Lund",
        "CA",
        lead="10004",
        vision_ends_in=7,
        certificates=(
            DemoCertificate("HOLE-OP", 430),
            DemoCertificate("TERM-OP", 300, renewed=True),
        ),
    ),
    DemoPerson(
        "10106",
        "Oluwaseun Hartley",
        "CA",
        lead="10004",
        vision_ends_in=-22,
        certificates=(DemoCertificate("TERM-OP", 195),),
    ),
    DemoPerson(
        "10107",
        "Perpetua Lindholm",
        "CA",
        lead="10005",
        certificates=(
            DemoCertificate("CUP-OP", 250),
            DemoCertificate("TERM-OP", 500, last_work_ago=178),
        ),
    ),
    DemoPerson(
        "10108",
        "Florian Abernathy",
        "CA",
        lead="10005",
        certificates=(DemoCertificate("TERM-OP", 380, last_work_ago=230),),
    ),
    DemoPerson(
        "10109",
        "Sunniva Castellano",
        "CA",
        lead="10005",
        certificates=(
            DemoCertificate(
                "TERM-OP",
                350,
                event="suspended",
                event_ago=13,
                reason="Five rejected joints in one lot; back to the bench first.",
            ),
        ),
    ),
    DemoPerson(
        "10110",
        "Dragan Whitlock",
        "CA",
        lead="10005",
        certificates=(
            DemoCertificate(
                "TERM-OP",
                290,
                event="revoked",
                event_ago=48,
                reason="Signed for joints that somebody else had made.",
            ),
        ),
    ),
    DemoPerson(
        "10111",
        "Amaranta Kowal",
        "CA",
        lead="10005",
        certificates=(DemoCertificate("WIRE-OP", 610),),
    ),
    DemoPerson(
        "10112",
        "Lucius Ekdahl",
        "CA",
        lead="10005",
        email=False,
        certificates=(DemoCertificate("TERM-OP", 28), DemoCertificate("WIRE-OP", 28)),
    ),
    DemoPerson(
        "10113",
        "Nadezhda Ruiz",
        "CA",
        lead="10004",
        stamp="52",
        certificates=(
            DemoCertificate(
                "TERM-OP",
                560,
                renewed=True,
                event="restricted",
                event_ago=12,
                reason="Bifurcated terminals were rejected twice: to be trained again.",
                restricted_to="turrets",
            ),
            DemoCertificate("CUP-OP", 95),
            DemoCertificate("HOLE-OP", 560, last_work_ago=61),
        ),
    ),
    DemoPerson(
        "10114",
        "Quentin Obaseki",
        "CA",
        lead="10004",
        kind="contractor",
        employer="Harrow Gate Staffing",
        certificates=(DemoCertificate("CUP-OP", 62, restriction="cups for AWG 20 and smaller"),),
    ),
    DemoPerson(
        "10115",
        "Birgitta Moretti",
        "CA",
        lead="10005",
        certificates=(DemoCertificate("HOLE-OP", 5),),
    ),
    DemoPerson(
        "10116",
        "Ignacio Pell",
        "CA",
        lead="10005",
        certificates=(
            DemoCertificate(
                "TERM-OP",
                240,
                event="reinstated",
                event_ago=70,
                reason="Retrained; a board of twenty without a reject.",
            ),
        ),
    ),
    DemoPerson(
        "10117",
        "Wilhelmina Asante",
        "CA",
        lead="10004",
        left_ago=90,
        certificates=(
            DemoCertificate(
                "TERM-OP", 200, event="ended", event_ago=90, reason="Left the company."
            ),
        ),
    ),
    DemoPerson("10118", "Caspian Novotny", "CA", lead="10005", kind="visitor"),
    DemoPerson(
        "20101",
        "Morwenna Achebe",
        "AL",
        lead="20003",
        certificates=(DemoCertificate("TERM-OP", 330),),
    ),
    DemoPerson(
        "20102", "Lorcan Stavros", "AL", lead="20003", certificates=(DemoCertificate("CUP-OP", 33),)
    ),
    DemoPerson(
        "20103",
        "Delphine Osei",
        "AL",
        lead="20003",
        stamp="61",
        certificates=(DemoCertificate("HOLE-OP", 84), DemoCertificate("TERM-OP", 84)),
    ),
    DemoPerson(
        "20104",
        "Hamish Valcourt",
        "AL",
        lead="20003",
        certificates=(DemoCertificate("HOLE-OP", -75),),
    ),
    DemoPerson(
        "20105",
        "Ysolde Barnabas",
        "AL",
        lead="20003",
        vision_ends_in=26,
        certificates=(DemoCertificate("CUP-OP", 280),),
    ),
    DemoPerson(
        "20106",
        "Tobias Ngata",
        "AL",
        lead="20003",
        email=False,
        certificates=(DemoCertificate("WIRE-OP", 16),),
    ),
    DemoPerson(
        "20107",
        "Ragnhild Price",
        "AL",
        lead="20003",
        kind="contractor",
        employer="Tolland Works",
        certificates=(DemoCertificate("TERM-OP", 145),),
    ),
)

LEARNERS = (
    DemoPerson("10201", "Solveig Marchetti", "CA", lead="10004", since_days=120),
    DemoPerson("10202", "Kwabena Ostrow", "CA", lead="10004", since_days=110),
    DemoPerson("10203", "Juniper Halloran", "CA", lead="10004", since_days=105),
    DemoPerson("10204", "Matthias Nkemelu", "CA", lead="10005", since_days=100),
    DemoPerson("10205", "Zenobia Falk", "CA", lead="10005", since_days=90),
    DemoPerson("10206", "Aurelio Strand", "CA", lead="10005", since_days=90),
    DemoPerson("10207", "Petra Llewellyn", "CA", lead="10005", since_days=60),
    DemoPerson("10208", "Ephraim Sorensen", "CA", lead="10004", since_days=60, email=False),
    DemoPerson("20201", "Isolde Kariuki", "AL", lead="20003", since_days=100),
    DemoPerson("20202", "Benedikt Aroha", "AL", lead="20003", since_days=95),
    DemoPerson("20203", "Clementine Dvorsky", "AL", lead="20003", since_days=70),
    DemoPerson("20204", "Osric Bellamy", "AL", lead="20003", since_days=50),
)

PRACTICE, QUALIFY, AGAIN = "practice", "qualification", "requalification"

TRAINEES = (
    Trainee(
        "10201",
        (
            ("EX-WIRE", PRACTICE, 84),
            ("EX-WIRE", QUALIFY, 80),
            ("EX-TUR-1", PRACTICE, 74),
            ("EX-TUR-1", PRACTICE, 68),
            ("EX-TUR-1", QUALIFY, 61),
            ("EX-TUR-2", PRACTICE, 54),
            ("EX-TUR-2", QUALIFY, 47),
            ("EX-BIF", PRACTICE, 40),
            ("EX-BIF", QUALIFY, 33),
            ("EX-HOOK", QUALIFY, 20),
        ),
        certify=("WIRE-OP", "TERM-OP"),
    ),
    Trainee(
        "10202",
        (
            ("EX-WIRE", PRACTICE, 83),
            ("EX-WIRE", QUALIFY, 79),
            ("EX-TUR-1", PRACTICE, 73),
            ("EX-TUR-1", QUALIFY, 66),
            ("EX-TUR-2", PRACTICE, 59),
            ("EX-TUR-2", QUALIFY, 52),
            ("EX-BIF", QUALIFY, 30),
            ("EX-HOOK", QUALIFY, 8),
            ("EX-CUP", PRACTICE, 2),
        ),
        unjudged=1,
    ),
    Trainee(
        "10203",
        (
            ("EX-WIRE", PRACTICE, 82),
            ("EX-WIRE", QUALIFY, 77),
            ("EX-TUR-1", PRACTICE, 70),
            ("EX-TUR-1", PRACTICE, 63),
            ("EX-TUR-1", PRACTICE, 35),
            ("EX-TUR-1", QUALIFY, 28),
            ("EX-TUR-2", PRACTICE, 12),
            ("EX-TUR-2", QUALIFY, 1),
        ),
        skill=(0.6, 0.9),
        unjudged=1,
    ),
    Trainee(
        "10204",
        (
            ("EX-WIRE", QUALIFY, 76),
            ("EX-HOLE", PRACTICE, 69),
            ("EX-HOLE", PRACTICE, 62),
            ("EX-HOLE", QUALIFY, 55),
            ("EX-CUP", PRACTICE, 41),
            ("EX-CUP", QUALIFY, 34),
            ("EX-CUP", PRACTICE, 15),
        ),
        certify=("HOLE-OP",),
    ),
    Trainee(
        "10205",
        (
            ("EX-WIRE", PRACTICE, 70),
            ("EX-WIRE", QUALIFY, 64),
            ("EX-CUP", PRACTICE, 57),
            ("EX-CUP", PRACTICE, 50),
            ("EX-CUP", QUALIFY, 3),
        ),
        unjudged=1,
    ),
    Trainee(
        "10206",
        (
            ("EX-WIRE", PRACTICE, 70),
            ("EX-WIRE", PRACTICE, 58),
            ("EX-TUR-1", PRACTICE, 45),
            ("EX-TUR-1", PRACTICE, 31),
            ("EX-TUR-1", PRACTICE, 17),
            ("EX-TUR-1", PRACTICE, 4),
        ),
        skill=(0.55, 0.8),
    ),
    Trainee(
        "10207",
        (("EX-WIRE", PRACTICE, 41), ("EX-WIRE", PRACTICE, 25), ("EX-TUR-1", PRACTICE, 1)),
        skill=(0.6, 0.85),
        unjudged=1,
    ),
    Trainee(
        "10208",
        (("EX-WIRE", PRACTICE, 41), ("EX-WIRE", PRACTICE, 22), ("EX-HOOK", PRACTICE, 2)),
        skill=(0.6, 0.85),
        unjudged=1,
    ),
    Trainee(
        "20201",
        (
            ("EX-WIRE", PRACTICE, 80),
            ("EX-WIRE", QUALIFY, 75),
            ("EX-TUR-1", PRACTICE, 68),
            ("EX-TUR-1", QUALIFY, 60),
            ("EX-HOOK", PRACTICE, 52),
            ("EX-HOOK", QUALIFY, 44),
            ("EX-TUR-2", QUALIFY, 36),
            ("EX-BIF", QUALIFY, 23),
        ),
        certify=("TERM-OP",),
    ),
    Trainee(
        "20202",
        (
            ("EX-WIRE", PRACTICE, 77),
            ("EX-WIRE", QUALIFY, 71),
            ("EX-HOLE", PRACTICE, 60),
            ("EX-HOLE", QUALIFY, 49),
            ("EX-CUP", PRACTICE, 37),
            ("EX-CUP", QUALIFY, 21),
        ),
        certify=("CUP-OP",),
    ),
    Trainee(
        "20203",
        (
            ("EX-WIRE", PRACTICE, 56),
            ("EX-WIRE", PRACTICE, 46),
            ("EX-TUR-1", PRACTICE, 36),
            ("EX-PIERCE", PRACTICE, 22),
            ("EX-TUR-1", PRACTICE, 14),
            ("EX-BIF", PRACTICE, 3),
        ),
        skill=(0.65, 0.9),
        unjudged=1,
    ),
    Trainee(
        "20204",
        (("EX-WIRE", PRACTICE, 34), ("EX-WIRE", PRACTICE, 20), ("EX-CUP", PRACTICE, 2)),
        skill=(0.6, 0.85),
        unjudged=1,
    ),
    Trainee("10101", (("EX-MIX", PRACTICE, 88), ("EX-CUP", AGAIN, 72)), skill=(0.97, 0.98)),
    Trainee(
        "10102", (("EX-TUR-1", AGAIN, 6), ("EX-WIRE", AGAIN, 5)), skill=(0.96, 0.97), unjudged=2
    ),
    Trainee("10103", (("EX-TUR-1", PRACTICE, 51), ("EX-TUR-2", PRACTICE, 26)), skill=(0.94, 0.96)),
    Trainee("10104", (("EX-TUR-1", PRACTICE, 39),), skill=(0.85, 0.85)),
    Trainee("10105", (("EX-HOLE", PRACTICE, 65),), skill=(0.96, 0.96)),
    Trainee("10107", (("EX-TUR-1", PRACTICE, 178), ("EX-CUP", PRACTICE, 64)), skill=(0.95, 0.95)),
    Trainee("10109", (("EX-TUR-1", PRACTICE, 30), ("EX-TUR-1", PRACTICE, 9)), skill=(0.7, 0.8)),
    Trainee("10113", (("EX-MIX", AGAIN, 95), ("EX-TUR-1", "production", 43)), skill=(0.98, 0.98)),
    Trainee("10114", (("EX-CUP", PRACTICE, 53),), skill=(0.93, 0.93)),
    Trainee("10116", (("EX-TUR-1", AGAIN, 75), ("EX-TUR-1", AGAIN, 71)), skill=(0.85, 0.99)),
    Trainee(
        "20101", (("EX-BIF", PRACTICE, 66), ("EX-TUR-1", "production", 24)), skill=(0.95, 0.96)
    ),
    Trainee(
        "20102", (("EX-CUP", PRACTICE, 48), ("EX-CUP", AGAIN, 4)), skill=(0.93, 0.96), unjudged=1
    ),
    Trainee(
        "20103",
        (("EX-HOLE", PRACTICE, 58), ("EX-HOOK", PRACTICE, 29), ("EX-PIERCE", PRACTICE, 12)),
        skill=(0.94, 0.96),
    ),
    Trainee("20107", (("EX-TUR-2", PRACTICE, 42),), skill=(0.9, 0.9)),
    Trainee("10106", (("EX-TUR-1", PRACTICE, 79), ("EX-HOOK", PRACTICE, 56)), skill=(0.93, 0.95)),
    Trainee("10108", (("EX-TUR-2", PRACTICE, 81), ("EX-TUR-1", AGAIN, 10)), skill=(0.88, 0.93)),
    Trainee("10110", (("EX-TUR-1", PRACTICE, 92), ("EX-BIF", PRACTICE, 86)), skill=(0.85, 0.8)),
    Trainee("10111", (("EX-WIRE", PRACTICE, 67), ("EX-WIRE", PRACTICE, 27)), skill=(0.95, 0.98)),
    Trainee("10112", (("EX-WIRE", AGAIN, 18), ("EX-TUR-1", AGAIN, 16)), skill=(0.95, 0.98)),
    Trainee("10115", (("EX-HOLE", AGAIN, 19), ("EX-WIRE", AGAIN, 32)), skill=(0.96, 0.98)),
    Trainee("10117", (("EX-MIX", PRACTICE, 130),), skill=(0.94, 0.94)),
    Trainee("20104", (("EX-HOLE", PRACTICE, 85), ("EX-HOLE", AGAIN, 7)), skill=(0.85, 0.9)),
    Trainee("20105", (("EX-CUP", PRACTICE, 73), ("EX-CUP", PRACTICE, 11)), skill=(0.93, 0.95)),
    Trainee("20106", (("EX-WIRE", PRACTICE, 38),), skill=(0.94, 0.94)),
    Trainee("10118", (("EX-CUP", PRACTICE, 13),), skill=(0.6, 0.6)),
)

# Handed out this morning and still in their makers' hands: exercise by person.
ON_THE_BENCH = {
    "10205": "EX-CUP",
    "10206": "EX-TUR-1",
    "10207": "EX-TUR-1",
    "10208": "EX-TUR-1",
    "10118": "EX-CUP",
    "20203": "EX-BIF",
    "20204": "EX-TUR-1-LF",
}

EVERYONE = STAFF + OPERATORS + LEARNERS

# How far the boards of the class that runs today have got, stage by stage.
IN_CLASS: dict[str, dict[str, str]] = {
    "10205": {"prepared": "judged"},
    "10206": {"prepared": "signed", "formed": "judged", "soldered": "begun"},
    "10207": {"prepared": "signed", "formed": "begun"},
    "10118": {"prepared": "begun"},
}
