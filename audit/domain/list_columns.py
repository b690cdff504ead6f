"""Columns of a list of people from anywhere: what each may hold, and what its heading suggests.

A list is matched by hand; what stands here only fills the form in, so that most of it is right.
"""

from collections.abc import Collection, Sequence
from enum import StrEnum

from people.domain.folding import heading_key


class Field(StrEnum):
    """What a column of a list holds; its days are `DAYS`, its facts beside people `FACTS`."""

    EMPLOYEE_NUMBER = "employee_number"
    FULL_NAME = "full_name"
    FAMILY_NAME = "family_name"
    GIVEN_NAME = "given_name"
    EMAIL = "email"
    SITE = "site"
    KIND = "kind"
    EMPLOYER = "employer"
    LINE_LEAD = "line_lead"
    STARTED_ON = "started_on"
    LEFT_ON = "left_on"
    STAMP = "stamp"
    SCOPE = "scope"
    CERTIFICATE_NUMBER = "certificate_number"
    SCHEME = "scheme"
    ISSUED_ON = "issued_on"
    RESTRICTION = "restriction"
    ISSUED_BY = "issued_by"
    TESTED_ON = "tested_on"
    RESULT = "result"
    PERFORMED_ON = "performed_on"
    RECORDED_ON = "recorded_on"


OF_PEOPLE = frozenset(
    {
        Field.FULL_NAME,
        Field.FAMILY_NAME,
        Field.GIVEN_NAME,
        Field.EMAIL,
        Field.SITE,
        Field.KIND,
        Field.EMPLOYER,
        Field.LINE_LEAD,
        Field.STARTED_ON,
        Field.LEFT_ON,
        Field.STAMP,
    }
)
FACTS = frozenset(Field) - OF_PEOPLE - {Field.EMPLOYEE_NUMBER}
DAYS = frozenset(
    {
        Field.STARTED_ON,
        Field.LEFT_ON,
        Field.ISSUED_ON,
        Field.TESTED_ON,
        Field.PERFORMED_ON,
        Field.RECORDED_ON,
    }
)
CHOSEN = frozenset({Field.SITE, Field.KIND, Field.SCOPE, Field.SCHEME})
"""Columns whose values name something that there is already, or are asked about."""

WHOLE: dict[Field, tuple[str, ...]] = {
    Field.EMPLOYEE_NUMBER: ("number", "no", "nr", "id", "nummer", "personal", "clock", "badge"),
    Field.FULL_NAME: ("name", "person", "mitarbeiter", "operator", "bediener"),
    Field.FAMILY_NAME: ("last", "family", "nachname", "zuname"),
    Field.GIVEN_NAME: ("first", "given", "vorname", "rufname"),
    Field.EMAIL: ("mail", "email", "e mail"),
    Field.SITE: ("site", "plant", "werk", "standort"),
    Field.KIND: ("kind", "art", "type"),
    Field.EMPLOYER: ("company", "firma", "agency"),
    Field.LINE_LEAD: ("lead", "leitung"),
    Field.STARTED_ON: ("started", "start", "joined", "eintritt"),
    Field.LEFT_ON: ("left", "austritt"),
    Field.STAMP: ("stamp", "stempel"),
    Field.SCOPE: ("scope", "bereich", "umfang", "skill", "work"),
    Field.CERTIFICATE_NUMBER: ("certificate", "cert", "zertifikat"),
    Field.SCHEME: ("scheme", "schema", "ordnung", "regelwerk"),
    Field.ISSUED_ON: ("issued", "certified", "ausgestellt", "zertifiziert"),
    Field.RESULT: ("result", "ergebnis"),
    Field.RECORDED_ON: ("recorded", "entered", "erfasst", "eingetragen"),
}
"""Headings that suggest a field where they stand alone; folded, with blanks between words."""

WITHIN: dict[Field, tuple[str, ...]] = {
    Field.EMPLOYEE_NUMBER: (
        "employee number", "employee no", "employee id", "personnel number", "personnel no",
        "staff number", "staff no", "clock number", "badge number", "personalnummer",
        "personalnr", "personal nr", "pers nr", "persnr", "mitarbeiternummer", "mitarbeiter nr",
        "ausweisnummer", "ausweis nr",
    ),
    Field.FULL_NAME: ("full name", "name of employee", "vor und nachname", "name vorname"),
    Field.FAMILY_NAME: ("last name", "family name", "surname", "nachname", "familienname"),
    Field.GIVEN_NAME: ("first name", "given name", "forename", "vorname"),
    Field.EMAIL: ("e mail", "email", "mail address", "mailadresse"),
    Field.SITE: ("site", "plant", "location", "werk", "standort"),
    Field.KIND: ("kind of employment", "employment", "beschaeftigung", "beschaftigung"),
    Field.EMPLOYER: ("employer", "employed by", "arbeitgeber", "agency name"),
    Field.LINE_LEAD: (
        "line lead", "team lead", "supervisor", "reports to", "vorgesetzt", "linienleit",
        "teamleit", "schichtleit",
    ),
    Field.STARTED_ON: (
        "started on", "start date", "date of joining", "hire date", "hired on", "eintrittsdatum",
        "eingetreten", "beginn",
    ),
    Field.LEFT_ON: ("left on", "last day", "leaving date", "austrittsdatum", "letzter tag"),
    Field.STAMP: ("stamp", "stempel"),
    Field.SCOPE: ("scope", "kind of work", "geltungsbereich", "taetigkeit", "tatigkeit"),
    Field.CERTIFICATE_NUMBER: (
        "certificate number", "certificate no", "cert no", "cert number", "zertifikatsnummer",
        "zertifikatnummer", "zertifikatsnr", "zertifikat nr", "zertifikats nr",
    ),
    Field.SCHEME: ("scheme", "zertifizierungsordnung"),
    Field.ISSUED_ON: (
        "issued on", "issue date", "date of issue", "certified on", "certified since",
        "ausgestellt am", "ausstellungsdatum", "zertifiziert am",
    ),
    Field.RESTRICTION: ("restriction", "restricted to", "einschraenkung", "einschrankung"),
    Field.ISSUED_BY: ("issued by", "issuer", "ausgestellt von", "aussteller"),
    Field.TESTED_ON: (
        "vision test", "eye test", "vision", "sehtest", "augentest", "sehprufung", "sehpruefung",
    ),
    Field.RESULT: (
        "vision result", "test result", "vision test result", "sehtest ergebnis",
        "ergebnis sehtest",
    ),
    Field.PERFORMED_ON: (
        "last work day", "last worked", "last day of work", "last practice", "last soldered",
        "zuletzt gearbeitet", "zuletzt gelotet", "zuletzt geloetet", "letzte arbeit",
        "letzter arbeitstag",
    ),
    Field.RECORDED_ON: ("recorded on", "recorded at", "entered on", "erfasst am", "eingetragen am"),
}  # fmt: skip
"""Words that suggest a field wherever they stand in a heading, the longest of all counting."""

RESULT_WORDS = ("result", "ergebnis", "outcome", "passed", "bestanden")


def suggest(headings: Sequence[str], allowed: Collection[Field] = tuple(Field)) -> list[str]:
    """Suggest a field for each column of a list, each field once; empty where none is likely.

    Parameters
    ----------
    headings : sequence of str
        As they are written.
    allowed : collection of Field
        What whoever brings the list may bring.

    Returns
    -------
    list of str
        As long as the headings.

    Examples
    --------
    >>> suggest(["Personalnr.", "Name", "Vorname", "Sehtest", "gültig bis"])
    ['employee_number', 'family_name', 'given_name', 'tested_on', '']
    """
    keys = [heading_key(heading) for heading in headings]
    suggested = [""] * len(keys)
    scored = sorted(
        (
            (-_likelihood(field, key), place, field)
            for place, key in enumerate(keys)
            for field in Field
            if field in allowed and _likelihood(field, key)
        ),
        key=lambda score: score[:2],
    )
    taken: set[Field] = set()
    for _likely, place, field in scored:
        if not suggested[place] and field not in taken:
            suggested[place] = field
            taken.add(field)
    if Field.GIVEN_NAME in taken and Field.FAMILY_NAME not in taken and Field.FULL_NAME in taken:
        place = suggested.index(Field.FULL_NAME)
        if keys[place] == "name":
            suggested[place] = Field.FAMILY_NAME
    return suggested


def _likelihood(field: Field, key: str) -> int:
    """How likely a heading is one of a field: 0 for not at all, more for more words of it."""
    if key == heading_key(field):
        return 1000
    if field is Field.TESTED_ON and any(word in key.split() for word in RESULT_WORDS):
        return 0
    if key in WHOLE.get(field, ()):
        return 900
    return max((len(words) for words in WITHIN.get(field, ()) if _stands_in(words, key)), default=0)


def _stands_in(words: str, key: str) -> bool:
    """Whether these words begin a word of the heading, as in “Vorgesetzter” and “Werksname”."""
    return f" {words}" in f" {key}"
