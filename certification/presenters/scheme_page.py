"""Schemes in words: what each figure does, what a revision says, what changes, what follows."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from assessments.models import Board
from certification.domain.facts import SchemeFigures
from certification.domain.months import add_months
from certification.domain.path import NO_FIGURES, PathFigures
from certification.domain.scheme_rules import Example, example
from certification.models import Certificate, Proposal, SchemeRevision, Scope
from certification.queries import scheme_drafts as queries
from people.presenters.days import format_unbroken_day
from people.queries.site_days import Days
from records.domain.shown import Line, Shown, digest_of
from training.models import Exercise, JointType

LABELS = {
    "title": gettext_lazy("Title"),
    "validity_months": gettext_lazy("Good for"),
    "expiry_rule": gettext_lazy("Ends on"),
    "renewal_window_days": gettext_lazy("Window for renewing"),
    "vision_months": gettext_lazy("Vision test good for"),
    "max_absence_months": gettext_lazy("Longest gap in the work"),
    "reminder_steps": gettext_lazy("Reminders"),
    "instructor_may_issue": gettext_lazy("Who issues"),
    "grader_needs_standing": gettext_lazy("Who judges"),
    "attempts": gettext_lazy("Attempts that may fail"),
    "wait_days": gettext_lazy("Wait after failing"),
    "retraining_boards": gettext_lazy("Practice for training again"),
    "written_test": gettext_lazy("Written test"),
    "written_test_months": gettext_lazy("Written test passed within"),
    "scopes": gettext_lazy("Scopes"),
    "requirements": gettext_lazy("Boards asked for"),
    "sources": gettext_lazy("Sources"),
}


@dataclass(frozen=True, slots=True)
class Said:
    """One figure: its name, what it is, what it does, and where it comes from."""

    name: str
    label: str
    value: str
    does: str
    source: str = ""


def figures_said(
    figures: SchemeFigures,
    reminder_steps: Sequence[int],
    *,
    instructor_may_issue: bool,
    grader_needs_standing: bool,
    day: date,
    sources: Mapping[str, str] | None = None,
    path: PathFigures = NO_FIGURES,
    written_test: str = "",
    written_test_months: int = 0,
) -> list[Said]:
    """Every figure with a sentence of what it does, worked out for a certificate of one day.

    Parameters
    ----------
    figures, reminder_steps
        Without faults (`certification.domain.scheme_rules.faults`).
    day : date
        The day on which the certificate of the sentences is issued.
    """
    shown = example(figures, reminder_steps, day)
    state = {
        "validity_months": figures.validity_months,
        "expiry_rule": str(figures.expiry_rule),
        "renewal_window_days": figures.renewal_window_days,
        "vision_months": figures.vision_months,
        "max_absence_months": figures.max_absence_months,
        "reminder_steps": list(reminder_steps),
        "instructor_may_issue": instructor_may_issue,
        "grader_needs_standing": grader_needs_standing,
        **asdict(path),
        "written_test": written_test,
        "written_test_months": written_test_months,
    }
    does = {
        "validity_months": _period(shown),
        "renewal_window_days": _window(shown, figures.renewal_window_days),
        "vision_months": _vision(shown),
        "max_absence_months": _practice(shown),
        "reminder_steps": _reminders(shown),
        "instructor_may_issue": _issuing(instructor_may_issue),
        "grader_needs_standing": _judging(grader_needs_standing),
        "attempts": _attempts(path),
        "wait_days": _waiting(path, day),
        "retraining_boards": _training_again(path),
        "written_test": _written_test(written_test),
        "written_test_months": _written_within(written_test, written_test_months, day),
    }
    return [
        Said(name, str(LABELS[name]), value_said(name, value), does.get(name, ""),
             (sources or {}).get(name, ""))
        for name, value in state.items()
    ]  # fmt: skip


def revision_said(revision: SchemeRevision, day: date) -> list[Said]:
    """The same of a revision."""
    return figures_said(
        queries.figures_of(revision),
        revision.reminder_steps,
        instructor_may_issue=revision.instructor_may_issue,
        grader_needs_standing=revision.grader_needs_standing,
        day=day,
        sources=revision.sources,
        path=queries.path_figures_of(revision),
        written_test=revision.written_test,
        written_test_months=revision.written_test_months,
    )


def _days(**days: date | None) -> dict[str, str]:
    return {name: format_unbroken_day(day) for name, day in days.items() if day is not None}


def _period(shown: Example) -> str:
    return _("Issued on %(issued)s, a certificate is good through %(end)s, that day included.") % (
        _days(issued=shown.issued_on, end=shown.ends_on)
    )


def _window(shown: Example, window: int) -> str:
    facts = _days(
        end=shown.ends_on,
        renewed=shown.renewed_on,
        through=shown.renewed_through,
        early=shown.early_on,
        early_through=shown.early_through,
    )
    if not window:
        return (
            _(
                "Renewed on %(early)s, the day before its end, the next one runs from that day: "
                "good through %(early_through)s."
            )
            % facts
        )
    within = ngettext(
        "Renewed on %(renewed)s, within %(n)d day before its end %(end)s: new end %(through)s.",
        "Renewed on %(renewed)s, within %(n)d days before its end %(end)s: new end %(through)s.",
        window,
    ) % {**facts, "n": window}
    before = (
        _("Renewed on %(early)s, before the window: new end %(early_through)s, and days are lost.")
        % facts
    )
    return f"{within} {before}"


def _vision(shown: Example) -> str:
    if shown.vision_through is None:
        return _("No vision test is asked for.")
    return _(
        "Passed on %(issued)s, a vision test is good through %(through)s. Without a newer one the"
        " certificate does not count after that."
    ) % _days(issued=shown.issued_on, through=shown.vision_through)


def _practice(shown: Example) -> str:
    if shown.practice_through is None:
        return _("Work may rest for any time.")
    return _(
        "Without work recorded within the scope after %(issued)s it lapses after %(through)s. "
        "Each day of work counts anew."
    ) % _days(issued=shown.issued_on, through=shown.practice_through)


def _reminders(shown: Example) -> str:
    if shown.first_reminder_on is None:
        return _("Nobody is written to before the end, and once on the day after it.")
    return _(
        "Of that end the first reminder goes out on %(first)s and the last on %(last)s, each on "
        "the working day before where that is a day off; one more on the day after the end."
    ) % _days(first=shown.first_reminder_on, last=shown.last_reminder_on)


def _issuing(instructor_may_issue: bool) -> str:
    if instructor_may_issue:
        return _(
            "Quality issues, and so may an instructor at the person’s site who graded none of the "
            "boards that count. Nobody issues their own."
        )
    return _("Quality issues what an instructor has proposed. Nobody issues their own.")


def _judging(grader_needs_standing: bool) -> str:
    if grader_needs_standing:
        return _(
            "Whoever judges a board with joints of its operators’ scopes has to be certified on "
            "that day, as inspector or instructor, for such joints."
        )
    return _("Whoever judges boards needs no certificate by this scheme.")


def _attempts(path: PathFigures) -> str:
    if not path.attempts:
        return _("Boards for qualification are handed out however many failed before.")
    return ngettext(
        "After %(n)d failed attempt at an exercise the next board for qualification is handed out "
        "once its maker was trained again. A certificate begins the count anew.",
        "After %(n)d failed attempts at an exercise the next board for qualification is handed "
        "out once its maker was trained again. A certificate begins the count anew.",
        path.attempts,
    ) % {"n": path.attempts}


def _waiting(path: PathFigures, day: date) -> str:
    if not path.wait_days:
        return _("The next attempt may begin on the day on which one failed.")
    return _(
        "Failed on %(failed)s, the next board for qualification is handed out on %(next)s or later."
    ) % _days(failed=day, next=day + timedelta(days=path.wait_days))


def _training_again(path: PathFigures) -> str:
    if not path.attempts:
        return ""
    if not path.retraining_boards:
        return _("Trained again is whoever attends a class that teaches the exercise, whole.")
    return ngettext(
        "Trained again is whoever attends a class that teaches the exercise, whole, or passes "
        "%(n)d practice board of it that was handed out after the day of failing.",
        "Trained again is whoever attends a class that teaches the exercise, whole, or passes "
        "%(n)d practice boards of it that were handed out after the day of failing.",
        path.retraining_boards,
    ) % {"n": path.retraining_boards}


def _written_test(code: str) -> str:
    if not code:
        return _("Nobody needs a written test.")
    return _("Whoever is proposed has passed %(test)s, in whichever revision.") % {"test": code}


def _written_within(code: str, months: int, day: date) -> str:
    if not code or not months:
        return ""
    return _("Passed on %(day)s, it counts for whoever is proposed through %(last)s.") % _days(
        day=day, last=add_months(day, months)
    )


# Values


def _months(value: int, none: str) -> str:
    if not value:
        return none
    return ngettext("%(n)d month", "%(n)d months", value) % {"n": value}


def value_said(name: str, value: Any) -> str:
    """What a figure is, in a few words."""
    if name == "validity_months":
        return _months(value, "0")
    if name == "vision_months":
        return _months(value, _("none asked for"))
    if name == "max_absence_months":
        return _months(value, _("no limit"))
    if name == "renewal_window_days":
        days = ngettext("%(n)d day before the end", "%(n)d days before the end", value)
        return days % {"n": value} if value else _("none")
    if name == "expiry_rule":
        return str(SchemeRevision.ExpiryRule(value).label)
    if name == "reminder_steps":
        steps = ", ".join(map(str, value))
        return _("%(steps)s days before an end") % {"steps": steps} if steps else _("none")
    if name == "instructor_may_issue":
        return _("quality or an instructor") if value else _("quality")
    if name == "grader_needs_standing":
        return _("certified graders") if value else _("any grader")
    if name == "attempts":
        return str(value) if value else _("no limit")
    if name == "wait_days":
        return ngettext("%(n)d day", "%(n)d days", value) % {"n": value} if value else _("none")
    if name == "retraining_boards":
        boards = ngettext(
            "%(n)d board passed, or a class", "%(n)d boards passed, or a class", value
        )
        return boards % {"n": value} if value else _("a class")
    if name == "written_test":
        return value or _("none asked for")
    if name == "written_test_months":
        return _months(value, _("however long ago"))
    return str(value)


def asked_said(
    exercise: str,
    purposes: Sequence[str],
    boards: int,
    within_months: int,
    after_exercise: str = "",
    after_course: str = "",
) -> str:
    """Boards asked for in one line: ``2 boards of EX-CUP, for qualification, in 12 months``."""
    parts = [
        ngettext("%(n)d board of %(exercise)s", "%(n)d boards of %(exercise)s", boards)
        % {"n": boards, "exercise": exercise}
    ]
    names = [str(label) for value, label in Board.Purpose.choices if value in purposes]
    parts.append(
        _("for %(purposes)s") % {"purposes": get_text_list(names, _("or"))}
        if names
        else _("for any purpose")
    )
    parts.append(
        ngettext("passed in the last %(n)d month", "passed in the last %(n)d months", within_months)
        % {"n": within_months}
        if within_months
        else _("however long ago")
    )
    if after_exercise:
        parts.append(_("after %(exercise)s is passed") % {"exercise": after_exercise})
    if after_course:
        parts.append(_("after the course %(course)s") % {"course": after_course})
    return ", ".join(parts)


@dataclass(frozen=True, slots=True)
class ScopeSaid:
    """A scope that a revision covers or asks boards for, with what is asked."""

    scope: Scope
    asked: list[tuple[str, str]]
    """What is asked in a line, and the exercise's title."""
    is_covered: bool = True


def scopes_said(revision: SchemeRevision) -> list[ScopeSaid]:
    """Every scope of a revision, operators' first, with the boards asked for it."""
    rows = list(revision.requirements.select_related("scope"))
    codes = {row.exercise_code for row in rows}
    titles = dict(
        Exercise.objects.filter(code__in=codes).order_by("revision").values_list("code", "title")
    )
    covered = {scope.pk: scope for scope in revision.scopes.all()}
    scopes = covered | {row.scope_id: row.scope for row in rows}
    levels = [level.value for level in Scope.Level]
    return [
        ScopeSaid(
            scope,
            [
                (
                    asked_said(
                        row.exercise_code,
                        row.purposes,
                        row.boards,
                        row.within_months,
                        row.after_exercise,
                        row.after_course,
                    ),
                    titles.get(row.exercise_code, ""),
                )
                for row in rows
                if row.scope_id == pk
            ],
            is_covered=pk in covered,
        )
        for pk, scope in sorted(
            scopes.items(), key=lambda pair: (levels.index(pair[1].level), pair[1].title)
        )
    ]


# What differs


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that a revision says otherwise than the one before; empty where it said nothing."""

    what: str
    was: str
    now: str


def differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[Difference]:
    """What differs between two states of a scheme (`scheme_drafts.state_of`), in words."""
    found = [
        Difference(str(LABELS[name]), value_said(name, before[name]), value_said(name, after[name]))
        for name in ("title", *queries.RULES)
        if before[name] != after[name]
    ]
    was, now = set(before["scopes"]), set(after["scopes"])
    scope = _("Scope")
    found += [Difference(scope, code, "") for code in sorted(was - now)]
    found += [Difference(scope, "", code) for code in sorted(now - was)]
    asked_before, asked_now = _asked_by_place(before), _asked_by_place(after)
    for place in sorted({*asked_before, *asked_now}):
        if asked_before.get(place) != asked_now.get(place):
            what = _("Boards for %(scope)s") % {"scope": place[0]}
            found.append(Difference(what, asked_before.get(place, ""), asked_now.get(place, "")))
    for name in queries.SOURCED:
        said, says = before["sources"].get(name, ""), after["sources"].get(name, "")
        if said != says:
            what = _("Source of “%(figure)s”") % {"figure": LABELS[name]}
            found.append(Difference(what, said, says))
    return found


def _asked_by_place(state: Mapping[str, Any]) -> dict[tuple[str, str], str]:
    return {
        (scope, exercise): asked_said(exercise, *said)
        for scope, exercise, *said in state["requirements"]
    }


def draft_differences(revision: SchemeRevision) -> list[Difference]:
    """What a revision says otherwise than the one before it; empty where there is none."""
    earlier = queries.earlier_of(revision)
    if earlier is None:
        return []
    return differences(queries.state_of(earlier), queries.state_of(revision))


def stands_now(revision: SchemeRevision, typed: Mapping[str, Any]) -> list[str]:
    """What stands in a draft where somebody typed something else, in sentences."""
    return [
        _("%(what)s, as it stands now: %(now)s") % {"what": row.what, "now": row.now or _("none")}
        for row in differences(typed, queries.state_of(revision))
    ]


# What follows


def scheme_shown(revision: SchemeRevision, at: datetime) -> Shown:
    """What is shown of a draft to whoever publishes it, line by line."""
    content = queries.content_to_publish(revision)
    lines = {_("Title"): Line(revision.scheme.title)}
    for name in queries.RULES:
        lines[str(LABELS[name])] = Line(value_said(name, getattr(revision, name)))
    for said in scopes_said(revision):
        asked = "; ".join(line for line, _title in said.asked) or _("no boards asked for")
        lines[f"{said.scope.title} ({said.scope.code})"] = Line(asked)
    lines[_("Retires")] = Line(", ".join(content["replaces"]) or _("none"))
    for code, names in content["covered_also"].items():
        lines[_("Other schemes for %(scope)s") % {"scope": code}] = Line(", ".join(names))
    return Shown(digest_of(content), at, lines)


def consequences(revision: SchemeRevision, days: Days) -> list[str]:
    """What publishing a draft comes to, and what it leaves as it is, in sentences."""
    replaced = queries.replaced_by(revision)
    said = [
        *_of_replaced(replaced),
        *(
            _(
                "%(scope)s is covered by %(others)s too. Of several schemes that ask for boards "
                "the one published last is proposed first: from now on this one."
            )
            % {"scope": code, "others": get_text_list(names, _("and"))}
            for code, names in queries.covered_also(revision).items()
        ),
    ]
    gone = queries.no_longer_covered(revision)
    if gone:
        said.append(
            _("Nothing new can be issued for %(scopes)s: no scheme in force covers it then.")
            % {"scopes": get_text_list([scope.title for scope in gone], _("and"))}
        )
    unjudged = queries.joint_types_without_grader(revision, days)
    if unjudged:
        names = [str(label) for value, label in JointType.choices if value in unjudged]
        said.append(
            _(
                "Nobody is certified today as inspector or instructor for: %(names)s. Nobody could "
                "judge boards with such joints until somebody is: publish a scheme for instructors "
                "and enter their certificates from elsewhere first."
            )
            % {"names": get_text_list(names, _("and"))}
        )
    return said


def _of_replaced(replaced: Sequence[SchemeRevision]) -> list[str]:
    said = []
    for old in replaced:
        certificates = Certificate.objects.not_withdrawn().filter(scheme_revision=old).count()
        said.append(
            ngettext(
                "%(name)s retires. %(n)d certificate issued under it keeps its figures.",
                "%(name)s retires. %(n)d certificates issued under it keep its figures.",
                certificates,
            )
            % {"name": old, "n": certificates}
        )
        proposals = Proposal.objects.open().filter(scheme_revision=old).count()
        if proposals:
            said.append(
                ngettext(
                    "%(n)d open proposal names %(name)s and cannot be issued any more: it is "
                    "proposed anew.",
                    "%(n)d open proposals name %(name)s and cannot be issued any more: they are "
                    "proposed anew.",
                    proposals,
                )
                % {"name": old, "n": proposals}
            )
    if not replaced:
        said.append(_("Certificates that were issued keep the figures they were issued under."))
    return said
