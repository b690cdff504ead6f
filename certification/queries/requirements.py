"""What a scheme asks of somebody before they are certified, as met and not met."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from django.conf import settings
from django.utils.translation import get_language, ngettext
from django.utils.translation import gettext as _

from assessments.models import Board, Paper, StageSigning, WrittenTest
from assessments.queries import effective_judgements, measured_by
from assessments.queries.measured_by import MeasuredTally
from assessments.queries.tool_work import to_do_again
from assessments.queries.written_tests import PassedTest, passes_of
from certification.domain.facts import VisionFact, known
from certification.domain.months import add_months
from certification.domain.path import Path
from certification.domain.standing import Facts
from certification.domain.upkeep import VisionRecord
from certification.models import (
    Certificate,
    Proposal,
    SchemeRequirement,
    SchemeRevision,
    Scope,
)
from people.models import Person, User
from people.presenters.days import format_day
from people.queries.languages import in_language
from training.models import VisionTest

from . import judged_days, path_sentences, paths, standing_on_day

Tallies = Mapping[int, MeasuredTally]


@dataclass(frozen=True)
class PassedBoard:
    """A board that counts, the day it was judged, and every signing on it, oldest first.

    ``judged_on`` is the day on which the last signature came that its result waited for,
    that of a reworked joint too. A correction or another reading made later does not make
    the work younger. ``done_again`` is whether it is made or judged again because of a tool.
    """

    board: Board
    judged_on: date
    signings: tuple[StageSigning, ...]
    done_again: bool = False

    @property
    def graders(self) -> set[int]:
        """Everybody who ever signed a stage of it, corrected gradings included."""
        return {signing.grading.grader_id for signing in self.signings}

    @property
    def effective(self) -> list[StageSigning]:
        """The signings that its result rests on: of every reading the latest of each stage."""
        exercise = self.board.exercise
        return effective_judgements.that_count(self.signings, exercise.stages, exercise.graders)


@dataclass(frozen=True)
class Requirement:
    """One thing asked for: whether it is met, what there is, and what to do next.

    ``written_test`` is the code of a written test that is asked for, ``paper`` the pass of it.
    ``as_kept`` is the same in the site's language, where its reader's is another.
    """

    text: str
    met: bool
    detail: str
    next: str = ""
    exercise_code: str = ""
    boards: tuple[PassedBoard, ...] = ()
    written_test: str = ""
    paper: PassedTest | None = None
    as_kept: Requirement | None = None


@dataclass(frozen=True)
class Candidate:
    """Somebody who could be certified for a scope under a scheme revision on a day.

    ``read`` is everything recorded of them in the scope, read once for whatever is asked of it.
    """

    person: Person
    scope: Scope
    revision: SchemeRevision
    day: date
    read: standing_on_day.Read


def candidate(person: Person, scope: Scope, revision: SchemeRevision, day: date) -> Candidate:
    """One candidate, with what is recorded of them read now."""
    return Candidate(person, scope, revision, day, standing_on_day.read_for(person, scope))


def requirements_of_one(one: Candidate) -> list[Requirement]:
    """What is asked of a candidate that was read already."""
    return requirements_of([one])[0]


def requirements(
    person: Person, scope: Scope, revision: SchemeRevision, day: date
) -> list[Requirement]:
    """What a scheme revision asks of a person for a scope on a day."""
    return requirements_of_one(candidate(person, scope, revision, day))


def requirements_of(candidates: Sequence[Candidate]) -> list[list[Requirement]]:
    """What schemes ask of each of some candidates, in the same few queries for one or many.

    Boards judged up to the day somebody's certificate for the scope was revoked do not
    count any more: they have to show the work anew.
    """
    rows = rows_for(candidates)
    codes = {row.exercise_code for of_pair in rows.values() for row in of_pair}
    people = {one.person.pk for one in candidates}
    boards = _passed_boards(people, codes)
    ways = paths.paths_where_ruled(
        (
            one.person,
            one.revision,
            rows.get((one.revision.pk, one.scope.pk), []),
            one.read.facts,
            one.day,
        )
        for one in candidates
    )
    titles = path_sentences.names_in(row for of_pair in rows.values() for row in of_pair)
    asks_vision = any(one.revision.vision_months for one in candidates)
    tests = vision_facts_of(people) if asks_vision else {}
    written = {one.revision.written_test for one in candidates} - {""}
    passes = passes_of(people) if written else {}
    if written:
        titles |= {_test_key(code): title for code, title in _test_titles(written).items()}
    return [
        _in_both_languages(
            one,
            rows.get((one.revision.pk, one.scope.pk), []),
            titles,
            boards.get(one.person.pk, []),
            tests.get(one.person.pk, []),
            passes.get(one.person.pk, []),
            way,
        )
        for one, way in zip(candidates, ways, strict=True)
    ]


def rows_for(candidates: Sequence[Candidate]) -> Mapping[tuple[int, int], list[SchemeRequirement]]:
    """What schemes ask of some candidates, by the keys of revision and scope."""
    return paths.requirement_rows(
        {one.revision.pk for one in candidates}, {one.scope.pk for one in candidates}
    )


def ways_of(candidates: Sequence[Candidate]) -> tuple[list[Path], dict[str, str]]:
    """How far each candidate is on the way, and the titles of what lies on it."""
    rows = rows_for(candidates)
    asking = [
        (one.person, one.revision, rows.get((one.revision.pk, one.scope.pk), []), one.read.facts,
         one.day)
        for one in candidates
    ]  # fmt: skip
    names = path_sentences.names_in(row for of_pair in rows.values() for row in of_pair)
    return paths.paths_of(asking), names


def _in_both_languages(*of_one: Any) -> list[Requirement]:
    """What is asked of one candidate, as its reader reads it and as it is kept."""
    lines = _requirements_of_one(*of_one)
    if get_language() == settings.LANGUAGE_CODE:
        return lines
    with in_language(settings.LANGUAGE_CODE):
        kept = _requirements_of_one(*of_one)
    return [replace(line, as_kept=each) for line, each in zip(lines, kept, strict=True)]


def _requirements_of_one(
    one: Candidate,
    asked: Sequence[SchemeRequirement],
    titles: Mapping[str, str],
    boards: Sequence[PassedBoard],
    tests: Sequence[VisionFact],
    passes: Sequence[PassedTest],
    way: Path | None,
) -> list[Requirement]:
    lines: list[Requirement] = []
    if not asked:
        lines.append(
            Requirement(
                text=_("Boards passed"),
                met=False,
                detail=_("%(scheme)s names no boards for this scope.") % {"scheme": one.revision},
                next=_(
                    "Ask quality to publish a revision that does, or to enter a certificate "
                    "from elsewhere with its document."
                ),
            )
        )
    after = paths.last_revocation(one.read.facts, one.day)
    for requirement_row in asked:
        lines.append(_boards_requirement(requirement_row, titles, boards, one.day, after, way))
    if one.revision.written_test:
        lines.append(_written_requirement(one.revision, titles, passes, one.day, after))
    if one.revision.vision_months:
        lines.append(_vision_requirement(tests, one.revision.vision_months, one.day))
    return lines


def _boards_requirement(
    asked: SchemeRequirement,
    titles: Mapping[str, str],
    boards: Iterable[PassedBoard],
    day: date,
    after: date | None,
    way: Path | None,
) -> Requirement:
    title = titles.get(asked.exercise_code, asked.exercise_code)
    passing = [
        passed
        for passed in boards
        if passed.board.exercise.code == asked.exercise_code
        and (not asked.purposes or passed.board.purpose in asked.purposes)
        and passed.judged_on <= day
        and (not asked.within_months or add_months(passed.judged_on, asked.within_months) >= day)
        and (after is None or passed.judged_on > after)
    ]
    done_again = sum(passed.done_again for passed in passing)
    passing = [passed for passed in passing if not passed.done_again]
    counting = [passed for passed in passing if way is None or way.counts(passed.board.number)]
    counting.sort(key=lambda passed: (passed.judged_on, passed.board.number), reverse=True)
    missing = max(asked.boards - len(counting), 0)
    detail = ngettext(
        "%(there)d of %(asked)d board passed", "%(there)d of %(asked)d boards passed", asked.boards
    ) % {"there": min(len(counting), asked.boards), "asked": asked.boards}
    if asked.within_months:
        detail = _("%(boards)s in the last %(months)d months") % {
            "boards": detail,
            "months": asked.within_months,
        }
    if after is not None:
        detail = _("%(boards)s, judged after the revocation of %(day)s") % {
            "boards": detail,
            "day": format_day(after),
        }
    if early := len(passing) - len(counting):
        detail = ngettext(
            "%(boards)s; %(n)d more was handed out before its turn and does not count",
            "%(boards)s; %(n)d more were handed out before their turn and do not count",
            early,
        ) % {"boards": detail, "n": early}
    if done_again:
        detail = ngettext(
            "%(boards)s; %(n)d more is to be made or judged again because of a tool and does not "
            "count",
            "%(boards)s; %(n)d more are to be made or judged again because of a tool and do not "
            "count",
            done_again,
        ) % {"boards": detail, "n": done_again}
    step = ""
    if missing:
        purposes = [str(label) for value, label in Board.Purpose.choices if value in asked.purposes]
        step = ngettext(
            "Make and pass %(count)d more board of this exercise",
            "Make and pass %(count)d more boards of this exercise",
            missing,
        ) % {"count": missing}
        if purposes:
            step = _("%(step)s, for %(purposes)s") % {
                "step": step,
                "purposes": _(" or ").join(purposes),
            }
        step += "."
        hindrance = way.hindrance(asked.exercise_code, day) if way is not None else None
        if way is not None and hindrance is not None:
            step = f"{step} {path_sentences.why_not_yet(hindrance, title, way.figures, titles)}"
    return Requirement(
        text=title,
        met=not missing,
        detail=detail,
        next=step,
        exercise_code=asked.exercise_code,
        boards=tuple(counting[: asked.boards]),
    )


def _test_key(code: str) -> str:
    """What a written test is found by among titles, apart from an exercise of its code."""
    return f"written test {code}"


def _test_titles(codes: Collection[str]) -> dict[str, str]:
    """What written tests are called, by code: as their newest published revision says."""
    tests = WrittenTest.objects.published().filter(code__in=codes).order_by("revision")
    return dict(tests.values_list("code", "title"))


def _written_requirement(
    revision: SchemeRevision,
    titles: Mapping[str, str],
    passes: Iterable[PassedTest],
    day: date,
    after: date | None,
) -> Requirement:
    """A written test, whichever of its revisions was passed; ``passes`` come oldest first."""
    code, months = revision.written_test, revision.written_test_months
    text = _("Written test: %(title)s") % {"title": titles.get(_test_key(code), code)}
    counting = [
        one
        for one in passes
        if one.code == code
        and one.passed_on <= day
        and (not months or add_months(one.passed_on, months) >= day)
        and (after is None or one.passed_on > after)
    ]
    if not counting:
        detail = _("not passed")
        if months:
            detail = ngettext(
                "not passed in the last %(n)d month", "not passed in the last %(n)d months", months
            ) % {"n": months}
        if after is not None:
            detail = _("%(passed)s, after the revocation of %(day)s") % {
                "passed": detail,
                "day": format_day(after),
            }
        return Requirement(
            text=text,
            met=False,
            detail=detail,
            next=_("Pass this written test; an instructor hands it out."),
            written_test=code,
        )
    paper = counting[-1]
    detail = _("paper %(number)s passed on %(day)s, %(right)d of %(of)d questions right") % {
        "number": paper.paper,
        "day": format_day(paper.passed_on),
        "right": paper.right,
        "of": paper.of,
    }
    return Requirement(text=text, met=True, detail=detail, written_test=code, paper=paper)


def _vision_requirement(tests: Sequence[VisionFact], months: int, day: date) -> Requirement:
    text = _("Vision test, not older than %(months)d months") % {"months": months}
    last_day = _current_through(tests, months, day)
    if last_day is None:
        return Requirement(
            text=text,
            met=False,
            detail=_("not current"),
            next=_("Have a vision test; an instructor or quality writes the result down."),
        )
    return Requirement(
        text=text, met=True, detail=_("current through %(day)s") % {"day": format_day(last_day)}
    )


def vision_facts_of(person_ids: Collection[int]) -> dict[int, list[VisionFact]]:
    """The vision tests of some people that stand, by the person's key."""
    tests: dict[int, list[VisionFact]] = defaultdict(list)
    for test in VisionTest.objects.not_withdrawn().filter(person__in=person_ids):
        tests[test.person_id].append(
            VisionFact(test.test_id, test.tested_on, test.passed, test.recorded_at)
        )
    return tests


def vision_facts(person: Person) -> list[VisionFact]:
    """The person's vision tests that stand."""
    return vision_facts_of([person.pk]).get(person.pk, [])


def vision_current_through(person: Person, months: int, day: date) -> date | None:
    """The last day through which vision stays current; None where it is not current that day."""
    return _current_through(vision_facts(person), months, day)


def _current_through(tests: Sequence[VisionFact], months: int, day: date) -> date | None:
    record = VisionRecord(known(Facts(vision_tests=tests)).vision_tests)
    if not record.is_current_on(day, months):
        return None
    return record.last_good_day(day, months)[0]


def _passed_boards(
    person_ids: Collection[int], exercise_codes: Collection[str]
) -> dict[int, list[PassedBoard]]:
    found = Board.objects.passed().filter(person__in=person_ids, exercise__code__in=exercise_codes)
    boards = {board.pk: board for board in found.select_related("exercise", "site", "outcome")}
    signings = judged_days.signings_of(boards)
    again = to_do_again(found.order_by())
    passed: dict[int, list[PassedBoard]] = defaultdict(list)
    for pk, board in boards.items():
        judged_at = judged_days.judged_at(board, signings[pk])
        if judged_at is not None:
            passed[board.person_id].append(
                PassedBoard(board, board.site.today(judged_at), tuple(signings[pk]), pk in again)
            )
    return passed


def resting_on(result: Board | Paper) -> list[str]:
    """Every certificate that was issued on a board or a paper and stands, and every open proposal
    on it."""
    part = "boards" if isinstance(result, Board) else "written_tests"

    def names_it(evidence: dict) -> bool:
        return any(copied.get("number") == result.number for copied in evidence.get(part, ()))

    certificates = Certificate.objects.not_withdrawn().filter(person=result.person).order_by("pk")
    proposals = Proposal.objects.open().filter(person=result.person).select_related("scope")
    return [
        _("certificate %(number)s") % {"number": certificate.number}
        for certificate in certificates
        if names_it(certificate.evidence)
    ] + [
        _("the proposal for %(scope)s") % {"scope": proposal.scope.title}
        for proposal in proposals
        if names_it(proposal.evidence)
    ]


def unmet(checked: Iterable[Requirement]) -> list[Requirement]:
    return [requirement for requirement in checked if not requirement.met]


def boards_counted(checked: Iterable[Requirement]) -> list[PassedBoard]:
    """Every board that a list of requirements rests on, once each."""
    return list(
        {
            passed.board.pk: passed for requirement in checked for passed in requirement.boards
        }.values()
    )


def graded_any(user: User, checked: Iterable[Requirement]) -> bool:
    """Whether the user signed a stage of any board that counts."""
    return any(user.pk in passed.graders for passed in boards_counted(checked))


def tallies_for(many: Iterable[Iterable[Requirement]]) -> Tallies:
    """What measured criteria rest on, of each board that any of several lists rests on, by key."""
    boards = {
        passed.board.pk: passed.board for checked in many for passed in boards_counted(checked)
    }
    return measured_by.tallies_of(boards.values())


def evidence_of(checked: Iterable[Requirement], tallies: Tallies | None = None) -> dict:
    """What a certificate copies of the boards and written tests it stands on, with signatures.

    It is kept, and so in the site's language, whoever reads what was checked.

    Parameters
    ----------
    tallies : mapping of int to MeasuredTally, optional
        What `tallies_for` has read, where it was read for a list.
    """
    checked = list(checked)
    if tallies is None:
        tallies = tallies_for([checked])
    kept = [requirement.as_kept or requirement for requirement in checked]
    papers = [requirement.paper for requirement in checked if requirement.paper is not None]
    return ({"written_tests": [_paper_as_json(paper) for paper in papers]} if papers else {}) | {
        "requirements": [{"text": each.text, "detail": each.detail} for each in kept],
        "boards": [
            _board_as_json(passed, tallies[passed.board.pk]) for passed in boards_counted(checked)
        ],
        "criteria_sets": sorted(
            {
                str(signing.grading.criteria_set)
                for passed in boards_counted(checked)
                for signing in passed.effective
            }
        ),
    }


def _paper_as_json(paper: PassedTest) -> dict:
    return {
        "number": paper.paper,
        "test": [paper.code, paper.revision],
        "title": paper.title,
        "passed_on": paper.passed_on.isoformat(),
        "right": paper.right,
        "of": paper.of,
    }


def _board_as_json(passed: PassedBoard, measured: MeasuredTally) -> dict:
    board, outcome = passed.board, passed.board.outcome
    return {
        "number": board.number,
        "exercise": [board.exercise.code, board.exercise.revision],
        "title": board.exercise.title,
        "purpose": board.purpose,
        "judged_on": passed.judged_on.isoformat(),
        "score": None if outcome.score is None else str(outcome.score),
        "joints": outcome.joints_judged,
        "rejected": outcome.joints_rejected,
        "signatures": [
            {
                "stage": signing.stage,
                "by": signing.signature.printed_name,
                "at": signing.signed_at.isoformat(),
                "sha256": signing.signature.content_sha256,
            }
            for signing in passed.effective
        ],
    } | ({"measured": measured.as_json()} if measured.total else {})
