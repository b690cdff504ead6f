"""The steps of setting up a site in words: what is there, what is missing, who does it where."""

from collections.abc import Collection
from datetime import datetime
from typing import Any

from django.urls import reverse
from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from assessments.models import Criterion
from certification.access import reads_in_full
from certification.domain.answers import Rule
from certification.domain.disclosure import reader_for
from certification.presenters.standing_words import reason_for
from operations.domain.setting_up import StepName, StepState
from operations.models import MailTrial
from operations.queries.back_ups import are_made_at_night
from operations.queries.setting_up import InstructorTruth, RoleGap, SettingUp, SiteTruth
from people.models import Role, User
from people.presenters.days import format_instant, format_page_day
from training.models import JointType

from .setup_words import MOST_NAMED, Link, Progress, Sentence, Step, named, page_link

MOST_ASKED = 3

GAPS = {
    RoleGap.NOBODY: gettext_lazy("%(site)s: nobody holds instructor or quality."),
    RoleGap.NO_INSTRUCTOR: gettext_lazy("%(site)s: nobody holds instructor."),
    RoleGap.NO_QUALITY: gettext_lazy("%(site)s: nobody holds quality."),
    RoleGap.ONE_PERSON: gettext_lazy(
        "%(site)s: %(name)s alone is instructor and quality. Whoever judged a board may not issue "
        "by it, so somebody else has to hold one of them too."
    ),
}


Made = tuple[list[Sentence], Link | None, Progress | None]


def _asked(truth: SettingUp, role: str) -> str:
    """Who holds a role at these sites, the first few by name."""
    users = {user.pk: user for site in truth.sites for user in site.holders[role]}
    return named(list(users.values())[:MOST_ASKED])


def _joint_types(values: Collection[str]) -> str:
    return named(label for value, label in JointType.choices if value in values)


def _sites(truth: SettingUp, user: User, now: datetime) -> Made:
    says = [
        Sentence(
            str(truth.organisation)
            if truth.organisation
            else _("Nobody has said yet whose installation this is."),
            truth.organisation is None,
        )
    ]
    says += [
        Sentence(
            _("%(site)s: numbers begin with %(prefix)s, days are those of %(zone)s.")
            % {"site": one.site, "prefix": one.site.prefix, "zone": one.site.time_zone}
        )
        for one in truth.sites
    ]
    if not user.has_role(Role.ADMINISTRATOR):
        return says, None, None
    if truth.organisation is None:
        return says, page_link(_("Name the organisation"), "operations:organisation"), None
    return says, page_link(_("Sites"), "people:site_list"), None


def trial_in_words(trial: MailTrial, now: datetime, zone: Any) -> Sentence:
    """What became of a test mail."""
    words = {
        "address": trial.recipient,
        "asked": format_instant(trial.asked_at, zone),
        "server": trial.server,
        "answer": trial.answer,
        "sent": format_instant(trial.sent_at or trial.asked_at, zone),
        "seen": format_instant(trial.followed_at or trial.asked_at, zone),
    }
    states = MailTrial.State
    if trial.server == MailTrial.FOLDER and trial.state(now) is states.SENT:
        text = _("The test mail to %(address)s became a file on %(sent)s.")
        return Sentence(text % words)
    sentences = {
        states.WAITING: _("The test mail to %(address)s waits to be sent since %(asked)s."),
        states.LOST: _(
            "No worker has sent the test mail to %(address)s that was asked for on %(asked)s: "
            "see Health."
        ),
        states.FAILED: _(
            "The test mail to %(address)s of %(asked)s was not sent. %(server)s said: %(answer)s"
        ),
        states.SENT: _(
            "The test mail to %(address)s was sent on %(sent)s by %(server)s, which answered: "
            "%(answer)s. Follow the link in it."
        ),
        states.ARRIVED: _(
            "The test mail to %(address)s of %(asked)s arrived: its link was followed on %(seen)s."
        ),
    }
    state = trial.state(now)
    return Sentence(sentences[state] % words, state in (states.LOST, states.FAILED))


def _mail(truth: SettingUp, user: User, now: datetime) -> Made:
    zone, mail = _zone(user), truth.mail
    says = []
    if mail.goes_to_folder:
        says.append(
            Sentence(_("Mails become files in a folder, since EMAIL_URL is not set."), True)
        )
    if mail.arrived:
        says.append(trial_in_words(mail.arrived, now, zone))
    if mail.last and mail.last != mail.arrived:
        says.append(trial_in_words(mail.last, now, zone))
    if mail.last is None and not mail.goes_to_folder:
        says.append(
            Sentence(_("No test mail has gone out by %(server)s yet.") % {"server": mail.server})
        )
    if not user.has_role(Role.ADMINISTRATOR):
        return says, None, None
    label = _("Send another test mail") if mail.last else _("Send a test mail")
    return says, page_link(label, "operations:mail_trial"), None


def _zone(user: User) -> Any:
    return user.person.site.zone if user.person else None


def _people(truth: SettingUp, user: User, now: datetime) -> Made:
    says = [_people_at(one) for one in truth.sites]
    for one in truth.sites:
        if one.gap:
            name = next(iter(one.holders[Role.QUALITY]), "")
            says.append(Sentence(GAPS[one.gap] % {"site": one.site, "name": name}, True))
    if not user.has_role(Role.ADMINISTRATOR):
        return says, page_link(_("People"), "people:person_list"), None
    alone = sum(one.people for one in truth.sites) < 2
    if alone:
        return says, page_link(_("Enter people"), "people:person_new"), None
    return says, page_link(_("People and their roles"), "people:person_list"), None


def _people_at(one: SiteTruth) -> Sentence:
    held = one.holders
    counts = [
        ngettext("%(n)d person", "%(n)d people", one.people) % {"n": one.people},
        ngettext("%(n)d instructor", "%(n)d instructors", len(held[Role.INSTRUCTOR]))
        % {"n": len(held[Role.INSTRUCTOR])},
        _("%(n)d for quality") % {"n": len(held[Role.QUALITY])},
        ngettext("%(n)d line lead", "%(n)d line leads", len(held[Role.LINE_LEAD]))
        % {"n": len(held[Role.LINE_LEAD])},
    ]
    return Sentence(f"{one.site}: {', '.join(counts)}.")


def _schemes(truth: SettingUp, user: User, now: datetime) -> Made:
    schemes = truth.schemes
    says = [
        Sentence(_("Scopes: %(names)s.") % {"names": named(schemes.scopes)})
        if schemes.scopes
        else Sentence(_("No scope is there.")),
        Sentence(_("In force: %(names)s.") % {"names": named(schemes.in_force)})
        if schemes.in_force
        else Sentence(_("No scheme is in force.")),
    ]
    if schemes.drafts:
        says.append(Sentence(_("In draft: %(names)s.") % {"names": named(schemes.drafts)}))
    if schemes.in_force and schemes.uncovered:
        text = _("No scheme in force grants: %(names)s.")
        says.append(Sentence(text % {"names": named(schemes.uncovered)}, True))
    if schemes.ungradable:
        text = _(
            "Nobody could judge: %(names)s. The schemes ask whoever judges it for standing, and "
            "none of them grants it to an inspector or instructor."
        )
        says.append(Sentence(text % {"names": _joint_types(schemes.ungradable)}, True))
    return says, page_link(_("Scopes and schemes"), "certification:scheme_list"), None


def _criteria(truth: SettingUp, user: User, now: datetime) -> Made:
    criteria, quality = truth.criteria, user.has_role(Role.QUALITY)
    if criteria.current is not None:
        at = criteria.current.published_at
        says = Sentence(
            _("Boards are judged by %(set)s, published on %(day)s.")
            % {"set": criteria.current, "day": format_page_day(at) if at else "–"}
        )
        return [says], page_link(_("Criteria"), "assessments:criteria_list"), None
    if criteria.draft is None:
        return [Sentence(_("No criteria are there."))], _content_link(truth, user), None
    confirmed = criteria.total - criteria.left_count
    progress = Progress(
        confirmed,
        criteria.total,
        _("%(confirmed)d of %(total)d criteria of “%(set)s” are confirmed")
        % {"confirmed": confirmed, "total": criteria.total, "set": criteria.draft},
    )
    says = Sentence(_left(truth))
    if not quality:
        return [says], page_link(_("Criteria"), "assessments:criteria_list"), progress
    if criteria.left_count:
        label = ngettext(
            "Confirm the one that is left", "Confirm the %(n)d that are left", criteria.left_count
        ) % {"n": criteria.left_count}
        page = "assessments:criteria_confirm"
    else:
        label, page = _("Publish the set"), "assessments:criteria_publish"
    return [says], page_link(label, page, criteria.draft.pk), progress


def _left(truth: SettingUp) -> str:
    left = truth.criteria.left or {}
    who = _asked(truth, Role.QUALITY) or _("somebody with the role quality")
    if not left:
        return _("All are confirmed. %(who)s publishes the set.") % {"who": who}
    of = [
        _("%(n)d of joints") % {"n": left.get(Criterion.Of.JOINT, 0)},
        _("%(n)d of the whole board") % {"n": left.get(Criterion.Of.BOARD, 0)},
    ]
    return _("Left are %(of)s. %(who)s confirms them and then publishes the set.") % {
        "of": get_text_list(of, _("and")),
        "who": who,
    }


def _content_link(truth: SettingUp, user: User) -> Link | None:
    if not user.has_role(Role.ADMINISTRATOR):
        return None
    return Link(_("Add what comes along"), reverse("operations:content_add"), is_pressed=True)


def _exercises(truth: SettingUp, user: User, now: datetime) -> Made:
    exercises = truth.exercises
    counts = [
        ngettext("%(n)d exercise", "%(n)d exercises", exercises.exercises)
        % {"n": exercises.exercises},
        ngettext("%(n)d course", "%(n)d courses", exercises.courses) % {"n": exercises.courses},
    ]
    says = [Sentence(_("There are %(counts)s.") % {"counts": get_text_list(counts, _("and"))})]
    if exercises.missing:
        text = _("Schemes ask for boards of %(codes)s, which no exercise is called.")
        says.append(Sentence(text % {"codes": named(exercises.missing)}, True))
    if exercises.is_done:
        return says, page_link(_("Exercises"), "training:exercise_list"), None
    if not (exercises.exercise_drafts or exercises.course_drafts):
        says.append(
            Sentence(
                _(
                    "What comes along with the program are exercises, courses and a draft of "
                    "criteria; your own go beside them or in their place."
                )
            )
        )
        return says, _content_link(truth, user), None
    drafted = [
        ngettext("%(n)d exercise", "%(n)d exercises", exercises.exercise_drafts)
        % {"n": exercises.exercise_drafts},
        ngettext("%(n)d course", "%(n)d courses", exercises.course_drafts)
        % {"n": exercises.course_drafts},
    ]
    text = _("Drafts of %(counts)s are there for %(who)s to look through and publish.")
    who = _asked(truth, Role.QUALITY) or _("somebody with the role quality")
    says.append(Sentence(text % {"counts": get_text_list(drafted, _("and")), "who": who}))
    return says, _drafts_link(truth, user), None


def _drafts_link(truth: SettingUp, user: User) -> Link | None:
    """Exercises come first: a course is published once those of its lessons are."""
    is_course = bool(truth.exercises.exercises) or not truth.exercises.exercise_drafts
    if not user.has_role(Role.QUALITY):
        page = "training:course_list" if is_course else "training:exercise_list"
        return page_link(_("Courses") if is_course else _("Exercises"), page)
    if is_course:
        return page_link(_("Publish courses"), "training:course_publish")
    return page_link(_("Publish exercises"), "training:exercise_publish")


def _instructors(truth: SettingUp, user: User, now: datetime) -> Made:
    says = [_instructor(one, user) for one in truth.instructors[:MOST_NAMED]]
    if len(truth.instructors) > MOST_NAMED:
        more = len(truth.instructors) - MOST_NAMED
        says.append(Sentence(_("%(n)d more instructors.") % {"n": more}))
    if not truth.instructors:
        says.append(Sentence(_("Nobody holds the role instructor.")))
    elif truth.schemes.is_done and not truth.schemes.grades:
        says.append(Sentence(_("The schemes in force ask whoever judges for no standing.")))
    elif truth.unjudged and truth.schemes.is_done:
        text = _("Nobody here may judge yet: %(names)s.")
        says.append(Sentence(text % {"names": _joint_types(truth.unjudged)}, True))
    first = next((one for one in truth.instructors if not one.is_certified), None)
    if user.has_role(Role.QUALITY):
        asked = _first_asked(truth, first)
        label = _("Enter their certificates")
        return says, page_link(label, "certification:certificate_from_elsewhere", **asked), None
    who = _asked(truth, Role.QUALITY)
    if first is not None and who:
        says.append(Sentence(_("%(who)s, quality, enters their certificates.") % {"who": who}))
    return says, None, None


def _first_asked(truth: SettingUp, first: InstructorTruth | None) -> dict[str, str]:
    """What the form for a certificate from elsewhere begins with."""
    if first is None or first.user.person is None:
        return {}
    return {"person": first.user.person.employee_number}


def _instructor(one: InstructorTruth, user: User) -> Sentence:
    if one.is_certified:
        scopes = named(span.scope for span in one.spans if span.standing == "certified")
        return Sentence(
            _("%(name)s is certified: %(scopes)s.") % {"name": one.user, "scopes": scopes}
        )
    if not one.spans:
        return Sentence(_("%(name)s: nothing is entered.") % {"name": one.user})
    in_full = one.user.person is not None and reads_in_full(user, one.user.person)
    reason = reason_for(Rule(one.spans[0].rule), reader_for(in_full=in_full))
    return Sentence(
        _("%(name)s: %(scope)s is entered, and does not count. %(reason)s")
        % {"name": one.user, "scope": one.spans[0].scope, "reason": reason},
        True,
    )


def _classes(truth: SettingUp, user: User, now: datetime) -> Made:
    classes = truth.classes
    says: list[Sentence] = []
    if not classes.planned:
        says.append(Sentence(_("No class is planned.")))
    else:
        planned = ngettext("%(n)d class is planned", "%(n)d classes are planned", classes.planned)
        says.append(
            Sentence(
                _("%(classes)s, %(people)d of them with people enrolled.")
                % {"classes": planned % {"n": classes.planned}, "people": classes.with_people}
            )
        )
    if user.has_role(Role.INSTRUCTOR):
        label, page = _("Plan a class"), "training:class_new"
        if classes.planned:
            label, page = _("Classes"), "training:class_list"
        return says, page_link(label, page), None
    who = _asked(truth, Role.INSTRUCTOR)
    if who and not classes.with_people:
        says.append(Sentence(_("%(who)s, instructor, plans it.") % {"who": who}))
    if user.has_role(Role.QUALITY):
        return says, page_link(_("Classes"), "training:class_list"), None
    return says, page_link(_("Courses"), "training:course_list"), None


def _boards(truth: SettingUp, user: User, now: datetime) -> Made:
    classes, board = truth.classes, truth.classes.at_hand
    says = [
        Sentence(
            _("Boards handed out: %(n)d, handed in: %(m)d, judged: %(judged)d.")
            % {"n": classes.boards, "m": classes.handed_in, "judged": classes.judged}
        )
        if classes.boards
        else Sentence(_("No board is handed out."))
    ]
    teaches, who = user.has_role(Role.INSTRUCTOR), _asked(truth, Role.INSTRUCTOR)
    if classes.judged:
        return says, page_link(_("Boards"), "assessments:board_list"), None
    if board is not None:
        words = {"number": board.number, "name": board.person.full_name, "who": who}
        if board.handed_in_at is None:
            says.append(Sentence(_("%(number)s is with %(name)s, who hands it in.") % words))
        elif who:
            says.append(Sentence(_("%(number)s is handed in: %(who)s judges it.") % words))
        if teaches or user.has_role(Role.QUALITY):
            link = page_link(_("Open the board"), "assessments:board_detail", board.number)
            return says, link, None
        return says, page_link(_("Boards"), "assessments:board_list"), None
    if teaches:
        return says, page_link(_("Hand out boards"), "assessments:board_new"), None
    if who:
        says.append(Sentence(_("%(who)s, instructor, hands it out.") % {"who": who}))
    return says, page_link(_("Boards"), "assessments:board_list"), None


def _certificates(truth: SettingUp, user: User, now: datetime) -> Made:
    made, quality = truth.certificates, user.has_role(Role.QUALITY)
    if made.first is not None:
        text = _("%(number)s was issued to %(name)s on %(day)s: %(scope)s.")
        words = {
            "number": made.first.number,
            "name": made.first.person.full_name,
            "day": format_page_day(made.first.issued_on),
            "scope": made.first.scope,
        }
        link = page_link(_("People"), "people:person_list")
        if user.has_role(Role.QUALITY, Role.INSTRUCTOR, Role.LINE_LEAD):
            link = page_link(_("Register"), "certification:register")
        return [Sentence(text % words)], link, None
    if made.proposed:
        says = [
            Sentence(
                ngettext("%(n)d proposal waits.", "%(n)d proposals wait.", made.proposed)
                % {"n": made.proposed}
            )
        ]
        who = _asked(truth, Role.QUALITY)
        if who and not quality:
            says.append(Sentence(_("%(who)s, quality, decides.") % {"who": who}))
        link = page_link(_("Proposals"), "certification:proposal_list") if quality else None
        return says, link, None
    says = [Sentence(_("Nobody is proposed."))]
    if user.has_role(Role.INSTRUCTOR):
        return says, page_link(_("Whom to propose"), "certification:proposals_new"), None
    who = _asked(truth, Role.INSTRUCTOR)
    if who:
        says.append(Sentence(_("%(who)s, instructor, proposes who is ready.") % {"who": who}))
    return says, page_link(_("People"), "people:person_list"), None


def _back_up(truth: SettingUp, user: User, now: datetime) -> Made:
    made, failed = truth.back_ups.last, truth.back_ups.failed
    says = []
    if made is not None:
        words = {"path": made.path, "made": format_instant(made.begun_at, _zone(user))}
        says.append(Sentence(_("The last one is %(path)s, of %(made)s.") % words))
    if failed is not None:
        says.append(
            Sentence(_("The last back-up was not made: %(why)s") % {"why": failed.failure}, True)
        )
    if not are_made_at_night():
        says.append(
            Sentence(
                _(
                    "Whoever runs the machine names a folder on another one in BACK_UP_DIR, or a "
                    "bucket in BACK_UP_URL, for a back-up every night; `manage.py back_up` makes "
                    "one by hand."
                ),
                True,
            )
        )
    elif made is None and failed is None:
        says.append(Sentence(_("The first is made at night.")))
    if not user.has_role(Role.ADMINISTRATOR):
        return says, None, None
    return says, page_link(_("Health"), "operations:health"), None


MAKERS = {
    StepName.SITES: _sites,
    StepName.MAIL: _mail,
    StepName.PEOPLE: _people,
    StepName.SCHEMES: _schemes,
    StepName.CRITERIA: _criteria,
    StepName.EXERCISES: _exercises,
    StepName.INSTRUCTORS: _instructors,
    StepName.CLASSES: _classes,
    StepName.BOARDS: _boards,
    StepName.CERTIFICATES: _certificates,
    StepName.BACK_UP: _back_up,
}


def steps(truth: SettingUp, user: User, now: datetime) -> list[Step]:
    """Every step in order, with the one link that its reader can follow."""
    made = []
    for name in StepName:
        place = truth.places[name]
        says, link, progress = MAKERS[name](truth, user, now)
        if place.state is StepState.WAITS:
            first = place.waits_for[0]
            link = Link(_("To step %(n)d") % {"n": first.number}, f"#step-{first.value}")
        made.append(Step(name, place, tuple(says), link, progress))
    return made
