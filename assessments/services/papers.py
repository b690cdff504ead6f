"""Papers of written tests: handed out, begun, answered, ended, marked and withdrawn.

The site's clock alone decides what came in time. Every answer is a row as it was given; what is
right is asked of them once the paper has ended.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from hashlib import sha256
from secrets import token_hex
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments import ports
from assessments.domain.answers import Kind, Marked, is_right, outcome_of
from assessments.domain.written_forms import draw, next_form, rank_of, shuffled
from assessments.exceptions import CannotTakeTest
from assessments.models import (
    Paper,
    PaperAnswer,
    PaperEnd,
    PaperQuestion,
    PaperResult,
    PaperStart,
    PaperWithdrawal,
    Question,
    WrittenTest,
)
from assessments.queries import written_down
from assessments.queries import written_tests as queries
from assessments.queries.written_test_authors import people_who_worked_on
from people.models import Person, Role, User
from people.presenters.days import format_day
from records.models import Signature
from records.services import numbers, trail
from records.services.shown import refuse_unless_shown

NUMBER_KIND = "T"
GRACE = timedelta(seconds=10)
"""What an answer may be on its way: it counts, though the clock has run out meanwhile."""
LATE_KEPT = timedelta(days=1)
"""How long after the end an answer still comes in, to be kept and called late."""
MOST_PEOPLE = 60
MOST_GIVEN = 8
LONGEST_GIVEN = 100


# Handed out


@dataclass(frozen=True, slots=True)
class HandedOut:
    """Papers that were handed out, and the keys of those of which a mail tells."""

    papers: list[Paper]
    mailed: set[int]


@transaction.atomic
def hand_out(
    *,
    test: WrittenTest,
    people: Sequence[Person],
    medium: str,
    not_before: date,
    actor: User,
    at: datetime,
) -> HandedOut:
    """Hand a test out to people, a paper each, or to none of them; whoever has an address is told.

    The form and the order of everything on it are fixed here, before anybody sees it.

    Raises
    ------
    CannotTakeTest
        If the test is not in use, or one of them may not have it now.
    """
    if not people:
        raise CannotTakeTest(_("Choose who takes the test."))
    if len(people) > MOST_PEOPLE:
        raise CannotTakeTest(_("At most %(n)d people at once.") % {"n": MOST_PEOPLE})
    # People first, in one order, so that two who hand out at once do not give one of them two.
    held = list(
        Person.objects.select_for_update(no_key=True, of=("self",))
        .select_related("site")
        .filter(pk__in=[person.pk for person in people])
        .order_by("pk")
    )
    made = (
        WrittenTest.objects.select_for_update(no_key=True, of=("self",))
        .select_related("course_revision")
        .get(pk=test.pk)
    )
    if not made.in_use:
        raise CannotTakeTest(
            _("%(test)s is not in use, so no paper is handed out.") % {"test": made}
        )
    questions, authors = list(made.questions.all()), people_who_worked_on(made)
    for person in held:
        _refuse_person(person, made, authors, actor, at)
    papers = [_paper_for(person, made, questions, medium, not_before, actor, at) for person in held]
    trail.record_many(
        actor=actor,
        act=written_down.HANDED_OUT,
        items=[(paper, written_down.paper_content(paper)) for paper in papers],
        at=at,
    )
    return HandedOut(papers, ports.send_paper_notes(papers))


def _paper_for(
    person: Person,
    test: WrittenTest,
    questions: Sequence[Question],
    medium: str,
    not_before: date,
    actor: User,
    at: datetime,
) -> Paper:
    earlier = queries.papers_of(person.pk, test.code)
    rule = queries.try_rule(earlier, test.wait_days)
    said = {"who": person.full_name, "test": test.title}
    if rule.open is not None:
        raise CannotTakeTest(
            _("%(who)s has paper %(number)s of “%(test)s” still open.")
            % (said | {"number": rule.open.number})
        )
    if rule.used >= test.tries:
        raise CannotTakeTest(
            ngettext(
                "%(who)s has had the one try that “%(test)s” allows. Train them again, and have "
                "the test revised or a paper withdrawn before another is handed out.",
                "%(who)s has had the %(n)d tries that “%(test)s” allows. Train them again, and "
                "have the test revised or a paper withdrawn before another is handed out.",
                test.tries,
            )
            % (said | {"n": test.tries})
        )
    if rule.not_before is not None and not_before < rule.not_before:
        raise CannotTakeTest(
            _("%(who)s may take “%(test)s” again from %(day)s on. Give that day or a later one.")
            % (said | {"day": format_day(rule.not_before)})
        )
    paper_seed = sha256(f"{test.seed}\n{token_hex(16)}".encode()).hexdigest()
    form = ""
    if test.forms == WrittenTest.Forms.FIXED:
        chosen = next_form(
            queries.form_letters(questions),
            [paper.form for paper in earlier if paper.test_id == test.pk],
            paper_seed,
            another=test.another_form,
        )
        if chosen is None:
            raise CannotTakeTest(
                _("%(who)s has had every form of “%(test)s”. Have another form made first.") % said
            )
        form = chosen
        on_paper = [one for one in questions if form in one.on_forms]
    else:
        by_code = {one.code: one for one in questions}
        codes = draw(
            queries.candidates(questions),
            queries.counts_of(test),
            paper_seed,
            had=_had(earlier) if test.another_form else None,
        )
        on_paper = [by_code[code] for code in codes]
    paper = Paper.objects.create(
        number=numbers.next_number(person.site.prefix, NUMBER_KIND),
        test=test,
        person=person,
        site=person.site,
        attempt=_seen_before(person, test) + 1,
        form=form,
        seed=paper_seed,
        medium=Paper.Medium(medium),
        not_before=not_before,
        handed_out_by=actor,
        recorded_at=at,
    )
    # A fixed form is printed alike for all; of what is drawn each paper has its own order.
    seed = f"{test.seed}\n{form}" if form else paper_seed
    PaperQuestion.objects.bulk_create(
        PaperQuestion(paper=paper, order=order, question=question, shown=_shown(question, seed))
        for order, question in enumerate(on_paper, start=1)
    )
    return paper


def _seen_before(person: Person, test: WrittenTest) -> int:
    """How many papers of a test somebody had, less those withdrawn before anybody saw them."""
    papers = Paper.objects.filter(person=person, test__code=test.code)
    unseen = papers.filter(withdrawal__isnull=False, start__isnull=True, end__isnull=True)
    return papers.count() - unseen.count()


def _shown(question: Question, seed: str) -> list[int]:
    """In which order the choices stand: what is to be brought into order never as it is right."""
    count, seed = len(question.choices), f"{seed}\n{question.code}"
    if question.kind == Kind.ORDER:
        return shuffled(count, seed)
    return sorted(range(count), key=lambda number: rank_of(seed, str(number)))


def _had(papers: Iterable[Paper]) -> dict[str, int]:
    """How often somebody was asked each question, by its code."""
    codes = PaperQuestion.objects.filter(paper__in=list(papers)).values_list(
        "question__code", flat=True
    )
    had: dict[str, int] = {}
    for code in codes:
        had[code] = had.get(code, 0) + 1
    return had


def _refuse_person(
    person: Person, test: WrittenTest, authors: Collection[int], actor: User, at: datetime
) -> None:
    if not actor.has_role(Role.INSTRUCTOR, site=person.site_id):
        raise CannotTakeTest(
            _("%(who)s works at a site where you do not teach.") % {"who": person.full_name}
        )
    if person.pk == actor.person_id:
        raise CannotTakeTest(_("Nobody hands a test out to themselves. Ask a colleague."))
    today = person.site.today(at)
    if not Person.objects.at_work_on(today).filter(pk=person.pk).exists():
        raise CannotTakeTest(_("%(who)s is not at work today.") % {"who": person.full_name})
    if person.pk in authors:
        raise CannotTakeTest(
            _("%(who)s has worked on the questions of this test, and cannot take it.")
            % {"who": person.full_name}
        )


# Taken


@transaction.atomic
def start_paper(*, paper: Paper, actor: User, at: datetime) -> PaperStart:
    """Begin a paper: from here on its time runs. Begun already, it goes on as it is.

    Raises
    ------
    CannotTakeTest
        If it is withdrawn, on paper, somebody else's, or its day has not come.
    """
    held = _lock_own(paper, actor)
    if (begun := PaperStart.objects.filter(paper=held).first()) is not None:
        return begun
    if held.medium != Paper.Medium.SCREEN:
        raise CannotTakeTest(_("This test is taken on paper: your instructor has it."))
    if held.site.today(at) < held.not_before:
        raise CannotTakeTest(
            _("This test begins on %(day)s at the earliest.") % {"day": format_day(held.not_before)}
        )
    start = PaperStart.objects.create(
        paper=held, ends_at=at + timedelta(minutes=held.test.minutes), recorded_at=at
    )
    trail.record(
        actor=actor,
        act=written_down.STARTED,
        about=start,
        payload=written_down.start_content(start),
        at=at,
    )
    return start


@transaction.atomic
def save_answer(
    *, paper: Paper, order: int, given: Sequence[str], key: str, actor: User, at: datetime
) -> PaperAnswer:
    """Keep an answer as it was given; the same act sent twice is kept once.

    Parameters
    ----------
    order : int
        Of the question on the paper.
    given : sequence of str
        As `assessments.domain.answers.is_right` reads it; empty takes the answer back.
    key : str
        Of the act, by which it is known again.

    Raises
    ------
    CannotTakeTest
        If the paper is not begun, was handed in, or has no such question.
    """
    held = _lock_own(paper, actor)
    asked = PaperQuestion.objects.filter(paper=held, order=order).first()
    if asked is None:
        raise CannotTakeTest(_("The paper has no such question. Open it anew."))
    if (kept := PaperAnswer.objects.filter(paper_question=asked, key=key).first()) is not None:
        return kept
    start = PaperStart.objects.filter(paper=held).first()
    if start is None:
        raise CannotTakeTest(_("Begin the test first."))
    end = PaperEnd.objects.filter(paper=held).first()
    if end is not None and end.how != PaperEnd.How.TIME_OVER:
        raise CannotTakeTest(_("You have handed this paper in: it takes no more answers."))
    if at > start.ends_at + LATE_KEPT:
        raise CannotTakeTest(_("This test ended more than a day ago: it takes no more answers."))
    given = list(given)
    if len(given) > MOST_GIVEN or any(len(text) > LONGEST_GIVEN for text in given):
        raise CannotTakeTest(_("That is too long for an answer. Shorten it."))
    answer = PaperAnswer.objects.create(
        paper_question=asked,
        given=given,
        late=end is not None or at > start.ends_at + GRACE,
        key=key,
        recorded_at=at,
    )
    _write_down(answer, actor, at)
    return answer


def _write_down(answer: PaperAnswer, actor: User, at: datetime) -> None:
    trail.record(
        actor=actor,
        act=written_down.ANSWERED_IN_TEST,
        about=answer,
        payload=written_down.answer_in_test_content(answer),
        at=at,
    )


@transaction.atomic
def hand_in(*, paper: Paper, actor: User, at: datetime) -> PaperResult:
    """End a paper and mark it; ended already, its result stands.

    Raises
    ------
    CannotTakeTest
        If it was not begun, is withdrawn or somebody else's.
    """
    held = _lock_own(paper, actor)
    if not PaperStart.objects.filter(paper=held).exists():
        raise CannotTakeTest(_("Begin the test first."))
    return _end_and_mark(held, actor, at)


def close_overdue(*, at: datetime, most: int = 500) -> int:
    """End and mark the papers whose time is over; return how many."""
    overdue = Paper.objects.under_way().filter(start__ends_at__lt=at - GRACE)
    closed = 0
    for number in list(overdue.order_by("start__ends_at").values_list("pk", flat=True)[:most]):
        with transaction.atomic():
            held = _lock(number)
            if PaperWithdrawal.objects.filter(paper=held).exists():
                continue
            if not PaperEnd.objects.filter(paper=held).exists():
                _end_and_mark(held, None, at)
                closed += 1
    return closed


def _end_and_mark(paper: Paper, actor: User | None, at: datetime) -> PaperResult:
    found = PaperResult.objects.filter(paper=paper).order_by("-round").first()
    if found is not None:
        return found
    ends_at = PaperStart.objects.get(paper=paper).ends_at
    over = at > ends_at + GRACE
    end = PaperEnd.objects.create(
        paper=paper,
        how=PaperEnd.How.TIME_OVER if over else PaperEnd.How.HANDED_IN,
        ended_on=paper.site.today(min(at, ends_at)),
        recorded_at=at,
    )
    _record_end(end, actor, at)
    result = _marked(paper, late_count=False)
    result.round, result.recorded_at = 1, at
    result.save(force_insert=True)
    _record_result(result, actor, at)
    return result


def _record_end(end: PaperEnd, actor: User | None, at: datetime) -> None:
    trail.record(
        actor=actor,
        act=written_down.ENDED,
        about=end,
        payload=written_down.end_content(end),
        at=at,
    )


def _record_result(result: PaperResult, actor: User | None, at: datetime) -> None:
    """Write a result down; what rests on an earlier one is named, and quality decides on it."""
    payload = written_down.result_content(result)
    if result.round > 1:
        payload |= {"rests_on_it": ports.what_rests_on_as_kept(result.paper)}
    trail.record(actor=actor, act=written_down.MARKED, about=result, payload=payload, at=at)


def _marked(paper: Paper, *, late_count: bool) -> PaperResult:
    """What a paper comes to by its answers as they are kept; not stored."""
    counted = queries.counted_answers(paper, late_count=late_count)
    marked: list[dict[str, Any]] = []
    for each in queries.questions_of(paper):
        answer = counted.get(each.pk)
        given = answer.given if answer else []
        marked.append(
            {
                "order": each.order,
                "code": each.question.code,
                "given": given,
                "right": is_right(queries.asked(each.question), given, each.shown),
                "must": each.question.must_be_right,
            }
        )
    outcome = outcome_of(
        (Marked(line["code"], line["right"], line["must"]) for line in marked),
        paper.test.pass_percent,
    )
    return PaperResult(
        paper=paper,
        right=outcome.right,
        of=outcome.of,
        missed=list(outcome.missed),
        passed=outcome.passed,
        marked=marked,
        late_count=late_count,
    )


# What somebody vouches for


def to_enter(paper: Paper) -> dict[str, Any]:
    """What stands before whoever enters answers from paper; these come with the signature."""
    return written_down.paper_content(paper)


@transaction.atomic
def enter_answers(
    *,
    paper: Paper,
    given: Mapping[int, Sequence[str]],
    sat_on: date,
    shown: str | None,
    actor: User,
    at: datetime,
    proof: str,
) -> PaperResult:
    """Enter what stands on a printed paper, and mark it under the signature of whoever read it.

    Parameters
    ----------
    given : mapping of int to sequence of str
        By the order of each question.

    Raises
    ------
    ShownOtherwise
        If the paper is not what was shown.
    CannotTakeTest
        If it is withdrawn, entered already, taken on the screen, or the day cannot be.
    """
    held = _lock_to_vouch(paper, actor)
    refuse_unless_shown(shown, to_enter(held))
    if held.medium != Paper.Medium.PRINTED:
        raise CannotTakeTest(_("%(paper)s is taken on the screen.") % {"paper": held.number})
    if PaperEnd.objects.filter(paper=held).exists():
        raise CannotTakeTest(
            _("The answers of %(paper)s are entered already.") % {"paper": held.number}
        )
    first_day = max(held.not_before, held.site.today(held.recorded_at))
    if not first_day <= sat_on <= held.site.today(at):
        raise CannotTakeTest(
            _("The day lies between %(day)s, from which the paper could be taken, and today.")
            % {"day": format_day(first_day)}
        )
    for each in PaperQuestion.objects.filter(paper=held).order_by("order"):
        if each.order not in given or not given[each.order]:
            continue
        answer = PaperAnswer.objects.create(
            paper_question=each,
            given=list(given[each.order]),
            key=f"paper-{each.order}",
            entered_by=actor,
            recorded_at=at,
        )
        _write_down(answer, actor, at)
    end = PaperEnd.objects.create(
        paper=held, how=PaperEnd.How.ENTERED, ended_on=sat_on, recorded_at=at
    )
    _record_end(end, actor, at)
    result = _marked(held, late_count=False)
    return _sign_result(result, 1, "", written_down.ENTERS_ANSWERS, actor, at, proof)


def to_correct(paper: Paper) -> dict[str, Any]:
    """What stands before whoever corrects what was entered from paper."""
    before = queries.result_of(paper)
    counted = queries.counted_answers(paper, late_count=False)
    return {
        **written_down.paper_content(paper),
        "round": before.round if before else 0,
        "entered": [
            {"order": each.order, "given": counted[each.pk].given if each.pk in counted else []}
            for each in queries.questions_of(paper)
        ],
    }


@transaction.atomic
def correct_answers(
    *,
    paper: Paper,
    given: Mapping[int, Sequence[str]],
    reason: str,
    shown: str | None,
    actor: User,
    at: datetime,
    proof: str,
) -> PaperResult:
    """Mark a printed paper once more by what stands on it, where it was entered otherwise.

    What was entered first, and what it came to, is kept beside it.

    Parameters
    ----------
    given : mapping of int to sequence of str
        By the order of each question; one that is not named was not answered.

    Raises
    ------
    ShownOtherwise
        If what was entered is not what was shown.
    CannotTakeTest
        If it is withdrawn, not entered yet or taken on the screen, no answer is another one, or no
        reason is given.
    """
    held = _lock_to_vouch(paper, actor)
    refuse_unless_shown(shown, to_correct(held))
    before = queries.result_of(held)
    if before is None or held.medium != Paper.Medium.PRINTED:
        raise CannotTakeTest(
            _("No answers of %(paper)s were entered from paper.") % {"paper": held.number}
        )
    if not reason.strip():
        raise CannotTakeTest(_("Say why it is corrected."))
    counted = queries.counted_answers(held, late_count=False)
    is_corrected = False
    for each in queries.questions_of(held):
        entered = counted[each.pk].given if each.pk in counted else []
        stands = list(given.get(each.order, ()))
        if stands == entered:
            continue
        answer = PaperAnswer.objects.create(
            paper_question=each,
            given=stands,
            key=f"paper-{each.order}-{before.round + 1}",
            entered_by=actor,
            recorded_at=at,
        )
        _write_down(answer, actor, at)
        is_corrected = True
    if not is_corrected:
        raise CannotTakeTest(
            _("This is what is entered of %(paper)s already. Change what the sheet says otherwise.")
            % {"paper": held.number}
        )
    result = _marked(held, late_count=False)
    return _sign_result(
        result,
        before.round + 1,
        reason.strip(),
        written_down.CORRECTS_ANSWERS,
        actor,
        at,
        proof,
    )


def to_count(paper: Paper) -> dict[str, Any]:
    """What stands before whoever lets late answers count; the reason comes with the signature."""
    before, now = queries.result_of(paper), _marked(paper, late_count=True)
    late = PaperAnswer.objects.filter(paper_question__paper=paper, late=True)
    return {
        "paper": paper.number,
        "before": [before.right, before.of, before.passed] if before else [],
        "now": [now.right, now.of, now.passed],
        "late": [
            {"order": order, "given": given, "recorded_at": recorded_at}
            for order, given, recorded_at in late.order_by("pk").values_list(
                "paper_question__order", "given", "recorded_at"
            )
        ],
    }


@transaction.atomic
def count_late_answers(
    *, paper: Paper, reason: str, shown: str | None, actor: User, at: datetime, proof: str
) -> PaperResult:
    """Mark a paper once more with the answers that came late, for a reason that is signed for.

    Raises
    ------
    ShownOtherwise
        If what came late is not what was shown.
    CannotTakeTest
        If none came late, or they count already.
    """
    held = _lock_to_vouch(paper, actor)
    refuse_unless_shown(shown, to_count(held))
    before = queries.result_of(held)
    if before is None or not queries.has_late_answers(held):
        raise CannotTakeTest(_("No answer of %(paper)s came late.") % {"paper": held.number})
    if before.late_count:
        raise CannotTakeTest(
            _("The late answers of %(paper)s count already.") % {"paper": held.number}
        )
    result = _marked(held, late_count=True)
    return _sign_result(
        result, before.round + 1, reason.strip(), written_down.COUNTS_LATE, actor, at, proof
    )


def _sign_result(
    result: PaperResult,
    round_: int,
    reason: str,
    meaning: str,
    actor: User,
    at: datetime,
    proof: str,
) -> PaperResult:
    result.round, result.reason, result.recorded_at = round_, reason, at
    signature: Signature = trail.sign(
        actor=actor,
        meaning=meaning,
        about=result.paper,
        content=written_down.result_content(result),
        at=at,
        zone=result.paper.site.time_zone,
        proof=proof,
    )
    result.signature = signature
    result.save(force_insert=True)
    _record_result(result, actor, at)
    return result


@transaction.atomic
def withdraw_paper(*, paper: Paper, reason: str, actor: User, at: datetime) -> PaperWithdrawal:
    """Have a paper count for nothing: no try, no result. It is kept to be read.

    Raises
    ------
    CannotTakeTest
        If it is withdrawn already, or was passed, or its time is over or it is marked and whoever
        asks is no quality, or no reason is given.
    """
    held = _lock_to_vouch(paper, actor, Role.INSTRUCTOR, Role.QUALITY)
    if not reason.strip():
        raise CannotTakeTest(_("Say why the paper is withdrawn."))
    result = queries.result_of(held)
    is_quality = actor.has_role(Role.QUALITY, site=held.site_id)
    start = PaperStart.objects.filter(paper=held).first()
    if result is None and start and at > start.ends_at + GRACE and not is_quality:
        raise CannotTakeTest(
            _("The time of %(paper)s is over, so it is a try: quality alone withdraws it.")
            % {"paper": held.number}
        )
    if result is not None and not is_quality:
        raise CannotTakeTest(
            _("%(paper)s is marked: quality alone withdraws it, since the try then does not count.")
            % {"paper": held.number}
        )
    if result is not None and result.passed:
        raise CannotTakeTest(
            _("%(paper)s was passed, and stands. Take what rests on it back instead.")
            % {"paper": held.number}
        )
    withdrawal = PaperWithdrawal.objects.create(
        paper=held, reason=reason.strip(), withdrawn_by=actor, recorded_at=at
    )
    trail.record(
        actor=actor,
        act=written_down.WITHDRAWN,
        about=withdrawal,
        payload=written_down.paper_withdrawal_content(withdrawal),
        at=at,
    )
    return withdrawal


def _lock(paper_id: int) -> Paper:
    """The paper, locked to the end of the transaction; what is read of it is read afterwards."""
    return (
        Paper.objects.select_for_update(no_key=True, of=("self",))
        .select_related("test", "site", "person")
        .get(pk=paper_id)
    )


def _lock_standing(paper: Paper) -> Paper:
    held = _lock(paper.pk)
    withdrawal = PaperWithdrawal.objects.filter(paper=held).first()
    if withdrawal is not None:
        raise CannotTakeTest(
            _("%(paper)s was withdrawn: %(why)s") % {"paper": held.number, "why": withdrawal.reason}
        )
    return held


def _lock_own(paper: Paper, actor: User) -> Paper:
    held = _lock_standing(paper)
    if held.person_id != actor.person_id:
        raise CannotTakeTest(_("A paper is answered by whom it was handed out to, alone."))
    return held


def _lock_to_vouch(paper: Paper, actor: User, *roles: str) -> Paper:
    held = _lock_standing(paper)
    if held.person_id == actor.person_id:
        raise CannotTakeTest(_("Nobody decides on a paper of their own. Ask a colleague."))
    if not actor.has_role(*(roles or (Role.INSTRUCTOR,)), site=held.site_id):
        raise CannotTakeTest(_("An instructor at the site of the paper decides on it."))
    return held
