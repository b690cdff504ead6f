"""Plans of classes: asked for, worked out by a worker, changed by hand, and carried out.

The solver takes up to `TIME_LIMIT_S`, so that a web process never runs it: a worker claims the
plan, solves outside any transaction, and writes the answer if the claim is still its own.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from certification import access
from certification.domain.class_plan import CannotBeKept, Clash, Plan, clash_among, plan_classes
from certification.exceptions import CertificationError, ChangedMeanwhile
from certification.models import ClassPlan, PlannedNeed
from certification.models.class_plans import KEPT_FOR
from certification.queries import class_plan_facts
from certification.queries.class_plan_facts import Away, ClassPlanFacts, PlannedClass, Right
from people.models import Person, Site, User
from people.presenters.days import format_day
from people.services.people import lock_people
from records.services import trail
from training.models import ClassSession, Enrolment
from training.services.class_lock import lock_session
from training.services.courses import enrol_people
from training.services.plan_checks import lock_rooms

LONGEST_PERIOD_DAYS = 366
MOST_NEEDS = 900
"""Each is a line of the page, and a form holds no more than a thousand fields."""

Outcome = PlannedNeed.Outcome


# Asked for


@transaction.atomic
def ask_for_plan(
    *,
    sites: Sequence[Site],
    first_day: date,
    through: date,
    travel: bool,
    actor: User,
    at: datetime,
    again_from: ClassPlan | None = None,
) -> ClassPlan:
    """Have a plan worked out for the people of some sites whose rights end in a period.

    Parameters
    ----------
    travel : bool
        Whether people go to classes of the other sites too.
    again_from : ClassPlan, optional
        The plan of which everything that somebody fixed is kept, where it can still be.

    Raises
    ------
    CertificationError
        If the period cannot be, the sites are not all the actor's, or nothing ends in it.
    """
    _refuse_period(sites, first_day, through, at)
    access.refuse_sites(actor, sites)
    facts = class_plan_facts.read_facts(
        sites=sites, first_day=first_day, through=through, travel=travel, now=at
    )
    if not facts.rights:
        raise CertificationError(
            _("No right ends in this period that a class would have to renew. Choose a longer one.")
        )
    if len(facts.rights) > MOST_NEEDS:
        raise CertificationError(
            _("%(n)d rights end in this period, and a plan holds %(most)d. Choose a shorter one.")
            % {"n": len(facts.rights), "most": MOST_NEEDS}
        )
    plan = ClassPlan.objects.create(
        first_day=first_day,
        through=through,
        travel=travel,
        made_by=actor,
        again_from=again_from,
        rests_on=class_plan_facts.as_json(facts),
        recorded_at=at,
    )
    plan.sites.set(sites)
    fixed = _still_fixed(again_from, facts)
    PlannedNeed.objects.bulk_create(
        PlannedNeed(
            plan=plan,
            person_id=right.person,
            scope_codes=list(right.scopes),
            ends_on=right.ends_on,
            window_days=right.window_days,
            classes=list(right.classes),
            chosen_id=fixed.get(right),
            is_fixed=right in fixed,
        )
        for right in facts.rights
    )
    trail.record(
        actor=actor,
        act="class plan asked for",
        about=plan,
        payload={
            "sites": sorted(site.prefix for site in sites),
            "from": first_day,
            "through": through,
        },
        at=at,
    )
    return plan


def _refuse_period(sites: Sequence[Site], first_day: date, through: date, at: datetime) -> None:
    if not sites:
        raise CertificationError(_("Choose at least one site."))
    if through < first_day:
        raise CertificationError(_("The last day comes before the first. Change one of them."))
    if (through - first_day).days > LONGEST_PERIOD_DAYS:
        raise CertificationError(_("That is more than a year. Choose a shorter period."))
    if first_day < min(site.today(at) for site in sites):
        raise CertificationError(_("The first day is over. Choose today or a later one."))


def _still_fixed(before: ClassPlan | None, facts: ClassPlanFacts) -> dict[Right, int | None]:
    """What somebody fixed in an earlier plan, as far as it can be kept."""
    if before is None:
        return {}
    kept: dict[tuple[int, str], int | None] = {}
    for need in before.needs.filter(is_fixed=True):
        kept |= {(need.person_id, code): need.chosen_id for code in need.scope_codes}
    by_pk, fixed = facts.by_pk, {}
    for right in facts.rights:
        pairs = [(right.person, code) for code in right.scopes if (right.person, code) in kept]
        if not pairs:
            continue
        chosen = kept[pairs[0]]
        if chosen is None or (chosen in by_pk and facts.can_go(right, by_pk[chosen])):
            fixed[right] = chosen
    return fixed


# Worked out


def work_out_next(*, clock: Callable[[], datetime]) -> bool:
    """Work out the plan that has waited longest; return whether any other waits."""
    plan = ClassPlan.objects.due(clock()).order_by("recorded_at", "pk").first()
    if plan is not None:
        work_out(plan, clock=clock)
    return ClassPlan.objects.due(clock()).exists()


def work_out(plan: ClassPlan, *, clock: Callable[[], datetime]) -> None:
    """Solve a plan if nobody else does, and keep what was found with its bounds."""
    token = ClassPlan.objects.claim(plan.pk, clock())
    if not token:
        return
    plan = ClassPlan.objects.get(pk=plan.pk)
    needs = list(plan.needs.all())
    facts = class_plan_facts.from_json(plan.rests_on, needs)
    fixed = {class_plan_facts.right_of(need): need.chosen_id for need in needs if need.is_fixed}
    try:
        found = plan_classes(
            class_plan_facts.trainees_of(facts, fixed),
            class_plan_facts.possible_classes(facts),
            class_plan_facts.limits_in(facts),
            plan.through,
        )
    except CannotBeKept:
        ClassPlan.objects.filter(pk=plan.pk, claim=token).update(
            finished_at=clock(), claimed_at=None, cannot_be_kept=True
        )
        return
    _write(plan, token, needs, found, clock())


@transaction.atomic
def _write(
    plan: ClassPlan, token: str, needs: Sequence[PlannedNeed], found: Plan, at: datetime
) -> None:
    figures = [
        [one.value, one.bound]
        for one in (found.lapsed_days, found.classes_held, found.days_given_away)
    ]
    mine = ClassPlan.objects.filter(pk=plan.pk, claim=token, finished_at__isnull=True)
    if not mine.update(finished_at=at, claimed_at=None, figures=figures):
        return  # Another worker was quicker after the claim had lapsed.
    why = {(one.trainee, one.scope): str(one.why) for one in found.unmet}
    for need in needs:
        key = (
            need.person_id,
            class_plan_facts.scope_key(need.classes, need.scope_codes[0]),
        )
        need.worked_out_id = need.chosen_id = found.renewed.get(key)  # type: ignore[assignment]
        need.why = why.get(key, "")
    PlannedNeed.objects.bulk_update(needs, ["worked_out", "chosen", "why"], batch_size=200)


def throw_away_old(*, now: datetime) -> int:
    """Delete plans that were asked for long ago; return how many."""
    old = ClassPlan.objects.filter(recorded_at__lt=now - KEPT_FOR)
    number = old.count()
    old.delete()
    return number


# Changed by hand


@transaction.atomic
def move_names(
    *, plan: ClassPlan, choices: Mapping[int, int | None], version: int, actor: User
) -> int:
    """Put people where an instructor wants them, and fix them there; return how many moved.

    Parameters
    ----------
    choices : mapping of int to int or None
        Classes by the keys of the plan's needs; None is no class. What is not named stays.
    version : int
        Of the plan that the page showed.

    Raises
    ------
    ChangedMeanwhile
        If somebody else moved names since.
    CertificationError
        If a class would be too full, somebody would be in two on one day, or two would need one
        room or one instructor on one day.
    """
    plan = _lock(plan, version, actor)
    needs = list(plan.needs.select_related("person"))
    facts = class_plan_facts.from_json(plan.rests_on, needs)
    moved = []
    for need in needs:
        chosen = choices.get(need.pk, need.chosen_id)
        if chosen == need.chosen_id:
            continue
        if chosen is not None and not (
            chosen in facts.by_pk and facts.can_go(need, facts.by_pk[chosen])
        ):
            raise CertificationError(
                _("%(name)s cannot go to that class. Choose one that is offered in their line.")
                % {"name": need.person.full_name}
            )
        need.chosen_id, need.is_fixed = chosen, True
        moved.append(need)
    if moved:
        _refuse_impossible(needs, facts)
        _save_moves(plan, moved)
    return len(moved)


@transaction.atomic
def undo_move(*, plan: ClassPlan, need_id: int, version: int, actor: User) -> None:
    """Put somebody back where the plan had them.

    Raises
    ------
    ChangedMeanwhile
        If somebody else moved names since.
    CertificationError
        If their place there was given to somebody else by hand.
    """
    plan = _lock(plan, version, actor)
    needs = list(plan.needs.select_related("person"))
    need = next((one for one in needs if one.pk == need_id), None)
    if need is None:
        raise CertificationError(_("That line is not in this plan."))
    need.chosen_id, need.is_fixed = need.worked_out_id, False
    _refuse_impossible(needs, class_plan_facts.from_json(plan.rests_on, needs))
    _save_moves(plan, [need])


def _save_moves(plan: ClassPlan, needs: Sequence[PlannedNeed]) -> None:
    PlannedNeed.objects.bulk_update(needs, ["chosen", "is_fixed"], batch_size=200)
    plan.version += 1
    plan.save(update_fields=["version"])


def _lock(plan: ClassPlan, version: int, actor: User) -> ClassPlan:
    """The plan as it is, held until the transaction ends; refused where the page is out of date."""
    plan = ClassPlan.objects.select_for_update(of=("self",), no_key=True).get(pk=plan.pk)
    access.refuse_sites(actor, list(plan.sites.all()))
    if plan.sent_at is not None:
        raise ChangedMeanwhile(_("This plan was carried out already. Begin a new one."))
    if not plan.is_open:
        raise CertificationError(_("This plan is not worked out yet."))
    if plan.version != version:
        raise ChangedMeanwhile(
            _("Somebody moved names since this page was shown. Look at the plan as it is now.")
        )
    return plan


def _refuse_impossible(needs: Iterable[PlannedNeed], facts: ClassPlanFacts) -> None:
    by_pk = facts.by_pk
    people: dict[int, set[int]] = defaultdict(set)
    names: dict[int, str] = {}
    for need in needs:
        names[need.person_id] = need.person.full_name
        if need.chosen_id is not None:
            people[need.chosen_id].add(need.person_id)
    days: Counter[tuple[int, date]] = Counter()
    for pk, going in people.items():
        planned = by_pk[pk]
        if len(going) > planned.places:
            raise CertificationError(
                ngettext(
                    "%(number)s has %(n)d place free. Move somebody out of it first.",
                    "%(number)s has %(n)d places free. Move somebody out of it first.",
                    planned.places,
                )
                % {"number": planned.number, "n": planned.places}
            )
        days.update((person, day) for person in going for day in planned.days)
    twice = next((person for (person, _day), classes in days.items() if classes > 1), None)
    if twice is not None:
        raise CertificationError(
            _("%(name)s would be in two classes on one day. Choose one of them.")
            % {"name": names[twice]}
        )
    _refuse_clash(people, facts)


def _refuse_clash(used: Collection[int], facts: ClassPlanFacts) -> None:
    """Refuse classes of which two would need one room or one instructor on one day."""
    possible, limits = class_plan_facts.possible_classes(facts), class_plan_facts.limits_in(facts)
    if (clash := clash_among(possible, used, limits)) is not None:
        raise CertificationError(_clash_in_words(clash, facts))


def _clash_in_words(clash: Clash, facts: ClassPlanFacts) -> str:
    classes: dict[Any, PlannedClass] = {one.pk: one for one in facts.every_class}
    words = {"number": classes[clash.key].number, "day": format_day(clash.day)}
    if clash.other is not None:
        other = classes[clash.other]
        words["other"] = other.number
        if other.is_held:
            return (
                _(
                    "The room of %(number)s is taken on %(day)s: %(other)s is held there, with "
                    "people in it. Give one of them another room, or move people to another class."
                )
                % words
            )
        return (
            _(
                "%(number)s and %(other)s would be held in one room on %(day)s. Move people to one "
                "of them alone."
            )
            % words
        )
    return (
        _(
            "Nobody is left to teach %(number)s from %(day)s: its instructors have another class "
            "on one of its days. Move people to one of them alone."
        )
        % words
    )


# Carried out


@dataclass(frozen=True)
class Sent:
    """What came of carrying out a plan, in people."""

    enrolled: int
    left: int


@transaction.atomic
def carry_out(*, plan: ClassPlan, version: int, actor: User, at: datetime) -> Sent:
    """Enrol everybody whom the plan places, and invite them; whoever no longer fits is left.

    Everything is read anew under the locks, so that each line says what became of it. The
    enrolments and letters are those of `training.services.courses.enrol_people`.

    Raises
    ------
    ChangedMeanwhile
        If the page shows an earlier version, or somebody carried the plan out first.
    CertificationError
        If a room or an instructor that a class needs was taken by another meanwhile.
    """
    # People come first in the order of locks, then the plan, then classes by their keys, and their
    # rooms, which whoever plans another class there holds.
    lock_people(set(plan.needs.filter(chosen__isnull=False).values_list("person", flat=True)))
    plan = _lock(plan, version, actor)
    sites = list(plan.sites.all())
    needs = list(
        plan.needs.filter(chosen__isnull=False)
        .select_related("person__site")
        .order_by("ends_on", "pk")
    )
    keys = {one.chosen_id for one in needs if one.chosen_id is not None}
    sessions = {pk: lock_session(ClassSession(pk=pk)) for pk in sorted(keys)}
    lock_rooms({one.held_in_id for one in sessions.values() if one.held_in_id is not None})
    facts = class_plan_facts.read_facts(
        sites=sites, first_day=plan.first_day, through=plan.through, travel=plan.travel, now=at
    )
    before = class_plan_facts.from_json(plan.rests_on, ()).by_pk
    check = _Check(facts, before, {site.pk for site in sites})
    going: dict[int, list[Person]] = defaultdict(list)
    for need in needs:
        need.outcome = check.outcome_of(need)
        people = going[_class_of(need)]
        if need.outcome == Outcome.ENROLLED and need.person not in people:
            people.append(need.person)
    _refuse_clash([pk for pk, people in going.items() if people], facts)
    for pk in sorted(going):
        if going[pk]:
            enrol_people(session=sessions[pk], people=going[pk], actor=actor, at=at, overlaps=())
    PlannedNeed.objects.bulk_update(needs, ["outcome"], batch_size=200)
    plan.sent_at, plan.sent_by = at, actor
    plan.save(update_fields=["sent_at", "sent_by"])
    done = {Outcome.ENROLLED, Outcome.WAS_ENROLLED}
    sent = Sent(
        enrolled=sum(len(people) for people in going.values()),
        left=len({need.person_id for need in needs if need.outcome not in done}),
    )
    trail.record(
        actor=actor,
        act="class plan carried out",
        about=plan,
        payload={"enrolled": sent.enrolled, "left": sent.left},
        at=at,
    )
    return sent


def _class_of(need: PlannedNeed) -> int:
    """Where a line goes; it is asked of those alone that go somewhere."""
    assert need.chosen_id is not None  # noqa: S101
    return need.chosen_id


class _Check:
    """Whether each line still fits, one after another: what one takes the next has not."""

    def __init__(
        self, facts: ClassPlanFacts, before: Mapping[int, PlannedClass], sites: Collection[int]
    ) -> None:
        self.facts, self.before, self.sites = facts, before, sites
        self.classes = facts.by_pk
        self.rights = {
            (right.person, code): right for right in facts.rights for code in right.scopes
        }
        self.placed = {
            (person, code): session for person, session, codes in facts.placed for code in codes
        }
        self.taken: dict[int, set[int]] = defaultdict(set)
        self.days: dict[int, set[date]] = defaultdict(set)
        self.away = Counter(facts.away_already)

    def outcome_of(self, need: PlannedNeed) -> PlannedNeed.Outcome:
        session_id, person_id = _class_of(need), need.person_id
        if Enrolment.objects.filter(session=session_id, person=person_id).exists():
            return Outcome.WAS_ENROLLED
        if person_id in self.taken[session_id]:
            return Outcome.ENROLLED  # For another line of theirs.
        if need.person.site_id not in self.sites:
            return Outcome.ELSEWHERE
        if refusal := self._of_the_right(need):
            return refusal
        if person_id in self.facts.lacking.get(session_id, ()):
            return Outcome.COURSE_FIRST
        planned = self.classes.get(session_id)
        if planned is None or planned.days != self.before[session_id].days:
            return Outcome.CLASS_CHANGED
        if refusal := self._of_the_class(need, planned):
            return refusal
        self.taken[session_id].add(person_id)
        self.days[person_id].update(planned.days)
        if (lead := self.facts.leads.get(person_id)) is not None:
            self.away.update((lead, day) for day in planned.days)
        return Outcome.ENROLLED

    def _of_the_right(self, need: PlannedNeed) -> PlannedNeed.Outcome | None:
        pairs = [(need.person_id, code) for code in need.scope_codes]
        ends = [self.rights[pair].ends_on for pair in pairs if pair in self.rights]
        if need.ends_on in ends:
            return None
        if any(pair in self.placed for pair in pairs):
            return Outcome.IN_OTHER
        left_on = need.person.left_on
        if left_on is not None and left_on < self.before[_class_of(need)].days[0]:
            return Outcome.LEFT
        return Outcome.RIGHT_CHANGED

    def _of_the_class(self, need: PlannedNeed, planned: PlannedClass) -> PlannedNeed.Outcome | None:
        person_id = need.person_id
        why = self.facts.why_away(person_id, planned.days)
        if why is not None:
            return {
                Away.AWAY: Outcome.AWAY,
                Away.IN_CLASS: Outcome.SAME_DAYS,
                Away.NOT_AT_WORK: Outcome.LEFT,
            }[why]
        if not self.days[person_id].isdisjoint(planned.days):
            return Outcome.SAME_DAYS
        if not planned.instructors:
            return Outcome.NO_INSTRUCTOR
        lead = self.facts.leads.get(person_id)
        if lead is not None and any(
            self.away[lead, day] >= self.facts.limits[lead] for day in planned.days
        ):
            return Outcome.LEAD_LIMIT
        if len(self.taken[planned.pk]) >= planned.places:
            return Outcome.FULL
        return None
