"""The tables of an evidence pack, with what each of their columns means.

Names and meanings are those of a file format and stay English whatever language the pack's pages
have. The description follows Table Schema and Data Package of the Frictionless Standards
(datapackage.org; field types from memory of its text).
"""

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from itertools import chain
from typing import IO, Any

from assessments.models import PaperQuestion, Photo
from assessments.presenters.written_paper import given_in_words
from audit.domain.bag import FileInBag, safe_name
from audit.queries.pack_rows import PackRows
from certification.domain.standing import Standing, Timeline, timeline
from people.presenters import exported_tables as exports
from records.domain.canonical import canonical_text, instant_text

FOLDER = "data/tables"
DESCRIPTION = f"{FOLDER}/datapackage.json"
KNOWN, NOW = "then", "now"
VISION = "vision"
COUNTS, NOT_YET, WITHDRAWN = "counts", "not yet recorded", "withdrawn"
ENDINGS = {
    "image/jpeg": "jpg",
    "image/png": "png",
    "image/webp": "webp",
    "image/heic": "heic",
    "image/heif": "heif",
    "image/avif": "avif",
    "image/tiff": "tif",
}
Files = Callable[[], Iterator[FileInBag]]


@dataclass(frozen=True)
class Table:
    """One table; a column is its name, its type in Table Schema, and what it means."""

    name: str
    about: str
    columns: tuple[tuple[str, str, str], ...]
    rows: Callable[[PackRows, Files], Iterable[Iterable[Any]]]

    @property
    def path(self) -> str:
        return f"{FOLDER}/{self.name}.csv"

    def write(self, rows: PackRows, files: Files, target: IO[bytes]) -> None:
        cells = ([_cell(value) for value in row] for row in self.rows(rows, files))
        heading = [name for name, _type, _meaning in self.columns]
        for line in exports.csv_lines(heading, cells):
            target.write(line.encode())


def _cell(value: Any) -> str:
    match value:
        case None:
            return ""
        case bool():
            return "true" if value else "false"
        case datetime():
            return instant_text(value)
        case date():
            return value.isoformat()
        case Decimal():
            return str(value)
        case dict() | list():
            return canonical_text(value)
        case _:
            return str(value)


def description() -> bytes:
    """What every table and column means, as a Data Package descriptor."""
    resources = [
        {
            "name": table.name,
            "path": f"{table.name}.csv",
            "description": table.about,
            "format": "csv",
            "encoding": "utf-8",
            "schema": {
                "fields": [
                    {"name": name, "type": kind, "description": meaning}
                    for name, kind, meaning in table.columns
                ],
                "missingValues": [""],
            },
        }
        for table in TABLES
    ]
    package = {
        "name": "evidence-pack",
        "description": (
            "Instants are in UTC. Text that a spreadsheet program would take for a formula has an "
            "apostrophe in front."
        ),
        "resources": resources,
    }
    return (json.dumps(package, indent=1, ensure_ascii=False) + "\n").encode()


def photo_path(photo: Photo) -> str:
    """Where a photograph lies in the pack, as it came."""
    place = str(photo.joint) if photo.joint else "board"
    ending = ENDINGS.get(photo.media_type, "bin")
    name = f"{safe_name(place)}-{photo.pk}.{ending}"
    return f"data/photographs/{safe_name(photo.board.number)}/{name}"


def counts_as_known(recorded_at: datetime, withdrawn_at: datetime | None, at: datetime) -> str:
    """Whether a fact counted at an instant, by what had been recorded by then."""
    if recorded_at > at:
        return NOT_YET
    if withdrawn_at is not None and withdrawn_at <= at:
        return WITHDRAWN
    return COUNTS


@dataclass(frozen=True)
class Fact:
    """One fact with both its times."""

    kind: str
    name: str
    person: str
    scope: str
    holds_from: date
    recorded_at: datetime
    withdrawn_at: datetime | None
    detail: str


def facts_of(rows: PackRows) -> Iterator[Fact]:
    """Every fact on which standings rest, kind by kind."""
    for certificate in rows.certificates():
        yield Fact(
            "certificate",
            certificate.number,
            certificate.person.employee_number,
            certificate.scope.code,
            certificate.issued_on,
            certificate.recorded_at,
            withdrawn_at(certificate, rows),
            f"good through {certificate.valid_through.isoformat()} as issued",
        )
    for event in rows.events():
        yield Fact(
            str(event.kind),
            event.event_id,
            event.certificate.person.employee_number,
            event.certificate.scope.code,
            event.effective_on,
            event.recorded_at,
            None,
            event.voids.event_id if event.voids else event.certificate.number,
        )
    for test in rows.vision_tests():
        yield Fact(
            "vision test",
            test.test_id,
            test.person.employee_number,
            "",
            test.tested_on,
            test.recorded_at,
            withdrawn_at(test, rows),
            "passed" if test.passed else "failed",
        )
    for work in rows.practice():
        yield Fact(
            "work",
            str(work.pk),
            work.person.employee_number,
            work.scope_code,
            work.performed_on,
            work.recorded_at,
            withdrawn_at(work, rows),
            work.reference,
        )


def withdrawn_at(fact: Any, rows: PackRows) -> datetime | None:
    """When a fact was withdrawn, if it had been when the pack was asked for."""
    withdrawal = getattr(fact, "withdrawal", None)
    if withdrawal is None or withdrawal.withdrawn_at > rows.at:
        return None
    return withdrawal.withdrawn_at


def _facts(rows: PackRows, _files: Files) -> Iterator[list[Any]]:
    known_at = rows.pack.known_at or rows.at
    for fact in facts_of(rows):
        yield [
            fact.kind,
            fact.name,
            fact.person,
            fact.scope,
            fact.holds_from,
            fact.recorded_at,
            fact.withdrawn_at,
            counts_as_known(fact.recorded_at, fact.withdrawn_at, known_at),
            counts_as_known(fact.recorded_at, fact.withdrawn_at, rows.at),
            fact.detail,
        ]


def timelines_of(facts: Any, rows: PackRows) -> list[tuple[str, datetime, Timeline]]:
    """How somebody stood as known now, and as known then where that is asked."""
    lines = [(NOW, rows.at, timeline(facts, rows.at))]
    if rows.pack.known_at is not None:
        lines.insert(0, (KNOWN, rows.pack.known_at, timeline(facts, rows.pack.known_at)))
    return lines


def _standing(rows: PackRows, _files: Files) -> Iterator[list[Any]]:
    first, last = rows.pack.first_day, rows.pack.last_day
    for person, scope, facts in rows.facts():
        for known, at, line in timelines_of(facts, rows):
            for span in line.spans:
                is_before = first and span.last_day and span.last_day < first
                if is_before or (last and span.first_day > last):
                    continue
                yield [
                    known,
                    at,
                    person.employee_number,
                    scope.code,
                    span.first_day,
                    span.last_day,
                    span.standing,
                    span.certificate_number,
                    span.restriction,
                    # Why a vision test does not count is for its holder alone.
                    VISION if span.standing == Standing.VISION_NOT_CURRENT else span.rule,
                ]


def _people(rows: PackRows, _files: Files) -> Iterator[list[Any]]:
    for person in rows.people():
        yield [person.employee_number, person.full_name, person.site.prefix, person.employer]


def _certificates(rows: PackRows, _files: Files) -> Iterator[list[Any]]:
    for each in rows.certificates():
        yield [
            each.number,
            each.person.employee_number,
            each.holder_name,
            each.scope.code,
            each.scope.title,
            each.scheme_revision.name,
            each.issued_on,
            each.valid_through,
            each.renews.number if each.renews else "",
            each.restriction,
            each.origin,
            each.issued_by,
            each.issuer_certificate,
            [board.get("number") for board in each.evidence.get("boards", ())],
            each.signature.entry_id if each.signature else None,
            each.recorded_at,
            withdrawn_at(each, rows),
        ]


def _events(rows: PackRows, _files: Files) -> Iterator[list[Any]]:
    for event in rows.events():
        yield [
            event.event_id,
            event.certificate.number,
            event.kind,
            event.effective_on,
            event.until,
            event.authority,
            event.restriction,
            event.reason,
            event.voids.event_id if event.voids else "",
            event.signature.entry_id if event.signature else None,
            event.recorded_at,
        ]


def _vision(rows: PackRows, _files: Files) -> Iterator[list[Any]]:
    for test in rows.vision_tests():
        yield [
            test.test_id,
            test.person.employee_number,
            test.tested_on,
            "passed" if test.passed else "failed",
            test.recorded_at,
            withdrawn_at(test, rows),
        ]


def _work(rows: PackRows, _files: Files) -> Iterator[list[Any]]:
    for work in rows.practice():
        yield [
            work.person.employee_number,
            work.scope_code,
            work.performed_on,
            work.reference,
            str(work.confirmed_by or ""),
            work.recorded_at,
            withdrawn_at(work, rows),
        ]


def _boards(rows: PackRows, _files: Files) -> Iterator[list[Any]]:
    told = set(chain.from_iterable(lot for _lot, lot in rows.lots_of_boards()))
    for board in rows.boards():
        outcome = getattr(board, "outcome", None) if board.pk in told else None
        yield [
            board.number,
            board.person.employee_number,
            board.exercise.code,
            board.exercise.revision,
            board.exercise.title,
            board.purpose,
            board.site.prefix,
            board.unit,
            board.work_order,
            board.alloy,
            board.handed_out_on,
            board.handed_in_at,
            outcome.complete if outcome else None,
            outcome.passed if outcome else None,
            outcome.score if outcome else None,
            outcome.joints_judged if outcome else None,
            outcome.joints_rejected if outcome else None,
            board.pk in told,
            board.recorded_at,
        ]


def _gradings(rows: PackRows, _files: Files) -> Iterator[list[Any]]:
    for signing in rows.signings():
        grading = signing.grading
        yield [
            grading.pk,
            grading.board.number,
            grading.kind,
            signing.stage,
            signing.signature.printed_name,
            str(grading.criteria_set),
            grading.replaces_id,
            grading.reason,
            grading.recorded_at,
            signing.signed_at,
            signing.signature.entry_id,
            signing.signature.content_sha256,
        ]


def _judgements(rows: PackRows, _files: Files) -> Iterator[list[Any]]:
    for each in rows.judgements():
        yield [
            each.grading_id,
            each.grading.board.number,
            each.joint.position.name if each.joint else "",
            each.joint.make if each.joint else None,
            each.stage,
            each.criterion.code,
            each.outcome,
            each.how,
            each.magnification,
            each.photo.sha256 if each.photo else "",
            each.mark_x,
            each.mark_y,
            each.tool.code if each.tool else "",
            each.value,
            each.uncertainty,
            each.measurement_id,
            each.by_eye_because,
            each.note,
            each.with_the_rest,
            each.judged_at,
        ]


def _measurements(rows: PackRows, _files: Files) -> Iterator[list[Any]]:
    for each in rows.measurements():
        yield [
            each.pk,
            each.photo.board.number,
            each.photo.sha256,
            each.joint.position.name if each.joint else "",
            each.joint.make if each.joint else None,
            each.criterion.code if each.criterion else "",
            each.quantity,
            each.marks,
            each.options,
            each.mark_uncertainty_px,
            each.mm_per_px,
            each.value,
            each.standard_uncertainty,
            each.unit,
            each.budget,
            each.view,
            each.remarks,
            each.verdict,
            str(each.measured_by),
            each.recorded_at,
        ]


def _photographs(rows: PackRows, files: Files) -> Iterator[list[Any]]:
    """Both walks go in one order, so that neither is held in memory."""
    written = (file.path for file in files() if file.path.startswith("data/photographs/"))
    path = next(written, "")
    for photo in rows.photos():
        wanted = photo_path(photo)
        is_there = wanted == path
        yield [
            photo.pk,
            photo.board.number,
            photo.joint.position.name if photo.joint else "",
            photo.joint.make if photo.joint else None,
            photo.stage,
            wanted if is_there else "",
            photo.sha256,
            photo.size_bytes,
            photo.media_type,
            photo.original_name,
            photo.upright_width,
            photo.upright_height,
            photo.magnification,
            photo.scale_px_per_mm,
            photo.setup.name if photo.setup else "",
            photo.is_incomplete,
            photo.recorded_at,
        ]
        if is_there:
            path = next(written, "")


def _written_tests(rows: PackRows, _files: Files) -> Iterator[list[Any]]:
    for papers, told in rows.lots_of_papers():
        for paper in papers:
            start, end = rows.counted(paper, "start"), rows.counted(paper, "end")
            withdrawal = rows.counted(paper, "withdrawal")
            yield [
                paper.number,
                paper.person.employee_number,
                paper.test.code,
                paper.test.revision,
                paper.test.title,
                paper.attempt,
                paper.form,
                paper.medium,
                paper.site.prefix,
                start.recorded_at if start else None,
                end.recorded_at if end else None,
                end.how if end else "",
                end.ended_on if end else None,
                withdrawal.recorded_at if withdrawal else None,
                withdrawal.reason if withdrawal else "",
                paper.pk in told,
                paper.recorded_at,
            ]


def _paper_results(rows: PackRows, _files: Files) -> Iterator[list[Any]]:
    for each in rows.paper_results():
        yield [
            each.paper.number,
            each.round,
            each.right,
            each.of,
            each.paper.test.pass_percent,
            len(each.missed),
            each.passed,
            each.late_count,
            each.reason,
            each.signature.entry_id if each.signature else None,
            each.recorded_at,
        ]


def _paper_questions(rows: PackRows, _files: Files) -> Iterator[list[Any]]:
    marked: dict[int, dict[int, bool]] = {}
    paper_id = 0
    for each in rows.paper_questions():
        if each.paper_id != paper_id:
            paper_id, marked = each.paper_id, {each.paper_id: _told_as_right(rows, each)}
        question = each.question
        places = each.shown or range(len(question.choices))
        yield [
            each.paper.number,
            each.order,
            question.code,
            question.topic,
            question.kind,
            question.text,
            [question.choices[choice] for choice in places],
            question.unit,
            question.picture_says,
            question.must_be_right,
            marked[paper_id].get(each.order),
        ]


def _told_as_right(rows: PackRows, each: PaperQuestion) -> dict[int, bool]:
    """By its place, whether each question was answered rightly; nothing while it may be sat."""
    if each.paper.test.code in rows.codes_in_use:
        return {}
    results = each.paper.results.filter(recorded_at__lte=rows.at).order_by("round")
    last = results.last()
    return {line["order"]: line["right"] for line in last.marked} if last else {}


def _paper_answers(rows: PackRows, _files: Files) -> Iterator[list[Any]]:
    for each in rows.paper_answers():
        asked = each.paper_question
        yield [
            each.pk,
            asked.paper.number,
            asked.order,
            each.given,
            given_in_words(asked.question, asked.shown, each.given),
            each.late,
            each.entered_by.get_username() if each.entered_by else "",
            each.recorded_at,
        ]


def _signatures(rows: PackRows, _files: Files) -> Iterator[list[Any]]:
    for each in rows.signatures():
        yield [
            each.entry_id,
            each.printed_name,
            each.signer.get_username(),
            each.signed_at,
            each.zone,
            each.meaning,
            each.about_type,
            each.about_id,
            each.proof,
            each.content_sha256,
        ]


TEXT, DAY, AT, WHOLE, NUMBER, YES = "string", "date", "datetime", "integer", "number", "boolean"
PERSON = ("employee_number", TEXT, "employee number of the person, at the time of the pack")
SCOPE = ("scope", TEXT, "code of the scope")
RECORDED = ("recorded_at", AT, "since when the register has known it")
WITHDRAWN_AT = ("withdrawn_at", AT, "from when on it counts as never entered")
JOINT = ("joint", TEXT, "name of the position; empty for the whole board")
MAKE = ("make", WHOLE, "1 for the joint as first made, one more for each rework")
BOARD = ("board", TEXT, "serial number of the board")
PAPER = ("paper", TEXT, "number of the paper")
QUESTION = ("question", WHOLE, "its place on the paper")
ENTRY = ("trail_entry", WHOLE, "entry of the trail that holds the signature")

TABLES = (
    Table(
        "people",
        "Whom the pack tells of.",
        (
            PERSON,
            ("full_name", TEXT, "full name"),
            ("site", TEXT, "letters of the site"),
            ("employer", TEXT, "employer, where it is another"),
        ),
        _people,
    ),
    Table(
        "certificates",
        "Certificates as they were issued; what happened since stands in certificate-events.",
        (
            ("certificate", TEXT, "number of the certificate"),
            PERSON,
            ("holder_name", TEXT, "name as issued"),
            SCOPE,
            ("scope_title", TEXT, "what it allows"),
            ("scheme", TEXT, "revision of the scheme; its figures are in data/schemes"),
            ("issued_on", DAY, "first day"),
            ("valid_through", DAY, "last day as issued, itself included"),
            ("renews", TEXT, "number of the certificate that it renews"),
            ("restriction", TEXT, "what alone it allows"),
            ("origin", TEXT, "own, elsewhere or imported"),
            ("issued_by", TEXT, "who issued it"),
            ("issuer_certificate", TEXT, "certificate of whoever issued it"),
            ("boards", "array", "serial numbers of the boards that it stands on"),
            ENTRY,
            RECORDED,
            WITHDRAWN_AT,
        ),
        _certificates,
    ),
    Table(
        "certificate-events",
        "What happened to certificates.",
        (
            ("event", TEXT, "number of the event"),
            ("certificate", TEXT, "number of the certificate"),
            (
                "kind",
                TEXT,
                "suspended, reinstated, revoked, ended, extended, restricted, unrestricted, voided",
            ),
            ("effective_on", DAY, "day from which it holds"),
            ("until", DAY, "last day of an extension"),
            ("authority", TEXT, "who granted an extension"),
            ("restriction", TEXT, "what alone is allowed"),
            ("reason", TEXT, "why"),
            ("voids", TEXT, "number of the event that counts as never entered"),
            ENTRY,
            RECORDED,
        ),
        _events,
    ),
    Table(
        "vision-tests",
        "Day and result of vision tests, and no more of anybody's health.",
        (
            ("test", TEXT, "number of the test"),
            PERSON,
            ("tested_on", DAY, "day of the test"),
            ("result", TEXT, "passed or failed"),
            RECORDED,
            WITHDRAWN_AT,
        ),
        _vision,
    ),
    Table(
        "work-records",
        "Work that keeps certificates alive.",
        (
            PERSON,
            SCOPE,
            ("performed_on", DAY, "day on which it was done"),
            ("reference", TEXT, "unit or work order"),
            ("confirmed_by", TEXT, "who confirmed it"),
            RECORDED,
            WITHDRAWN_AT,
        ),
        _work,
    ),
    Table(
        "facts",
        "Every fact on which standings rest, with both its times.",
        (
            ("kind", TEXT, "certificate, vision test, work, or what happened to a certificate"),
            ("fact", TEXT, "its number"),
            PERSON,
            SCOPE,
            ("holds_from", DAY, "day from which it holds"),
            RECORDED,
            WITHDRAWN_AT,
            (
                "as_known_then",
                TEXT,
                "counts, not yet recorded or withdrawn, at the time asked about",
            ),
            ("as_known_now", TEXT, "the same when the pack was asked for"),
            ("detail", TEXT, "last day, result, or what it is about"),
        ),
        _facts,
    ),
    Table(
        "standing",
        "How people stood, by span of days.",
        (
            ("as_known", TEXT, "then: by what had been recorded at the time asked about; now"),
            ("as_known_at", AT, "that time"),
            PERSON,
            SCOPE,
            ("first_day", DAY, "first day, itself included"),
            ("last_day", DAY, "last day, itself included; empty where nothing known ends it"),
            ("standing", TEXT, "certified, or why not"),
            ("certificate", TEXT, "number of the certificate that answers"),
            ("restriction", TEXT, "what alone is allowed"),
            ("rule", TEXT, "rule that decided"),
        ),
        _standing,
    ),
    Table(
        "boards",
        "Boards, with what their signed judgements add up to.",
        (
            BOARD,
            PERSON,
            ("exercise", TEXT, "code of the exercise"),
            ("exercise_revision", WHOLE, "its revision"),
            ("exercise_title", TEXT, "its title"),
            ("purpose", TEXT, "practice, qualification, requalification or production"),
            ("site", TEXT, "letters of the site"),
            ("unit", TEXT, "unit"),
            ("work_order", TEXT, "work order"),
            ("alloy", TEXT, "solder alloy"),
            ("handed_out_on", DAY, "day on which it was handed out"),
            ("handed_in_at", AT, "when it was handed in"),
            ("complete", YES, "whether every stage asked for is signed"),
            ("passed", YES, "whether it passed"),
            ("score", NUMBER, "0 to 100, not rounded"),
            ("joints_judged", WHOLE, "joints that were judged"),
            ("joints_rejected", WHOLE, "joints that were rejected"),
            (
                "judgements_told",
                YES,
                "false while two graders judge it apart or another reading was asked for",
            ),
            RECORDED,
        ),
        _boards,
    ),
    Table(
        "gradings",
        "Signed stages of gradings.",
        (
            ("grading", WHOLE, "number of the grading in this register"),
            BOARD,
            ("kind", TEXT, "first, rework, decision or another"),
            ("stage", TEXT, "prepared, formed, soldered or cleaned"),
            ("grader", TEXT, "name as signed"),
            ("criteria_set", TEXT, "set and revision; in full in data/criteria"),
            ("replaces", WHOLE, "the grading that this one corrects"),
            ("reason", TEXT, "why it does"),
            ("recorded_at", AT, "when it was begun"),
            ("signed_at", AT, "when the stage was signed"),
            ENTRY,
            ("content_sha256", TEXT, "SHA-256 of what was signed; the text is in signatures.jsonl"),
        ),
        _gradings,
    ),
    Table(
        "judgements",
        "Signed judgements.",
        (
            ("grading", WHOLE, "number of the grading"),
            BOARD,
            JOINT,
            MAKE,
            ("stage", TEXT, "prepared, formed, soldered or cleaned"),
            ("criterion", TEXT, "code of the criterion"),
            ("outcome", TEXT, "accept, reject or not_applicable"),
            ("how", TEXT, "at_board, photograph, instrument or marks"),
            ("magnification", NUMBER, "times"),
            ("photograph_sha256", TEXT, "the photograph it was judged from"),
            ("mark_x", NUMBER, "pixels of the upright photograph, to the right"),
            ("mark_y", NUMBER, "pixels of the upright photograph, downwards"),
            ("tool", TEXT, "code of the instrument"),
            ("value", NUMBER, "what was measured, in the criterion's unit"),
            ("uncertainty", NUMBER, "expanded uncertainty U = 2u, in the same unit"),
            ("measurement", WHOLE, "number of the measurement"),
            ("by_eye_because", TEXT, "why a measured criterion was judged by eye"),
            ("note", TEXT, "note"),
            ("with_the_rest", YES, "accepted with all that was still open, by one key"),
            ("judged_at", AT, "when"),
        ),
        _judgements,
    ),
    Table(
        "measurements",
        "Measurements on photographs, with their marks.",
        (
            ("measurement", WHOLE, "number of the measurement"),
            BOARD,
            ("photograph_sha256", TEXT, "the photograph"),
            JOINT,
            MAKE,
            ("criterion", TEXT, "code of the criterion"),
            ("quantity", TEXT, "scale, length, clearance, wrap, fillet, wetting_angle or fill"),
            ("marks", "object", "marks by kind, pixels of the upright photograph: right, down"),
            ("options", "object", "what was said with the marks"),
            ("mark_uncertainty_px", NUMBER, "standard uncertainty of a mark, pixels"),
            ("mm_per_px", NUMBER, "millimetres a pixel"),
            ("value", NUMBER, "the result"),
            ("standard_uncertainty", NUMBER, "its standard uncertainty u, in the same unit"),
            ("unit", TEXT, "mm, deg, d, D, percent or none"),
            ("budget", "object", "terms of the uncertainty, each a standard uncertainty"),
            ("view", "object", "bounds of the view as they counted"),
            ("remarks", "array", "what is not proven"),
            ("verdict", TEXT, "within, outside or too close to call"),
            ("measured_by", TEXT, "who"),
            RECORDED,
        ),
        _measurements,
    ),
    Table(
        "photographs",
        "Photographs, as they came.",
        (
            ("photograph", WHOLE, "number of the photograph in this register"),
            BOARD,
            JOINT,
            MAKE,
            ("stage", TEXT, "prepared, formed, soldered or cleaned"),
            ("file", TEXT, "where it lies in the pack; empty where it could not be read any more"),
            ("sha256", TEXT, "SHA-256 of the file as it came"),
            ("size_bytes", WHOLE, "bytes"),
            ("media_type", TEXT, "media type"),
            ("original_name", TEXT, "what the file was called when it came"),
            ("upright_width", WHOLE, "pixels, turned upright"),
            ("upright_height", WHOLE, "pixels, turned upright"),
            ("magnification", NUMBER, "times"),
            ("scale_px_per_mm", NUMBER, "pixels a millimetre"),
            ("setup", TEXT, "photo set-up; by hand where empty"),
            ("is_incomplete", YES, "whether a part of the file was lost before it came"),
            RECORDED,
        ),
        _photographs,
    ),
    Table(
        "written-tests",
        "Papers of written tests that certificates rest on, or that the person had.",
        (
            PAPER,
            PERSON,
            ("test", TEXT, "code of the test"),
            ("test_revision", WHOLE, "its revision"),
            ("test_title", TEXT, "its title"),
            ("attempt", WHOLE, "1 for the first try"),
            ("form", TEXT, "letter of the form; empty where questions were drawn for this paper"),
            ("medium", TEXT, "screen or printed"),
            ("site", TEXT, "letters of the site"),
            ("begun_at", AT, "when it was begun"),
            ("ended_at", AT, "when it took no more answers"),
            ("ended_how", TEXT, "handed_in, time_over or entered, from paper"),
            ("ended_on", DAY, "the day of the site on which it ended"),
            ("withdrawn_at", AT, "from when on it counts for nothing"),
            ("withdrawn_because", TEXT, "why"),
            (
                "questions_told",
                YES,
                "false before it has ended, and while whoever asked for the pack has the same test "
                "before them",
            ),
            RECORDED,
        ),
        _written_tests,
    ),
    Table(
        "written-test-results",
        "What papers came to; of several for one paper the last counts.",
        (
            PAPER,
            ("round", WHOLE, "1, or 2 where it was marked again with late answers"),
            ("right", WHOLE, "questions answered rightly"),
            ("of", WHOLE, "questions asked"),
            ("pass_percent", WHOLE, "per cent right that pass"),
            ("missed", WHOLE, "questions that must be right and were not"),
            ("passed", YES, "whether it was passed"),
            ("late_count", YES, "whether late answers count"),
            ("reason", TEXT, "why it was marked again"),
            ENTRY,
            RECORDED,
        ),
        _paper_results,
    ),
    Table(
        "written-test-questions",
        "What papers asked, as it stood on them. What would be right is in no pack.",
        (
            PAPER,
            QUESTION,
            ("code", TEXT, "code of the question in its test"),
            ("topic", TEXT, "topic"),
            ("kind", TEXT, "one, several, number, order or place"),
            ("text", TEXT, "the question"),
            ("choices", "array", "choices in the order in which they stood"),
            ("unit", TEXT, "unit of the number asked for"),
            ("picture_says", TEXT, "what its picture shows"),
            ("must_be_right", YES, "whether nobody passes without it"),
            (
                "answered_rightly",
                YES,
                "as the result that counts has it; empty while a revision of the test is in use, "
                "since it would tell what is right",
            ),
        ),
        _paper_questions,
    ),
    Table(
        "written-test-answers",
        "Answers as they were given; of several to a question the latest in time counts.",
        (
            ("answer", WHOLE, "number of the answer, by which the trail names it"),
            PAPER,
            QUESTION,
            (
                "given",
                "array",
                "as it was given: places among the choices counted from 0, their order, a number, "
                "or squares of the picture",
            ),
            ("given_in_words", TEXT, "the same in the words of the paper"),
            ("late", YES, "whether it came after the time was over"),
            ("entered_by", TEXT, "sign-in of whoever entered it from paper"),
            RECORDED,
        ),
        _paper_answers,
    ),
    Table(
        "signatures",
        "Signatures; what was signed stands in full in data/signatures.jsonl.",
        (
            ENTRY,
            ("printed_name", TEXT, "name as printed"),
            ("signed_in_as", TEXT, "sign-in"),
            ("signed_at", AT, "when"),
            ("zone", TEXT, "clock of the signer"),
            ("meaning", TEXT, "what it means"),
            ("about_type", TEXT, "kind of thing that was signed"),
            ("about_id", TEXT, "its number"),
            ("proof", TEXT, "how the signer showed who they are"),
            ("content_sha256", TEXT, "SHA-256 of what was signed"),
        ),
        _signatures,
    ),
)
