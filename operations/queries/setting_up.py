"""What is true of a site that is being set up: one answer a step, read off the rows."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from django.db.models import Count, Q

from assessments.models import Board, CriteriaSet, Criterion
from assessments.queries.criteria_sets import two_confirm, unconfirmed
from certification.domain.answers import Standing
from certification.models import (
    Certificate,
    Proposal,
    SchemeRequirement,
    SchemeRevision,
    Scope,
    StandingSpan,
)
from certification.queries.graders import GRADER_LEVELS
from operations.domain.setting_up import DONE, Place, StepName, Truth, places
from people.models import Installation, Person, Role, Site, SiteRole, User
from people.models.people import at_work_on
from people.queries.site_days import Days, days_at
from training.models import ClassSession, CourseRevision, Exercise

from .back_ups import BackUpTruth, back_up_truth
from .mail_trials import MailTruth, mail_truth

READERS = (Role.ADMINISTRATOR, Role.QUALITY)
STAFF = (Role.ADMINISTRATOR, Role.INSTRUCTOR, Role.QUALITY, Role.LINE_LEAD)


class RoleGap(StrEnum):
    """Why nobody can be judged and certified at a site by the people who are there."""

    NOBODY = "nobody"
    NO_INSTRUCTOR = "no_instructor"
    NO_QUALITY = "no_quality"
    ONE_PERSON = "one_person"
    """One person alone is both, and whoever judged issues nothing."""


@dataclass(frozen=True)
class SiteTruth:
    """Who works at a site, and who can sign in there as what.

    Attributes
    ----------
    people : int
        At work today.
    holders : mapping of str to tuple of User
        Whose sign-in opens, by role and in the order of names.
    """

    site: Site
    people: int
    holders: Mapping[str, tuple[User, ...]]

    @property
    def gap(self) -> RoleGap | None:
        instructors, quality = self.holders[Role.INSTRUCTOR], self.holders[Role.QUALITY]
        if not instructors and not quality:
            return RoleGap.NOBODY
        if not instructors:
            return RoleGap.NO_INSTRUCTOR
        if not quality:
            return RoleGap.NO_QUALITY
        one = {user.pk for user in instructors} == {user.pk for user in quality}
        return RoleGap.ONE_PERSON if one and len(instructors) == 1 else None


@dataclass(frozen=True)
class SchemesTruth:
    """What certificates can be granted for.

    Attributes
    ----------
    scopes : tuple of Scope
        Not retired, operators' first.
    in_force, drafts : tuple of SchemeRevision
    uncovered : tuple of Scope
        For which no scheme in force grants anything.
    grades : frozenset of str
        Joint types that nobody judges without standing as inspector or instructor.
    ungradable : frozenset of str
        Those of them that no scope of that level covers in any scheme in force.
    """

    scopes: tuple[Scope, ...]
    in_force: tuple[SchemeRevision, ...]
    drafts: tuple[SchemeRevision, ...]
    uncovered: tuple[Scope, ...]
    grades: frozenset[str]
    ungradable: frozenset[str]

    @property
    def is_done(self) -> bool:
        covered = {scope.pk for scope in self.scopes} - {scope.pk for scope in self.uncovered}
        return any(
            scope.level == Scope.Level.OPERATOR and scope.pk in covered for scope in self.scopes
        )


@dataclass(frozen=True)
class CriteriaTruth:
    """What boards are judged by, and how far the draft is.

    ``left`` counts what is not confirmed of the draft, by what it is judged of.
    """

    current: CriteriaSet | None
    draft: CriteriaSet | None
    total: int = 0
    left: Mapping[str, int] | None = None

    @property
    def left_count(self) -> int:
        return sum((self.left or {}).values())


@dataclass(frozen=True)
class ExercisesTruth:
    """What is practised and taught; ``missing`` are codes that schemes in force ask boards of.

    A site needs one of each; what is drafted counts once quality has published it.
    """

    exercises: int
    courses: int
    exercise_drafts: int
    course_drafts: int
    missing: tuple[str, ...]

    @property
    def is_done(self) -> bool:
        return bool(self.exercises and self.courses)


@dataclass(frozen=True)
class InstructorTruth:
    """How an instructor stands as inspector or instructor: their spans of today, best first."""

    user: User
    spans: tuple[StandingSpan, ...]

    @property
    def is_certified(self) -> bool:
        return any(span.standing == Standing.CERTIFIED for span in self.spans)

    @property
    def judges(self) -> frozenset[str]:
        """The joint types for which they are certified."""
        return frozenset(
            joint_type
            for span in self.spans
            if span.standing == Standing.CERTIFIED
            for joint_type in span.scope.joint_types
        )


@dataclass(frozen=True)
class ClassesTruth:
    """Classes at the reader's sites, and the boards that came of them or otherwise.

    ``at_hand`` is a board that is not judged to the end yet, the oldest.
    """

    planned: int
    with_people: int
    boards: int
    handed_in: int
    judged: int
    at_hand: Board | None


@dataclass(frozen=True)
class CertificatesTruth:
    """What came of the boards: proposals that wait at these sites, and certificates issued here.

    ``first`` is the first that was issued on boards, and not entered from elsewhere.
    """

    proposed: int
    first: Certificate | None


@dataclass(frozen=True)
class SettingUp:
    """All that is true of the setting up of some sites, as their reader may know it."""

    organisation: Installation | None
    sites: tuple[SiteTruth, ...]
    mail: MailTruth
    schemes: SchemesTruth
    criteria: CriteriaTruth
    exercises: ExercisesTruth
    instructors: tuple[InstructorTruth, ...]
    classes: ClassesTruth
    certificates: CertificatesTruth
    people_signing_in: int
    certified_people: int
    back_ups: BackUpTruth
    places: Mapping[StepName, Place]

    @property
    def done(self) -> int:
        return sum(place.state in DONE for place in self.places.values())

    @property
    def is_complete(self) -> bool:
        return self.done == len(StepName)

    @property
    def can_judge(self) -> bool:
        """Whether a board made today could be judged by somebody of these sites."""
        done = {name for name, place in self.places.items() if place.state in DONE}
        needed = {StepName.CRITERIA, StepName.EXERCISES, StepName.INSTRUCTORS}
        return needed <= done

    @property
    def can_certify(self) -> bool:
        """Whether somebody could be certified once their boards have passed."""
        done = {name for name, place in self.places.items() if place.state in DONE}
        return self.can_judge and {StepName.SCHEMES, StepName.PEOPLE} <= done

    @property
    def unjudged(self) -> frozenset[str]:
        """Joint types that need standing and that no instructor of these sites may judge."""
        judged = frozenset().union(*(one.judges for one in self.instructors))
        return self.schemes.grades - judged


def setting_up(user: User, now: datetime) -> SettingUp:
    """Read what is true of the sites that somebody administers or audits.

    What belongs to the organisation as a whole (schemes, criteria, exercises, mail) is told
    whichever sites are the reader's. The same queries for one site as for ten.
    """
    sites = list(Site.objects.filter(pk__in=user.sites_as(*READERS)))
    site_ids = {site.pk for site in sites}
    today = sites[0].today(now) if sites else now.date()
    days = days_at(now, today, ((site.pk, site.time_zone) for site in sites))
    site_truths = _sites(sites, days, now)
    schemes = _schemes()
    criteria = _criteria()
    exercises = _exercises(schemes.in_force)
    teachers = [user for truth in site_truths for user in truth.holders[Role.INSTRUCTOR]]
    instructors = _instructors(teachers, days)
    classes, certificates = _classes(site_ids), _certificates(site_ids)
    back_ups = back_up_truth()
    mail, organisation = mail_truth(), Installation.objects.filter(pk=1).first()
    truths = {
        StepName.SITES: Truth(bool(sites), gaps=int(organisation is None)),
        StepName.MAIL: Truth(mail.arrived is not None, gaps=int(mail.fails_now)),
        StepName.PEOPLE: _people_truth(site_truths),
        StepName.SCHEMES: Truth(schemes.is_done, len(schemes.uncovered) + len(schemes.ungradable)),
        StepName.CRITERIA: Truth(criteria.current is not None),
        StepName.EXERCISES: Truth(exercises.is_done, len(exercises.missing)),
        StepName.INSTRUCTORS: _instructors_truth(schemes, instructors),
        StepName.CLASSES: Truth(bool(classes.with_people)),
        StepName.BOARDS: Truth(bool(classes.judged)),
        StepName.CERTIFICATES: Truth(certificates.first is not None),
        StepName.BACK_UP: Truth(back_ups.last is not None, gaps=int(back_ups.failed is not None)),
    }
    return SettingUp(
        organisation,
        site_truths,
        mail,
        schemes,
        criteria,
        exercises,
        instructors,
        classes,
        certificates,
        _signing_in(site_ids, days),
        _certified(site_ids, days),
        back_ups,
        places(truths),
    )


def _people_truth(sites: Iterable[SiteTruth]) -> Truth:
    gaps = [truth.gap for truth in sites]
    return Truth(None in gaps, sum(gap is not None for gap in gaps))


def _instructors_truth(schemes: SchemesTruth, instructors: Sequence[InstructorTruth]) -> Truth:
    """Done once somebody may judge, which no scheme may ask standing for."""
    judged = frozenset().union(*(one.judges for one in instructors))
    if schemes.is_done and not schemes.grades and instructors:
        return Truth(True)
    return Truth(bool(schemes.grades & judged), len(schemes.grades - judged))


def _sites(sites: Sequence[Site], days: Days, now: datetime) -> tuple[SiteTruth, ...]:
    counted = (
        Person.objects.filter(days.each(at_work_on, "site"), site__in=sites)
        .order_by()
        .values_list("site")
        .annotate(n=Count("pk"))
    )
    people = dict(counted)
    held: dict[tuple[int, str], list[User]] = defaultdict(list)
    roles = SiteRole.objects.filter(site__in=sites, role__in=STAFF, user__is_active=True)
    for row in roles.select_related("user__person__site").order_by("user__person__full_name"):
        if row.user.may_sign_in(now):
            held[row.site_id, row.role].append(row.user)
    return tuple(
        SiteTruth(
            site,
            people.get(site.pk, 0),
            {role: tuple(held[site.pk, role]) for role in STAFF},
        )
        for site in sites
    )


def _schemes() -> SchemesTruth:
    scopes = tuple(Scope.objects.filter(retired_at__isnull=True).order_by("-level", "title"))
    revisions = SchemeRevision.objects.filter(retired_at__isnull=True).prefetch_related("scopes")
    revisions = revisions.select_related("scheme").order_by("name")
    in_force = tuple(one for one in revisions if one.published_at is not None)
    covered: dict[int, Scope] = {}
    grades: set[str] = set()
    for revision in in_force:
        for scope in revision.scopes.all():
            covered[scope.pk] = scope
            if revision.grader_needs_standing and scope.level == Scope.Level.OPERATOR:
                grades.update(scope.joint_types)
    judging = {
        joint_type
        for scope in covered.values()
        if scope.level in GRADER_LEVELS
        for joint_type in scope.joint_types
    }
    return SchemesTruth(
        scopes,
        in_force,
        tuple(one for one in revisions if one.published_at is None),
        tuple(scope for scope in scopes if scope.pk not in covered),
        frozenset(grades),
        frozenset(grades - judging),
    )


def _criteria() -> CriteriaTruth:
    current = CriteriaSet.objects.current().filter(by_default=True).first()
    draft = CriteriaSet.objects.drafts().filter(by_default=True).order_by("-pk").first()
    if draft is None or current is not None:
        return CriteriaTruth(current, None)
    criteria = list(Criterion.objects.filter(criteria_set=draft))
    left: dict[str, int] = defaultdict(int)
    for criterion in unconfirmed(criteria, by_two=two_confirm()):
        left[criterion.of] += 1
    return CriteriaTruth(None, draft, len(criteria), dict(left))


def _exercises(in_force: Collection[SchemeRevision]) -> ExercisesTruth:
    codes = set(Exercise.objects.current().values_list("code", flat=True))
    asked = SchemeRequirement.objects.filter(revision__in=in_force)
    asked_codes = set(asked.values_list("exercise_code", flat=True))
    return ExercisesTruth(
        exercises=len(codes),
        courses=CourseRevision.objects.newest().count(),
        exercise_drafts=Exercise.objects.drafts().count(),
        course_drafts=CourseRevision.objects.drafts().count(),
        missing=tuple(sorted(asked_codes - codes)),
    )


def _instructors(teachers: Sequence[User], days: Days) -> tuple[InstructorTruth, ...]:
    """Each once, however many sites they teach at, those who are certified last."""
    spans: dict[int, list[StandingSpan]] = defaultdict(list)
    found = StandingSpan.objects.on_days(days).filter(
        person__in=[user.person_id for user in teachers], scope__level__in=GRADER_LEVELS
    )
    for span in found.select_related("scope", "person").order_by("scope__title"):
        spans[span.person_id].append(span)
    truths = [
        InstructorTruth(user, tuple(spans[user.person_id or 0]))
        for user in {user.pk: user for user in teachers}.values()
    ]
    return tuple(sorted(truths, key=lambda truth: truth.is_certified))


def _classes(site_ids: Collection[int]) -> ClassesTruth:
    classes = ClassSession.objects.filter(site__in=site_ids)
    counted = classes.aggregate(
        planned=Count("pk", distinct=True),
        with_people=Count("pk", distinct=True, filter=Q(enrolments__isnull=False)),
    )
    boards = Board.objects.filter(site__in=site_ids, cancelled_at__isnull=True)
    is_judged = Q(outcome__complete=True)
    counts = boards.aggregate(
        boards=Count("pk"),
        handed_in=Count("handed_in_at"),
        judged=Count("pk", filter=is_judged),
    )
    at_hand = None
    if counts["boards"] and not counts["judged"]:
        at_hand = boards.select_related("person").order_by("handed_out_on", "pk").first()
    return ClassesTruth(**counted, **counts, at_hand=at_hand)


def _certificates(site_ids: Collection[int]) -> CertificatesTruth:
    issued = Certificate.objects.not_withdrawn().filter(
        person__site__in=site_ids, origin=Certificate.Origin.OWN
    )
    return CertificatesTruth(
        Proposal.objects.open().filter(person__site__in=site_ids).count(),
        issued.select_related("person", "scope").order_by("recorded_at", "pk").first(),
    )


def _signing_in(site_ids: Collection[int], days: Days) -> int:
    """People whose sign-in opens, whatever they may do."""
    here = Person.objects.filter(days.each(at_work_on, "site"), site__in=site_ids)
    return here.filter(user__is_active=True).count()


def _certified(site_ids: Collection[int], days: Days) -> int:
    spans = StandingSpan.objects.on_days(days).filter(
        person__site__in=site_ids, standing=Standing.CERTIFIED
    )
    return spans.order_by().values("person").distinct().count()
