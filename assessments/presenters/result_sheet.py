"""What the result sheet of a board says, worked out once for the page and for the PDF.

Only what a signature covers stands on it, read through `outcomes.read_board` alone.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Prefetch
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments.domain.scoring import BoardResult, JointState
from assessments.exceptions import NothingToPrint
from assessments.models import Board, Criterion, Grading, Judgement, Photo, StageSigning
from assessments.presenters import judgement_words, measured_by_words
from assessments.queries import board_results, measured_by
from assessments.services.grading import gradings_of
from people.models import Person, User
from people.presenters import paper
from people.presenters.days import format_instant, format_page_day
from people.presenters.limit_line import LimitLine
from people.presenters.quantities import format_score
from people.presenters.symbols import VERDICT_SYMBOLS
from records.queries.heads import printed_head
from training.domain.tool_fitness import Fitness, ToolFacts, doubts, fitness_on
from training.models import Calibration, Tool
from training.queries.tool_fitness import facts_of, why_unfit

from .result_page import readings_said, rules_of
from .result_pictures import Picture, pictures_of

Fact = tuple[str, str]


@dataclass(frozen=True, slots=True)
class JudgementShown:
    """One judgement in words."""

    judgement: Judgement
    criterion: Criterion
    title: str
    outcome: str
    cost: str
    measured: str
    verdict: str
    limits: str
    how: str
    grader: str
    source: str
    unverified: bool

    @property
    def rejects(self) -> bool:
        return self.judgement.outcome == Judgement.Outcome.REJECT

    @property
    def line(self) -> LimitLine | None:
        """The value between its limits, to be drawn."""
        judgement, of = self.judgement, self.criterion
        if judgement.value is None:
            return None
        value, spread, low, high = (
            None if figure is None else float(figure)
            for figure in (judgement.value, judgement.standard_uncertainty, of.low, of.high)
        )
        return LimitLine(value, spread, low, high, of.unit)


@dataclass(frozen=True, slots=True)
class Part:
    """One make of one joint, or the whole board."""

    key: str
    name: str
    note: str
    state: str
    points: str
    score: str
    pictures: tuple[Picture, ...]
    faults: tuple[JudgementShown, ...]
    measured: tuple[JudgementShown, ...]
    plain: tuple[Fact, ...]

    @property
    def state_word(self) -> str:
        return judgement_words.verdict_name(self.state)


@dataclass(frozen=True, slots=True)
class RuleSaid:
    name: str
    value: str
    asked: str
    met: str


@dataclass(frozen=True, slots=True)
class Signed:
    stage: str
    who: str
    facts: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class ToolSaid:
    code: str
    kind: str
    used: str
    calibrated: str


@dataclass(frozen=True, slots=True)
class SourceSaid:
    """A governing document, and which criteria of the board rest on it."""

    document: str
    clauses: str
    codes: str


@dataclass(frozen=True, slots=True)
class ResultSheet:
    board: Board
    result: BoardResult
    verdict: str
    score: str
    facts: tuple[Fact, ...]
    rules: tuple[RuleSaid, ...]
    measured: str
    by_eye: tuple[Fact, ...]
    parts: tuple[Part, ...]
    signed: tuple[Signed, ...]
    corrections: tuple[str, ...]
    criteria_sets: str
    sources: tuple[SourceSaid, ...]
    unverified: str
    tools: tuple[ToolSaid, ...]
    printed: str
    trail: str
    printed_at: datetime
    running: str

    @property
    def title(self) -> str:
        return _("Result sheet, board %(number)s") % {"number": self.board.number}

    @property
    def verdict_word(self) -> str:
        return str(VERDICT_SYMBOLS[self.verdict].word)


def result_sheet(board: Board, *, user: User, at: datetime) -> ResultSheet:
    """Put a board's result sheet together for whoever prints it.

    Parameters
    ----------
    board : Board
        As `access.board_for_reader` gives it.
    user, at
        Who prints it and when: both stand on it.

    Raises
    ------
    NothingToPrint
        If nothing is signed, two are to grade and have no result yet, or what was reworked
        between them still waits.
    """
    reading = board_results.read_board(board)
    result = reading.result
    if not may_print(board, reading):
        raise NothingToPrint(_why_not_printed(board, reading) % {"number": board.number})
    photos = list(board.photos.prefetch_related("renditions").order_by("order", "id"))
    made = [joint for joint in (*reading.earlier, *reading.joints, *reading.spare) if joint.joint]
    made.sort(
        key=lambda joint: (joint.joint.position.order, joint.joint.make) if joint.joint else (0, 0)
    )
    readings = [*made, *([reading.board] if reading.board else [])]
    again = {joint.joint.position_id for joint in reading.earlier if joint.joint}
    parts = tuple(
        _part(joint, photos, made_again=again, counts=joint not in reading.earlier)
        for joint in readings
    )
    judged = [judgement for joint in readings for judgement in joint.judgements]
    measured = measured_by.tally_of(reading)
    return ResultSheet(
        board=board,
        result=result,
        verdict="passed" if result.passed else "failed" if result.complete else "open",
        score=format_score(result.score),
        facts=_facts(board),
        rules=tuple(_rules(reading)),
        measured=measured_by_words.tally_says(measured),
        by_eye=tuple(measured_by_words.by_eye_lines(measured)),
        parts=parts,
        signed=tuple(_signed(board, reading)),
        corrections=tuple(_corrections(board)),
        criteria_sets="; ".join(
            dict.fromkeys(
                str(signing.grading.criteria_set) for signing in reading.signings.values()
            )
        ),
        sources=tuple(_sources(judged)),
        unverified=_unverified(judged),
        tools=tuple(_tools(board, judged)),
        trail=_("Trail %(end)s") % {"end": end} if (end := printed_head(at)) else "",
        printed=_("Printed %(instant)s by %(name)s")
        % {"instant": instant(at, board.site.time_zone), "name": _named(user)},
        printed_at=at,
        running=f"{board.number}, {_maker(board.person)}",
    )


def may_print(board: Board, reading: board_results.JudgedBoard) -> bool:
    """Whether there is a result; of two graders neither sees the other's until both have signed."""
    return bool(reading.signings) and (board.exercise.graders == 1 or reading.result.complete)


def _why_not_printed(board: Board, reading: board_results.JudgedBoard) -> str:
    if board.exercise.graders == 1:
        return _("Nothing of %(number)s is signed yet, so there is no result to print.")
    if not reading.signings:
        return _(
            "Two grade %(number)s apart. Its result can be printed once both have signed and what "
            "they differ on is decided."
        )
    return _(
        "A reworked joint of %(number)s waits: both graders judge it, and a third person decides "
        "where they differ. The result can be printed after that."
    )


def instant(at: datetime, zone: str) -> str:
    """``Wed 25 Nov 2026, 13:50 CET (Europe/Madrid)``."""
    return f"{format_instant(at, zone)} ({zone})"


def _named(user: User) -> str:
    name, number = user.get_full_name(), user.employee_number
    return f"{paper.isolated(name)} ({number})" if number and number != name else str(name)


def _maker(person: Person) -> str:
    return paper.name_on_its_own(person.full_name, person.employee_number)


def _signer(signing: StageSigning) -> str:
    name = signing.signature.printed_name
    # Who that is need not be asked of the database for a name that prints.
    number = "" if paper.is_printed(name) else signing.grading.grader.employee_number
    return paper.name_on_its_own(name, number or "")


def _grader(grading: Grading) -> str:
    grader = grading.grader
    return paper.name_on_its_own(str(grader), grader.employee_number or "")


def _facts(board: Board) -> tuple[Fact, ...]:
    exercise, person = board.exercise, board.person
    zone = board.site.time_zone
    facts = [
        (_("Operator"), f"{paper.isolated(person.full_name)}, {person.employee_number}"),
        (_("Exercise"), f"{exercise.title} ({exercise.code}, rev. {exercise.revision})"),
        (_("Purpose"), board.get_purpose_display()),
        (_("Site"), board.site.name),
        (_("Unit"), board.unit),
        (_("Work order"), board.work_order),
        (_("Solder alloy"), board.alloy),
        (_("Class"), board.session.number if board.session else ""),
        (_("Handed out"), format_page_day(board.handed_out_on)),
        (_("Handed in"), instant(board.handed_in_at, zone) if board.handed_in_at else ""),
    ]
    return tuple((label, str(text)) for label, text in facts if text)


def _rules(reading: board_results.JudgedBoard) -> Iterable[RuleSaid]:
    met = {"yes": _("yes"), "no": _("no"), "open": _("not yet")}
    for rule in rules_of(reading):
        yield RuleSaid(rule.name, rule.value, rule.asked, met[rule.met])


def _part(
    reading: board_results.JudgedJoint,
    photos: Sequence[Photo],
    *,
    made_again: set[int],
    counts: bool,
) -> Part:
    joint, result = reading.joint, reading.result
    notes = []
    if joint is not None:
        notes.append(str(joint.position.get_joint_type_display()))
        if joint.make > 1 or joint.position_id in made_again:
            notes.append(judgement_words.make_name(joint.make))
        if not counts:
            notes.append(_("not the attempt that counts"))
        if not joint.position.required:
            notes.append(_("spare, not counted"))
    state = result.state if counts else reading.state_for_statistics
    if counts and state == JointState.OPEN:
        notes.append(_("not every stage signed yet"))
    judgements = [judgement_shown(judgement) for judgement in reading.judgements]
    plain = [
        judgement
        for judgement in judgements
        if not judgement.rejects and judgement.judgement.value is None
    ]
    noted = [judgement for judgement in plain if judgement.judgement.note]
    by_eye: dict[str, list[str]] = {}
    for judgement in plain:
        if judgement.judgement.by_eye_because:
            by_eye.setdefault(judgement.judgement.by_eye_because, []).append(judgement.title)
    groups = [
        (_("Accepted"), Judgement.Outcome.ACCEPT, False),
        (_("Accepted with the rest"), Judgement.Outcome.ACCEPT, True),
        (_("Not applicable"), Judgement.Outcome.NOT_APPLICABLE, False),
    ]
    lines = [
        (f"{judgement.title}: {judgement.outcome}", f"“{judgement.judgement.note}”")
        for judgement in noted
    ]
    for label, outcome, rest in groups:
        names = [
            judgement.title
            for judgement in plain
            if judgement not in noted
            and not judgement.judgement.by_eye_because
            and judgement.judgement.outcome == outcome
            and judgement.judgement.with_the_rest == rest
        ]
        if names:
            lines.append((label, "; ".join(names)))
    lines += [
        (_("By eye because “%(reason)s”") % {"reason": reason}, "; ".join(titles))
        for reason, titles in by_eye.items()
    ]
    points = format_score(result.score)
    if joint is None:
        cost = sum(judgement.criterion.demerits for judgement in judgements if judgement.rejects)
        points = ngettext("%(n)d demerit", "%(n)d demerits", cost) % {"n": cost}
    return Part(
        key=f"{joint.position.name}-{joint.make}" if joint else board_results.WHOLE_BOARD,
        name=joint.position.name if joint else _("Whole board"),
        note=", ".join(notes),
        state=state.value,
        points=points,
        score=_("score %(score)s of 100") % {"score": points} if joint else points,
        pictures=tuple(pictures_of(reading, photos)),
        faults=tuple(judgement for judgement in judgements if judgement.rejects),
        measured=tuple(
            judgement
            for judgement in judgements
            if not judgement.rejects and judgement.judgement.value is not None
        ),
        plain=tuple(lines),
    )


def judgement_shown(judgement: Judgement) -> JudgementShown:
    """Put one judgement into words."""
    criterion = judgement.criterion
    verdict = judgement_words.criterion_verdict(judgement)
    how = [judgement_words.how_shown(judgement)]
    if judgement.tool:
        how[0] += f" {judgement.tool}"
    if judgement.magnification:
        how.append(f"{judgement_words.plain(judgement.magnification)}×")
    cost = ngettext("%(n)d demerit", "%(n)d demerits", criterion.demerits)
    return JudgementShown(
        judgement=judgement,
        criterion=criterion,
        title=f"{criterion.code} {criterion.title}",
        outcome=str(judgement.get_outcome_display()),
        cost=f"{criterion.get_severity_display()}, {cost % {'n': criterion.demerits}}",
        measured=judgement_words.measured_shown(judgement, criterion.unit),
        verdict=str(VERDICT_SYMBOLS[verdict].word) if verdict in VERDICT_SYMBOLS else "",
        limits=judgement_words.criterion_limits(criterion),
        how=", ".join(how),
        grader=_grader(judgement.grading),
        source=criterion.source,
        unverified=not criterion.is_verified,
    )


def _signed(board: Board, reading: board_results.JudgedBoard) -> Iterable[Signed]:
    words = readings_said(
        {signing.grading.pk: signing.grading for signing in reading.counting}.values()
    )
    for stage in board.exercise.stage_list:
        signings = [signing for signing in reading.counting if signing.stage == stage.value]
        label = str(stage.label).capitalize()
        if not signings:
            yield Signed(label, _("not signed yet"), ())
        for signing in signings:
            signature = signing.signature
            yield Signed(
                label,
                _signer(signing),
                (
                    (_("Reading"), _capitalised(words[signing.grading_id])),
                    (_("Meaning"), _capitalised(signature.meaning)),
                    (_("Signed"), instant(signature.signed_at, signature.zone)),
                    (_("Proved by"), str(signature.get_proof_display())),
                    (_("Criteria"), str(signing.grading.criteria_set)),
                    ("SHA-256", signature.content_sha256),
                ),
            )


def _capitalised(text: str) -> str:
    return text[:1].upper() + text[1:]


def _corrections(board: Board) -> Iterable[str]:
    """Which grading replaced which and why; what is only begun is said without its reason."""
    gradings = gradings_of(board)
    known = {grading.pk: grading for grading in gradings}
    zone = board.site.time_zone
    for grading in reversed(gradings):
        earlier = known.get(grading.replaces_id or 0)
        if grading.kind == Grading.Kind.OWN or earlier is None:
            continue
        if not grading.signings.all():
            yield _(
                "%(name)s has begun a correction. Until it is signed, what stands here counts."
            ) % {"name": _grader(grading)}
            continue
        yield _(
            "The grading of %(earlier)s, begun %(before)s, was replaced by that of %(later)s, "
            "begun %(after)s: “%(reason)s”"
        ) % {
            "earlier": _grader(earlier),
            "before": instant(earlier.recorded_at, zone),
            "later": _grader(grading),
            "after": instant(grading.recorded_at, zone),
            "reason": grading.reason,
        }


def _sources(judged: Iterable[Judgement]) -> Iterable[SourceSaid]:
    by_document: dict[str, dict[str, Criterion]] = {}
    for judgement in judged:
        criterion = judgement.criterion
        document = criterion.document_and_edition
        by_document.setdefault(document, {})[criterion.code] = criterion
    for document in sorted(by_document):
        criteria = sorted(by_document[document].values(), key=lambda criterion: criterion.order)
        yield SourceSaid(
            document or _("no document named"),
            "; ".join(dict.fromkeys(criterion.clause for criterion in criteria if criterion.clause))
            or "–",
            ", ".join(criterion.code for criterion in criteria),
        )


def _unverified(judged: Iterable[Judgement]) -> str:
    codes = sorted(
        {judgement.criterion.code for judgement in judged if not judgement.criterion.is_verified}
    )
    if not codes:
        return ""
    return _(
        "Marked “unverified”: the site has not yet confirmed these against its governing "
        "document: %(codes)s."
    ) % {"codes": ", ".join(codes)}


def _tools(board: Board, judged: Iterable[Judgement]) -> Iterable[ToolSaid]:
    """What the board was made and read with, each with its calibration on the day of use."""
    zone = board.site
    read: dict[int, date] = {}
    for judgement in judged:
        if judgement.tool_id:
            day = zone.today(judgement.judged_at)
            read[judgement.tool_id] = max(day, read.get(judgement.tool_id, day))
    made = zone.today(board.handed_in_at) if board.handed_in_at else board.handed_out_on
    used = dict.fromkeys(board.tools.values_list("pk", flat=True), made)
    calibrations = Calibration.objects.not_withdrawn().order_by("-calibrated_on", "-pk")
    tools = list(
        Tool.objects.filter(pk__in={*used, *read}).prefetch_related(
            Prefetch("calibrations", calibrations, to_attr="by_day")
        )
    )
    facts = facts_of(tools)
    for tool in tools:
        for what, days in ((_("made with"), used), (_("read with"), read)):
            if tool.pk in days:
                day = days[tool.pk]
                yield ToolSaid(
                    f"{tool.code} {tool.name}".strip(),
                    str(tool.get_kind_display()),
                    f"{what}, {format_page_day(day)}",
                    _state_of(
                        tool, facts[tool.pk], day, board.handed_out_on if days is used else day
                    ),
                )


def _state_of(tool: Tool, facts: ToolFacts, day: date, first_day: date) -> str:
    """Its calibration on a day, and what by now puts the days of its use in question."""
    state = fitness_on(facts, day)
    said = []
    if state.fitness in (Fitness.OUT_OF_SERVICE, Fitness.RETIRED):
        said.append(why_unfit(tool, state))
    if tool.without_calibration and state.calibration is None:
        said.append(_("kept without calibration"))
    else:
        said.append(_calibrated(tool.by_day, day))  # type: ignore[attr-defined]
    said += [
        _("found out of its limits on %(day)s")
        % {"day": format_page_day(doubt.calibration.calibrated_on)}
        for doubt in doubts(facts.calibrations)
        if doubt.touches(first_day, max(first_day, day))
        and not (state.fitness == Fitness.FAILED and doubt.calibration == state.calibration)
    ]
    return "; ".join(said)


def _calibrated(calibrations: Iterable[Calibration], day: date) -> str:
    last = next(
        (calibration for calibration in calibrations if calibration.calibrated_on <= day), None
    )
    if last is None:
        return _("no calibration on record by then")
    words = {
        "done": format_page_day(last.calibrated_on),
        "through": format_page_day(last.valid_through),
    }
    if not last.passed:
        text = _("did not pass on %(done)s") % words
    elif last.valid_through < day:
        text = _("calibrated %(done)s, ran out %(through)s") % words
    else:
        text = _("calibrated %(done)s, good through %(through)s") % words
    return f"{text} ({last.reference})" if last.reference else text
