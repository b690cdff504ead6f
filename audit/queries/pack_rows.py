"""Which rows an evidence pack holds, lot by lot: however much there is, little is read at once.

A pack holds what had been recorded by the entry that is its head, of the sites it was asked for.
Keys alone are held in memory, as numbers; rows are read some hundred boards or people at a time.
"""

from array import array
from bisect import bisect_left
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from functools import cached_property
from typing import Any

from django.db.models import Exists, Min, Model, OuterRef, Q, QuerySet

from assessments.access import board_has_result, written_tests_readable_by
from assessments.models import (
    Board,
    CriteriaSet,
    Grading,
    Judgement,
    Measurement,
    Paper,
    PaperAnswer,
    PaperEnd,
    PaperQuestion,
    PaperResult,
    PaperStart,
    PaperWithdrawal,
    Photo,
    ReadingRequest,
    StageSigning,
    WrittenTest,
)
from audit.models import EvidencePack
from certification.domain.standing import CertificateFact, EventFact, Facts
from certification.models import (
    Certificate,
    CertificateEvent,
    Proposal,
    SchemeRevision,
    Scope,
)
from certification.queries import standing_on_day
from people.models import Person
from people.queries.memberships import site_then
from records.domain.kinds import kind_of
from records.models import Signature, TrailEntry
from records.queries.trail_acts import REMOVED
from training.models import PracticeRecord, VisionTest

LOT = 200
FOR_EVERYBODY = frozenset(
    {"criteria-set", "criterion", "exercise-criteria", "scheme-revision", "scope", "operation"}
)
"""Kinds of things that are the organisation's, and that every person who signs in may read."""
PAPER_KINDS: dict[str, tuple[type[Model], str]] = {
    "test-paper-start": (PaperStart, "paper"),
    "test-paper-answer": (PaperAnswer, "paper_question__paper"),
    "test-paper-end": (PaperEnd, "paper"),
    "test-paper-withdrawal": (PaperWithdrawal, "paper"),
}
"""What the trail says in full of a paper: neither its seed nor question by question what was right,
by which others who sit the same test could tell what it asks and what is right."""
READING_REQUEST = kind_of(ReadingRequest.__name__)
About = EvidencePack.About


class Keys:
    """Primary keys in ascending order, eight bytes each."""

    def __init__(self, keys: Iterable[int]) -> None:
        self._keys = array("q", sorted(set(keys)))

    def __len__(self) -> int:
        return len(self._keys)

    def __contains__(self, key: object) -> bool:
        if not isinstance(key, int):
            return False
        at = bisect_left(self._keys, key)
        return at < len(self._keys) and self._keys[at] == key

    def lots(self) -> Iterator[list[int]]:
        for start in range(0, len(self._keys), LOT):
            yield self._keys[start : start + LOT].tolist()


def _keys_of(rows: QuerySet[Any], field: str = "pk") -> Iterator[int]:
    return rows.order_by().values_list(field, flat=True).iterator(chunk_size=2000)


class PackRows:
    """The rows of one pack."""

    def __init__(self, pack: EvidencePack) -> None:
        self.pack, self.at = pack, pack.as_of
        self.site_ids = sorted(pack.sites.values_list("pk", flat=True))
        self.scope_ids = sorted(pack.scopes.values_list("pk", flat=True))

    @property
    def holds_standing(self) -> bool:
        """Whether how people stood is asked about, and not one board alone."""
        return self.pack.about != About.BOARD

    # Certificates and people

    @cached_property
    def certificate_keys(self) -> Keys:
        return Keys(self._certificate_keys())

    def _certificate_keys(self) -> Iterable[int]:
        pack = self.pack
        readable = (
            Certificate.objects.alias(issued_at=site_then("issued_on"))
            .filter(Q(person__site__in=self.site_ids) | Q(issued_at__in=self.site_ids))
            .filter(recorded_at__lte=self.at)
        )
        if pack.certificate is not None:
            asked = pack.certificate
            return _keys_of(readable.filter(person=asked.person_id, scope=asked.scope_id))
        if pack.person is not None:
            return _keys_of(readable.filter(person=pack.person))
        if pack.board is not None:
            number = pack.board.number
            held = readable.filter(person=pack.board.person_id).order_by("pk")
            return [each.pk for each in held if number in _boards_named(each.evidence)]
        in_period = Q(valid_through__gte=pack.first_day) | Exists(
            CertificateEvent.objects.filter(certificate=OuterRef("pk"), until__gte=pack.first_day)
        )
        asked_for = readable.filter(in_period, issued_on__lte=pack.last_day)
        if self.scope_ids:
            asked_for = asked_for.filter(scope__in=self.scope_ids)
        return _keys_of(asked_for)

    @cached_property
    def person_keys(self) -> Keys:
        pack = self.pack
        if pack.certificate is not None:
            return Keys([pack.certificate.person_id])
        if pack.person is not None:
            return Keys([pack.person.pk])
        if pack.board is not None:
            return Keys([pack.board.person_id])
        keys: set[int] = set()
        for lot in self.certificate_keys.lots():
            keys.update(_keys_of(Certificate.objects.filter(pk__in=lot), "person_id"))
        return Keys(keys)

    def people(self) -> Iterator[Person]:
        for lot in self.person_keys.lots():
            yield from Person.objects.filter(pk__in=lot).select_related("site").order_by("pk")

    @cached_property
    def standing_keys(self) -> Keys:
        """People whose standing the pack may tell: those who are at its sites."""
        keys: set[int] = set()
        if self.holds_standing:
            for lot in self.person_keys.lots():
                keys.update(_keys_of(Person.objects.filter(pk__in=lot, site__in=self.site_ids)))
        return Keys(keys)

    def certificates(self) -> Iterator[Certificate]:
        for lot in self.certificate_keys.lots():
            yield from (
                Certificate.objects.filter(pk__in=lot)
                .select_related("person__site", "scope", "scheme_revision", "renews", "withdrawal")
                .select_related("signature")
                .order_by("pk")
            )

    def events(self) -> Iterator[CertificateEvent]:
        for lot in self.certificate_keys.lots():
            yield from (
                CertificateEvent.objects.filter(certificate__in=lot, recorded_at__lte=self.at)
                .select_related("certificate__person", "certificate__scope", "voids", "signature")
                .order_by("certificate_id", "recorded_at", "pk")
            )

    def vision_tests(self) -> Iterator[VisionTest]:
        for lot in self.standing_keys.lots():
            yield from (
                VisionTest.objects.filter(person__in=lot, recorded_at__lte=self.at)
                .select_related("person", "withdrawal")
                .order_by("person_id", "tested_on", "pk")
            )

    def practice(self) -> Iterator[PracticeRecord]:
        codes = self._practice_codes()
        for lot in self.standing_keys.lots():
            records = PracticeRecord.objects.filter(person__in=lot, recorded_at__lte=self.at)
            if codes is not None:
                records = records.filter(scope_code__in=codes)
            records = records.select_related("person", "withdrawal", "confirmed_by__person")
            yield from records.order_by("person_id", "performed_on", "pk").iterator(chunk_size=2000)

    def _practice_codes(self) -> list[str] | None:
        if self.pack.certificate is not None:
            return [self.pack.certificate.scope.code]
        if self.scope_ids:
            return list(Scope.objects.filter(pk__in=self.scope_ids).values_list("code", flat=True))
        return None

    def facts(self) -> Iterator[tuple[Person, Scope, Facts]]:
        """What bears on each person and scope, as recorded when the pack was asked for."""
        scopes = Scope.objects.in_bulk()
        wanted = set(self.scope_ids)
        if self.pack.certificate is not None:
            wanted = {self.pack.certificate.scope_id}
        for lot in self.standing_keys.lots():
            people = Person.objects.in_bulk(lot)
            found = standing_on_day.facts_for_many(lot).by_person_and_scope
            for (person_id, scope_id), facts in sorted(found.items()):
                if not wanted or scope_id in wanted:
                    yield people[person_id], scopes[scope_id], _recorded_by(facts, self.at)

    # Boards

    @cached_property
    def board_keys(self) -> Keys:
        pack = self.pack
        boards = Board.objects.filter(site__in=self.site_ids, recorded_at__lte=self.at)
        if pack.board is not None:
            return Keys([pack.board.pk])
        if pack.person is not None:
            return Keys(_keys_of(boards.filter(person=pack.person)))
        if pack.certificate is not None:
            numbers = _boards_named(pack.certificate.evidence)
            return Keys(_keys_of(boards.filter(number__in=numbers)))
        keys: set[int] = set()
        for lot in self.certificate_keys.lots():
            evidences = Certificate.objects.filter(pk__in=lot).values_list("evidence", flat=True)
            numbers = [number for evidence in evidences for number in _boards_named(evidence)]
            keys.update(_keys_of(boards.filter(number__in=numbers)))
        return Keys(keys)

    def boards(self) -> Iterator[Board]:
        for lot in self.board_keys.lots():
            yield from self._boards(lot)

    def _boards(self, lot: Sequence[int]) -> QuerySet[Board]:
        return (
            Board.objects.filter(pk__in=lot)
            .select_related("person", "exercise", "site", "outcome", "session", "reading_request")
            .order_by("pk")
        )

    def lots_of_boards(self) -> Iterator[tuple[list[int], list[int]]]:
        """Keys of boards, and of those among them of which the judgements may be told."""
        for lot in self.board_keys.lots():
            yield lot, [board.pk for board in self._boards(lot) if is_open(board)]

    def are_judged_since(self) -> bool:
        """Whether a board of the pack was judged, or another reading asked for, after its head.

        Which boards are open is asked as of now, so what was written before may say otherwise.
        """
        head = self.pack.head_id or 0
        signings = StageSigning.objects.filter(signature__entry__gt=head)
        asked = TrailEntry.objects.filter(number__gt=head, about_type=READING_REQUEST)
        requests = ReadingRequest.objects.filter(
            pk__in=[int(key) for key in asked.values_list("about_id", flat=True)]
        )
        later = {*_keys_of(signings, "grading__board"), *_keys_of(requests, "board")}
        return any(board in self.board_keys for board in later)

    def gradings(self) -> Iterator[Grading]:
        for _lot, told in self.lots_of_boards():
            signed = StageSigning.objects.filter(
                grading=OuterRef("pk"), signature__entry__lte=self.pack.head_id
            )
            yield from (
                Grading.objects.filter(Exists(signed), board__in=told)
                .exclude(kind=Grading.Kind.OWN)
                .select_related("board", "grader__person", "criteria_set", "replaces")
                .order_by("board_id", "pk")
            )

    def signings(self) -> Iterator[StageSigning]:
        for _lot, told in self.lots_of_boards():
            yield from (
                StageSigning.objects.filter(
                    grading__board__in=told, signature__entry__lte=self.pack.head_id
                )
                .exclude(grading__kind=Grading.Kind.OWN)
                .select_related("grading__board", "grading__criteria_set", "signature__entry")
                .order_by("grading__board_id", "grading_id", "pk")
            )

    def judgements(self) -> Iterator[Judgement]:
        """Those that are signed."""
        signed = StageSigning.objects.filter(
            grading=OuterRef("grading"),
            stage=OuterRef("stage"),
            signature__entry__lte=self.pack.head_id,
        )
        for _lot, told in self.lots_of_boards():
            yield from (
                Judgement.objects.filter(Exists(signed), grading__board__in=told)
                .exclude(grading__kind=Grading.Kind.OWN)
                .select_related("grading__board", "joint__position", "criterion", "photo", "tool")
                .order_by("grading__board_id", "grading_id", "stage", "pk")
                .iterator(chunk_size=2000)
            )

    def measurements(self) -> Iterator[Measurement]:
        for _lot, told in self.lots_of_boards():
            yield from (
                Measurement.objects.filter(photo__board__in=told, recorded_at__lte=self.at)
                .select_related("photo__board", "joint__position", "criterion", "measured_by")
                .order_by("photo__board_id", "pk")
                .iterator(chunk_size=2000)
            )

    def photos(self) -> Iterator[Photo]:
        for lot in self.board_keys.lots():
            yield from self._photos(lot).order_by("board_id", "pk").iterator(2000)

    def _photos(self, lot: Collection[int]) -> QuerySet[Photo]:
        """Photographs that had come and were not taken back when the pack was asked for."""
        return (
            Photo.every.filter(board__in=lot, recorded_at__lte=self.at)
            .filter(Q(taken_back_at__isnull=True) | Q(taken_back_at__gt=self.at))
            .select_related("board", "joint__position", "setup")
        )

    def photo_count(self) -> int:
        return sum(self._photos(lot).count() for lot in self.board_keys.lots())

    # Written tests

    @cached_property
    def paper_keys(self) -> Keys:
        """Papers that a certificate of the pack rests on; all papers where it is about a person."""
        papers = Paper.objects.filter(site__in=self.site_ids, recorded_at__lte=self.at)
        if self.pack.board is not None:
            return Keys([])
        if self.pack.person is not None:
            return Keys(_keys_of(papers.filter(person=self.pack.person)))
        if self.pack.certificate is not None:
            numbers = _papers_named(self.pack.certificate.evidence)
            return Keys(_keys_of(papers.filter(number__in=numbers)))
        keys: set[int] = set()
        for lot in self.certificate_keys.lots():
            evidences = Certificate.objects.filter(pk__in=lot).values_list("evidence", flat=True)
            numbers = [number for evidence in evidences for number in _papers_named(evidence)]
            keys.update(_keys_of(papers.filter(number__in=numbers)))
        return Keys(keys)

    def lots_of_papers(self) -> Iterator[tuple[list[Paper], set[int]]]:
        """Papers, and the keys of those among them of which it may be told what they ask.

        Not before a paper has ended, and not of a test of which whoever asked for the pack has a
        paper open themselves.
        """
        readable = set(written_tests_readable_by(self.pack.asked_by).values_list("pk", flat=True))
        for lot in self.paper_keys.lots():
            papers = list(
                Paper.objects.filter(pk__in=lot)
                .select_related("test", "person", "site", "start", "end", "withdrawal")
                .order_by("pk")
            )
            yield (
                papers,
                {
                    paper.pk
                    for paper in papers
                    if paper.test_id in readable and self.counted(paper, "end") is not None
                },
            )

    def counted(self, paper: Paper, name: str) -> Any:
        """The start, end or withdrawal of a paper, if it had been recorded by then."""
        row = getattr(paper, name, None)
        return row if row is not None and row.recorded_at <= self.at else None

    def paper_results(self) -> Iterator[PaperResult]:
        for lot in self.paper_keys.lots():
            yield from (
                PaperResult.objects.filter(paper__in=lot, recorded_at__lte=self.at)
                .select_related("paper__test", "signature")
                .order_by("paper_id", "round")
            )

    def paper_questions(self) -> Iterator[PaperQuestion]:
        for _papers, told in self.lots_of_papers():
            yield from (
                PaperQuestion.objects.filter(paper__in=told)
                .select_related("paper", "question")
                .order_by("paper_id", "order")
            )

    def paper_answers(self) -> Iterator[PaperAnswer]:
        """Every answer to the questions that are told, those that were replaced with them."""
        for _papers, told in self.lots_of_papers():
            yield from (
                PaperAnswer.objects.filter(paper_question__paper__in=told, recorded_at__lte=self.at)
                .select_related("paper_question__paper", "paper_question__question", "entered_by")
                .order_by("paper_question__paper_id", "recorded_at", "pk")
            )

    @cached_property
    def codes_in_use(self) -> frozenset[str]:
        """Tests that somebody may still sit: what was right in one would give its key away."""
        return frozenset(WrittenTest.objects.current().values_list("code", flat=True))

    # What was judged and certified by

    def criteria_sets(self) -> Iterator[CriteriaSet]:
        keys: set[int] = set()
        for _lot, told in self.lots_of_boards():
            keys.update(_keys_of(Grading.objects.filter(board__in=told), "criteria_set_id"))
        yield from CriteriaSet.objects.filter(pk__in=keys).order_by("pk")

    def scheme_revisions(self) -> Iterator[SchemeRevision]:
        keys: set[int] = set()
        for lot in self.certificate_keys.lots():
            certificates = Certificate.objects.filter(pk__in=lot)
            keys.update(_keys_of(certificates, "scheme_revision_id"))
        yield from SchemeRevision.objects.filter(pk__in=keys).order_by("pk")

    # The trail

    def first_entry(self) -> int:
        """The earliest entry of the trail about a certificate, board, photograph or its grading."""
        first = self.pack.head_id or 1
        for kind, lots in (
            ("certificate", self._number_lots()),
            ("board", self.board_keys.lots()),
            ("photograph", self._photo_lots()),
            ("test-paper", self.paper_keys.lots()),
        ):
            for lot in lots:
                entries = TrailEntry.objects.filter(about_type=kind, about_id__in=map(str, lot))
                number = entries.order_by("number").values_list("number", flat=True).first()
                first = min(first, number or first)
        for lot in self.board_keys.lots():
            signings = StageSigning.objects.filter(grading__board__in=lot)
            number = signings.aggregate(first=Min("signature__entry"))["first"]
            first = min(first, number or first)
        return first

    def _number_lots(self) -> Iterator[list[str]]:
        for lot in self.certificate_keys.lots():
            yield list(Certificate.objects.filter(pk__in=lot).values_list("number", flat=True))

    def _photo_lots(self) -> Iterator[list[int]]:
        for lot in self.board_keys.lots():
            yield list(_keys_of(self._photos(lot).select_related(None)))

    def entries(self) -> Iterator[list[TrailEntry]]:
        """Every entry from `first_entry` through the head, in lots, with payloads."""
        number, head = self.first_entry() - 1, self.pack.head_id or 0
        while lot := list(
            TrailEntry.objects.filter(number__gt=number, number__lte=head)
            .select_related("payload")
            .order_by("number")[:500]
        ):
            yield lot
            number = lot[-1].number

    def told_in(self, entries: Sequence[TrailEntry]) -> set[int]:
        """Of some entries those that are about what the pack holds.

        So is everything that says of something else that it was removed, by kind, number and
        reason: without it nobody could tell why a text that was signed is not whole any more.
        """
        removed = {entry.number for entry in entries if entry.act in REMOVED.values()}
        by_kind: dict[str, set[str]] = {}
        for entry in entries:
            by_kind.setdefault(entry.about_type, set()).add(entry.about_id)
        told = {kind: self._held(kind, names) for kind, names in by_kind.items()}
        held = {entry.number for entry in entries if entry.about_id in told[entry.about_type]}
        return held | removed

    def _held(self, kind: str, names: set[str]) -> set[str]:
        """Which of some rows of one kind, as the trail names them, are in the pack.

        What tells of somebody's health is in none, nor what people are told and how they sign in.
        """
        if kind in FOR_EVERYBODY:
            return names
        if kind == "evidence-pack":
            return names & {str(self.pack.pk)}
        if kind == "certificate":
            return self._named(Certificate, "number", "pk", names, self.certificate_keys)
        if kind == "certificate-name":
            return self._named(Certificate, "number", "pk", names, self.certificate_keys)
        if kind == "certificate-event":
            of = "certificate_id"
            return self._named(CertificateEvent, "event_id", of, names, self.certificate_keys)
        keys = {name for name in names if name.isdecimal()}
        if kind == "proposal":
            return self._named(Proposal, "pk", "certificate_id", keys, self.certificate_keys)
        if kind == "practice":
            return self._named(PracticeRecord, "pk", "person_id", keys, self.standing_keys)
        if kind in PAPER_KINDS:
            return self._of_papers(*PAPER_KINDS[kind], keys)
        if kind == "photograph":
            return self._named(Photo, "pk", "board_id", keys, self.board_keys)
        if kind == "board":
            return self._open_boards({key: int(key) for key in keys})
        if kind == "grading":
            gradings = Grading.objects.filter(pk__in=keys).exclude(kind=Grading.Kind.OWN)
            return self._open_boards(
                {str(pk): of for pk, of in gradings.values_list("pk", "board")}
            )
        if kind == "measurement":
            measured = Measurement.objects.filter(pk__in=keys).values_list("pk", "photo__board")
            return self._open_boards({str(pk): board for pk, board in measured})
        return set()

    def _named(
        self, model: type[Model], name: str, of: str, names: set[str], held: Keys
    ) -> set[str]:
        """Rows by name that belong to something in the pack."""
        rows = model._base_manager.filter(**{f"{name}__in": names}).values_list(name, of)
        return {str(named) for named, other in rows if other in held}

    def _of_papers(self, model: type[Model], of: str, keys: set[str]) -> set[str]:
        """Rows of papers of which it may be told what they ask."""
        rows = dict(model._base_manager.filter(pk__in=keys).values_list("pk", of))
        told = self._told_papers
        return {str(pk) for pk, paper in rows.items() if paper in told}

    @cached_property
    def _told_papers(self) -> Keys:
        return Keys(key for _papers, told in self.lots_of_papers() for key in told)

    def _open_boards(self, boards: dict[str, int]) -> set[str]:
        """Of things of boards, by name, those whose board is in the pack and open."""
        in_pack = {board for board in boards.values() if board in self.board_keys}
        told = {board.pk for board in self._boards(list(in_pack)) if is_open(board)}
        return {name for name, board in boards.items() if board in told}

    def signatures(self) -> Iterator[Signature]:
        """Signatures on what the pack holds, by their entries in the trail."""
        for entries in self.entries():
            told = self.told_in(entries)
            signed = Signature.objects.filter(entry__in=told).select_related("signer")
            yield from signed.order_by("entry_id")


def is_open(board: Board) -> bool:
    """Whether what was judged of a board may be told to everybody who reads it.

    Where two graders judge it comes after both; while another reading is asked for, after that.
    """
    request = getattr(board, "reading_request", None)
    if request is not None and request.answered_at is None:
        return False
    if board.exercise.graders == 1:
        return True
    return getattr(board, "outcome", None) is not None and board_has_result(board)


def _papers_named(evidence: dict[str, Any]) -> list[str]:
    return [str(paper.get("number", "")) for paper in evidence.get("written_tests", ())]


def _boards_named(evidence: dict[str, Any]) -> list[str]:
    return [str(board.get("number", "")) for board in evidence.get("boards", ())]


def _recorded_by(facts: Facts, at: datetime) -> Facts:
    """Facts without what was recorded later; withdrawn later is not withdrawn."""

    def kept(rows: Iterable[Any]) -> list[Any]:
        return [_not_withdrawn_after(row, at) for row in rows if row.recorded_at <= at]

    events: list[EventFact] = [event for event in facts.events if event.recorded_at <= at]
    certificates: list[CertificateFact] = kept(facts.certificates)
    return Facts(certificates, events, kept(facts.vision_tests), kept(facts.practice))


def _not_withdrawn_after(row: Any, at: datetime) -> Any:
    if row.withdrawn_at is not None and row.withdrawn_at > at:
        return replace(row, withdrawn_at=None)
    return row
