"""The first page of an evidence pack: it reads like a dossier, in any browser, without a network.

However much a pack holds, the page shows no more than can be read; all of it stands in the tables.
"""

import json
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from itertools import islice
from pathlib import Path
from typing import Any

from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments.models import Board, Paper, PaperResult, Photo
from audit.domain.bag import FileInBag, safe_name
from audit.models import EvidencePack
from audit.queries.pack_rows import PackRows, is_open
from certification.domain.disclosure import Reader
from certification.domain.standing import Standing
from certification.models import CertificateEvent
from certification.presenters.standing_page import LifeInFull, life_in_full
from certification.presenters.standing_words import reason_for
from people.models import Installation, Person
from people.presenters.days import format_day, format_instant
from records.domain.chain import short_form
from records.models import Signature
from training.models import Stage

from . import pack_drawings, pack_tables

INDEX, STYLESHEET = "index.html", "index.css"
MOST_LINES = 200
MOST_BOARDS = 60
MOST_PHOTOS = 3
MOST_FILES = 400
MOST_LIVES = 6
"""How many people and scopes are drawn over time; where there are more, none is."""
STYLES = ("tokens", "base", "tables", "layout", "print", "life", "evidence_pack")
COMMENT = re.compile(r"/\*.*?\*/\s*", re.DOTALL)


@dataclass(frozen=True)
class Stood:
    """How somebody stood for a scope on the day asked about."""

    person: Person
    scope: Any
    then: Any
    now: Any
    then_because: Any = ""
    now_because: Any = ""


@dataclass(frozen=True)
class LifeSaid:
    """How somebody stood for a scope over time, as known at an instant.

    ``is_then`` where that is the one asked about, and not when the pack was made.
    """

    person: Person
    scope: Any
    known_at: datetime
    is_then: bool
    life: LifeInFull


@dataclass(frozen=True)
class FactSaid:
    holds_from: date
    recorded_at: datetime
    what: str
    detail: str
    person: str
    then: str
    now: str
    link: str


@dataclass(frozen=True)
class BoardSaid:
    board: Board
    result: str
    score: Any
    is_told: bool
    sheet: str
    photos: list[tuple[str, Photo]]
    more_photos: int


@dataclass(frozen=True)
class PaperSaid:
    """A paper of a written test: ``result`` is that which counts, None before there is one."""

    paper: Paper
    result: PaperResult | None
    state: str
    is_told: bool


def index_page(rows: PackRows, files: Iterable[FileInBag]) -> bytes:
    """The page as UTF-8 HTML that needs nothing beside the pack."""
    return render_to_string("audit/evidence_pack_index.html", context_of(rows, files)).encode()


def context_of(rows: PackRows, files: Iterable[FileInBag]) -> dict[str, Any]:
    pack = rows.pack
    zone = pack.site.zone
    shown, photo_count, photo_bytes, drawing_count, count, size = _files(files)
    paths = {file.path for file, _anchor in shown}
    stood = list(islice(_stood(rows), MOST_LINES + 1))
    facts = list(islice(_facts(rows, paths), MOST_LINES + 1))
    boards = list(islice(_boards(rows, paths), MOST_BOARDS + 1))
    signatures = list(islice(rows.signatures(), MOST_LINES + 1))
    papers = list(islice(_papers(rows), MOST_LINES + 1))
    head = pack.head
    return {
        "pack": pack,
        "zone": zone,
        "stylesheet": STYLESHEET,
        "organisation": Installation.current().organisation,
        "day": day_asked(pack),
        "question": question_said(pack),
        "answer": _answer(pack, stood[:MOST_LINES], rows),
        "one": stood[0] if len(stood) == 1 else None,
        "stood": stood[:MOST_LINES] if len(stood) != 1 else [],
        "lives": list(_lives(rows)) if len(stood) <= MOST_LIVES else [],
        "facts": facts[:MOST_LINES],
        "boards": boards[:MOST_BOARDS],
        "signatures": [(each, signed_said(each)) for each in signatures[:MOST_LINES]],
        "papers": papers[:MOST_LINES],
        "criteria": [(each, criteria_path(each)) for each in rows.criteria_sets()],
        "schemes": [(each, scheme_path(each)) for each in rows.scheme_revisions()],
        "files": shown,
        "photo_count": photo_count,
        "photo_bytes": photo_bytes,
        "drawing_count": drawing_count,
        "count": count,
        "size": size,
        "more": {
            "stood": len(stood) > MOST_LINES,
            "facts": len(facts) > MOST_LINES,
            "boards": len(boards) > MOST_BOARDS,
            "signatures": len(signatures) > MOST_LINES,
            "papers": len(papers) > MOST_LINES,
        },
        "head": head,
        "head_short": short_form(head.number, head.entry_hash) if head else "",
        "has_persons": len(rows.person_keys),
    }


@lru_cache(maxsize=1)
def styles() -> bytes:
    """The site's own style sheets in one, without what they say to whoever changes them."""
    found = [finders.find(f"css/{name}.css") for name in STYLES]
    texts = [Path(str(path)).read_text("utf-8") for path in found if path]
    return COMMENT.sub("", "\n".join(texts)).encode()


def day_asked(pack: EvidencePack) -> date:
    """The day on which standings are told: the last of the question, else that of the pack."""
    return pack.last_day or pack.site.today(pack.as_of)


def question_said(pack: EvidencePack) -> str:
    """What was asked, as a sentence in the language of whoever reads."""
    said = _question(pack)
    if pack.known_at is not None:
        said += " " + _("As known at %(then)s, and as known now.") % {
            "then": format_instant(pack.known_at, pack.site.zone)
        }
    return said


def _question(pack: EvidencePack) -> str:
    if pack.certificate is not None:
        return _("What does certificate %(number)s of %(name)s stand on, and does it stand?") % {
            "number": pack.certificate.number,
            "name": pack.certificate.printed_name,
        }
    if pack.person is not None:
        return _("What is recorded of the work and the certificates of %(name)s, %(number)s?") % {
            "name": pack.person.full_name,
            "number": pack.person.employee_number,
        }
    if pack.board is not None:
        return _("What is recorded of board %(number)s, and how was it judged?") % {
            "number": pack.board.number
        }
    scopes = ", ".join(pack.scopes.order_by("code").values_list("title", flat=True))
    # Both are there: the row's constraint says so.
    days = {
        "first": format_day(pack.first_day or day_asked(pack)),
        "last": format_day(day_asked(pack)),
    }
    if scopes:
        return _("Who was certified for %(scopes)s from %(first)s through %(last)s?") % {
            "scopes": scopes,
            **days,
        }
    return _("Who was certified for anything from %(first)s through %(last)s?") % days


def _answer(pack: EvidencePack, stood: list[Stood], rows: PackRows) -> str:
    if pack.board is not None:
        outcome = getattr(pack.board, "outcome", None)
        if outcome is None or not is_open(pack.board) or not outcome.complete:
            return _("It is not judged to the end.")
        return _("It passed.") if outcome.passed else _("It did not pass.")
    certified = sum(each.now.standing == Standing.CERTIFIED for each in stood)
    day = format_day(day_asked(pack))
    if len(stood) == 1:
        scope = {"name": stood[0].person.full_name, "scope": stood[0].scope.title, "day": day}
        if certified:
            return _("%(name)s was certified for %(scope)s on %(day)s.") % scope
        return _("%(name)s was not certified for %(scope)s on %(day)s.") % scope
    if not stood:
        return _("Nobody: no certificate is recorded that this asks about.")
    people = len(rows.person_keys)
    return ngettext(
        "One person holds or held such certificates. How they stood on %(day)s:",
        "%(n)d people hold or held such certificates. How they stood on %(day)s:",
        people,
    ) % {"n": people, "day": day}


def _stood(rows: PackRows) -> Iterator[Stood]:
    day = day_asked(rows.pack)
    for person, scope, facts in rows.facts():
        answers = {
            known: line.on(day) for known, _at, line in pack_tables.timelines_of(facts, rows)
        }
        now = answers[pack_tables.NOW]
        then = answers.get(pack_tables.KNOWN)
        yield Stood(
            person,
            scope,
            then,
            now,
            reason_for(then.rule, Reader.IN_FULL) if then else "",
            reason_for(now.rule, Reader.IN_FULL),
        )


def _lives(rows: PackRows) -> Iterator[LifeSaid]:
    day = day_asked(rows.pack)
    for place, (person, scope, facts) in enumerate(rows.facts()):
        drawn: set[tuple[Any, ...]] = set()
        for known, at, line in reversed(pack_tables.timelines_of(facts, rows)):
            told = tuple(line.spans)
            if told in drawn:
                continue  # What was known then is what is known now.
            drawn.add(told)
            life = life_in_full(
                person,
                scope,
                facts,
                day=day,
                today=rows.pack.site.today(at),
                known_at=at,
                ids=f"life-{place}-{known}-",
            )
            yield LifeSaid(person, scope, at, known == pack_tables.KNOWN, life)


def _facts(rows: PackRows, paths: set[str]) -> Iterator[FactSaid]:
    known_at = rows.pack.known_at or rows.at
    table = "data/tables/facts.csv"
    facts = list(islice(pack_tables.facts_of(rows), 20 * MOST_LINES)) if paths else []
    for fact in sorted(facts, key=lambda each: (each.holds_from, each.recorded_at, each.name)):
        sheet = certificate_path(fact.name)
        yield FactSaid(
            fact.holds_from,
            fact.recorded_at,
            _kind_said(fact.kind, fact.name),
            _detail_said(fact),
            fact.person,
            pack_tables.counts_as_known(fact.recorded_at, fact.withdrawn_at, known_at),
            pack_tables.counts_as_known(fact.recorded_at, fact.withdrawn_at, rows.at),
            sheet if fact.kind == "certificate" and sheet in paths else table,
        )


def _kind_said(kind: str, name: str) -> str:
    if kind == "certificate":
        return _("certificate %(number)s") % {"number": name}
    if kind == "vision test":
        return _("vision test %(number)s") % {"number": name}
    if kind == "work":
        return _("work done")
    return f"{CertificateEvent.Kind(kind).label}, {name}"


def _detail_said(fact: pack_tables.Fact) -> str:
    if fact.kind == "vision test":
        return _("passed") if fact.detail == "passed" else _("not passed")
    if fact.kind == "certificate":
        return fact.scope
    return fact.detail


def _boards(rows: PackRows, paths: set[str]) -> Iterator[BoardSaid]:
    photos = rows.photos()
    photo = next(photos, None)
    for board in rows.boards():
        # Both walks go by the boards' keys.
        shown: list[tuple[str, Photo]] = []
        more = 0
        while photo is not None and photo.board_id <= board.pk:
            path = pack_tables.photo_path(photo)
            if photo.board_id == board.pk:
                if len(shown) < MOST_PHOTOS and photo.media_type in ("image/jpeg", "image/png"):
                    shown.append((path, photo))
                else:
                    more += 1
            photo = next(photos, None)
        outcome = getattr(board, "outcome", None)
        is_told = is_open(board)
        result = "open"
        if is_told and outcome is not None and outcome.complete:
            result = "passed" if outcome.passed else "failed"
        sheet = sheet_path(board)
        yield BoardSaid(
            board,
            result,
            outcome.score if outcome and result != "open" else None,
            is_told,
            sheet if sheet in paths else "",
            shown,
            more,
        )


def _papers(rows: PackRows) -> Iterator[PaperSaid]:
    for papers, told in rows.lots_of_papers():
        results: dict[int, PaperResult] = {}
        of_these = PaperResult.objects.filter(paper__in=papers, recorded_at__lte=rows.at)
        for each in of_these.order_by("paper", "round"):
            results[each.paper_id] = each
        for paper in papers:
            result = results.get(paper.pk)
            if rows.counted(paper, "withdrawal") is not None:
                result, state = None, "withdrawn"
            elif result is not None:
                state = "passed" if result.passed else "failed"
            else:
                state = "open"
            yield PaperSaid(paper, result, state, paper.pk in told)


def signed_said(signature: Signature) -> str:
    """What a signature is on: the board and stage, or the certificate, that its text names."""
    content = json.loads(signature.content)
    if not isinstance(content, dict):
        return signature.about_id
    number = content.get("board") or content.get("certificate") or content.get("number")
    if signature.about_type == "certificate":
        number = signature.about_id
    if not isinstance(number, str):
        return ""
    stage = content.get("stage")
    return f"{number}, {Stage(stage).label}" if stage in Stage.values else number


def _files(
    files: Iterable[FileInBag],
) -> tuple[list[tuple[FileInBag, str]], int, int, int, int, int]:
    """Files to list, with what an address names each by; photographs, drawings, and all of them."""
    shown: list[tuple[FileInBag, str]] = []
    photo_count = photo_bytes = drawing_count = count = size = 0
    for file in files:
        if not file.is_payload:
            continue
        count, size = count + 1, size + file.size_bytes
        if file.path.startswith("data/photographs/"):
            photo_count, photo_bytes = photo_count + 1, photo_bytes + file.size_bytes
        elif file.path.startswith(pack_drawings.FOLDER):
            drawing_count += 1
        elif len(shown) < MOST_FILES:
            shown.append((file, "f-" + re.sub(r"[^a-z0-9]+", "-", file.path.lower())))
    return shown, photo_count, photo_bytes, drawing_count, count, size


def certificate_path(number: str) -> str:
    return f"data/certificates/{safe_name(number)}.pdf"


def sheet_path(board: Board) -> str:
    return f"data/results/{safe_name(board.number)}.pdf"


def criteria_path(criteria_set: Any) -> str:
    return f"data/criteria/{safe_name(str(criteria_set))}-{criteria_set.pk}.json"


def scheme_path(revision: Any) -> str:
    return f"data/schemes/{safe_name(str(revision))}-{revision.pk}.json"
