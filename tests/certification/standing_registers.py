"""Small invented registers in which limits, events and tests often fall on the same days."""

from datetime import UTC, date, datetime, timedelta

from hypothesis import strategies as st

from certification.domain.standing import (
    CertificateFact,
    EventFact,
    EventKind,
    ExpiryRule,
    Facts,
    PracticeFact,
    SchemeFigures,
    VisionFact,
)

FIRST_DAY = date(2023, 12, 28)
LAST_DAY = FIRST_DAY + timedelta(days=160)

# Month ends and their neighbours come often, since that is where calendars are uneven.
TELLING_DAYS = [
    FIRST_DAY + timedelta(days=n)
    for n in range(160)
    if (FIRST_DAY + timedelta(days=n)).day in (1, 2, 14, 15, 28, 29, 30, 31)
]
days = st.sampled_from(TELLING_DAYS) | st.integers(0, 160).map(
    lambda n: FIRST_DAY + timedelta(days=n)
)
instants = st.tuples(days, st.sampled_from([8, 16])).map(
    lambda pair: datetime(pair[0].year, pair[0].month, pair[0].day, pair[1], tzinfo=UTC)
)
extensions = st.integers(0, 150).map(lambda n: timedelta(days=n))
withdrawals = st.none() | st.none() | st.none() | instants

schemes = st.builds(
    SchemeFigures,
    validity_months=st.integers(1, 4),
    expiry_rule=st.sampled_from(ExpiryRule),
    renewal_window_days=st.sampled_from([0, 1, 31, 150]),
    vision_months=st.sampled_from([0, 0, 1, 3]),
    max_absence_months=st.sampled_from([0, 0, 1, 2]),
)

# A revocation hides all that comes after it, so it is rarer than the rest.
KINDS = [kind for kind in EventKind if kind != EventKind.REVOKED] * 2 + [EventKind.REVOKED]
KINDS += [EventKind.EXTENDED] * 4
restrictions = st.sampled_from(["turrets", "cups", "leaded solder"])


@st.composite
def registers(draw):
    """All facts of one person and one scope; numbers and ids sort otherwise than by entry."""
    numbers = draw(
        st.lists(st.sampled_from(["C1", "C2", "C9", "C10"]), min_size=1, max_size=4, unique=True)
    )
    issued = draw(st.lists(days, min_size=len(numbers), max_size=len(numbers)))
    if draw(st.booleans()):  # Then those that renew the one before mostly do so rightly.
        issued.sort()
    certificates = [
        CertificateFact(
            number,
            draw(schemes),
            issued_on,
            draw(st.sampled_from([before, before, "", "elsewhere", *numbers])),
            draw(instants),
            draw(withdrawals),
            draw(st.sampled_from(["", "", "turrets"])),
        )
        for number, issued_on, before in zip(numbers, issued, ["", *numbers[:-1]], strict=True)
    ]
    ids = draw(st.lists(st.sampled_from([f"V{n}" for n in range(5, 13)]), max_size=8, unique=True))
    events = [
        EventFact(
            event_id,
            draw(st.sampled_from([*numbers, "elsewhere"])),
            kind := draw(st.sampled_from(KINDS)),
            effective_on := draw(days),
            draw(instants),
            draw(st.sampled_from(ids)) if kind == EventKind.VOIDED else "",
            effective_on + draw(extensions) if kind == EventKind.EXTENDED else None,
            restriction=draw(restrictions) if kind == EventKind.RESTRICTED else "",
        )
        for event_id in ids
    ]
    test_ids = draw(st.lists(st.sampled_from(["T9", "T10", "T11", "T12"]), unique=True))
    tests = [
        VisionFact(
            test_id,
            draw(days),
            draw(st.sampled_from([True, True, True, False])),
            draw(instants),
            draw(withdrawals),
        )
        for test_id in test_ids
    ]
    practice = draw(st.lists(st.builds(PracticeFact, days, instants, withdrawals), max_size=6))
    return Facts(certificates, events, tests, practice)


def all_days():
    """From before the first fact until after the last limit that these registers can reach."""
    return [FIRST_DAY + timedelta(days=n) for n in range(-3, 480)]
