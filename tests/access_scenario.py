"""Two sites with somebody in every role, and one of everything that is somebody's."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from io import BytesIO
from typing import Any
from zoneinfo import ZoneInfo

from django.core.files.base import ContentFile
from django.db import transaction
from django.test import Client
from django.utils import timezone

from assessments.models import Criterion, CriterionDrawing, Grading, MeasurementStudy
from assessments.services import measurement_studies, measuring, papers, photos
from audit.models import WorkLogCheck
from audit.presenters.pack_contents import PackContents
from audit.queries.list_bringers import bringer_for
from audit.queries.list_plan import make_plan
from audit.services import evidence_packs, people_lists, work_log_checks
from certification.domain.class_plan import Why
from certification.models import (
    CertificateDocument,
    CertificateEvent,
    ClassPlan,
    Credential,
    Operation,
    Proposal,
    Scope,
)
from certification.queries import class_plan_facts
from certification.services import signing_keys
from certification.services.public_codes import code_of
from config import middleware
from interfaces.models import ApiToken, WebHook, WebHookDelivery
from operations.services import mail_trials
from people.models import Person, Site, SiteMembership, Stamp, User
from people.services import tablets
from records.services import trail
from records.services.documents import Document
from reminders.models import Message
from reminders.services import calendars
from tests.assessments import pictures, written
from tests.factories import (
    NOW,
    PASSWORD,
    make_board,
    make_certificate,
    make_criteria_set,
    make_differing_board,
    make_exercise,
    make_kiosk,
    make_person,
    make_photo,
    make_photo_setup,
    make_revision,
    make_scope,
    make_session,
    make_site,
    make_user,
)
from training.domain.tool_fitness import Reading
from training.models import (
    Absence,
    Calibration,
    Course,
    CourseRevision,
    JointType,
    PracticeRecord,
    Room,
    Tool,
    VisionTest,
    WaitingPlace,
)
from training.services import tools

READERS = (
    "anonymous",
    "owner",
    "other",
    "lead",
    "other_lead",
    "instructor",
    "instructor_there",
    "quality",
    "quality_there",
    "administrator",
    "administrator_there",
    "own_instructor",
    "own_quality",
    "staff",
    "kiosk",
)
"""Everybody asks about the things of ``owner``, an operator at the first site.

``lead`` is the line lead of the owner and ``other_lead`` leads others there; ``..._there``
are at the second site. ``own_instructor`` and ``own_quality``, at the first site, ask about
things of their own. ``staff`` may open the administrator's pages of Django and has no role.
``kiosk`` is a machine at the first site, and ``a_kiosk`` among the things another.
"""


@dataclass
class Scenario:
    users: dict[str, User]
    things: dict[str, dict[str, object]]
    clients: dict[str, Client]
    refusals: dict[tuple[str, ...], Any] = field(default_factory=dict)
    """Answers already given, by reader, method, address and what was sent."""
    client: Client = field(default_factory=Client)
    """Asks for one reader after the other, so that the middleware is put together once."""
    as_built: str = ""
    """The savepoint of a test, to which it goes back after a question that wrote."""

    def things_for(self, reader: str) -> dict[str, object]:
        """What a reader asks about."""
        return self.things[reader if reader in self.things else "owner"]


def build() -> Scenario:
    here = make_site()
    there = make_site("Aldergate", "AL", time_zone="Europe/London")

    def user(*roles: str, site: Site = here, **fields: Any) -> User:
        return make_user(*roles, site=site, password=PASSWORD, **fields)

    users = {
        "owner": user(),
        "other": user(),
        "lead": user("line_lead"),
        "other_lead": user("line_lead"),
        "instructor": user("instructor"),
        "instructor_there": user("instructor", site=there),
        "quality": user("quality"),
        "quality_there": user("quality", site=there),
        "administrator": user("administrator"),
        "administrator_there": user("administrator", site=there),
        "own_instructor": user("instructor"),
        "own_quality": user("quality"),
        "staff": user(site=there, is_staff=True, is_superuser=True),
        "kiosk": make_kiosk(here, password=PASSWORD),
    }
    for led, lead in (("owner", "lead"), ("other", "other_lead")):
        Person.objects.filter(user=users[led]).update(line_lead=users[lead].person)
    common = _common(users["instructor"])
    common["work_log_check"] = _checked_log(users["quality"])
    common["evidence_pack"] = _finished_pack(users["quality"])
    common |= _lists_of(users["administrator"])
    things = {
        name: common | _things_of(users[name], common, users["instructor"])
        for name in ("owner", "own_instructor", "own_quality")
    }
    clients = {"anonymous": Client()}
    for name, signed_in in users.items():
        clients[name] = Client()
        clients[name].force_login(signed_in)
        # They have been here within this minute, so no answer that is put back writes it anew.
        session = clients[name].session
        session[middleware.LAST_SEEN] = middleware.this_minute()
        session.save()
    return Scenario(users, things, clients)


def _common(instructor: User) -> dict[str, object]:
    """What belongs to a site or to everybody."""
    site = Site.objects.get(people__user=instructor)
    draft = make_criteria_set(published=False)
    scope = make_scope()
    return {
        "exercise": make_exercise(),
        "drafted_exercise": make_exercise(published=False).code,
        "drafted_course": CourseRevision.objects.create(
            course=Course.objects.create(code="CUPS", title="Cups"), revision=1
        ).course.code,
        "published": make_criteria_set(),
        "graders": (make_user("instructor", site=site), make_user("instructor", site=site)),
        "draft": draft,
        "criterion": Criterion.objects.filter(criteria_set=draft).first(),
        "drawing": CriterionDrawing.objects.create(
            sha256="0" * 64, kind="image/svg+xml", title="A wrap", data=b"<svg/>"
        ).sha256,
        "joint_type": JointType.TURRET.value,
        "site": site,
        "room": Room.objects.create(site=site, name="Bench room 7", benches=6),
        "photo_setup": make_photo_setup(site),
        "study": _study(site, instructor),
        **_written_tests(site),
        "course": CourseRevision.objects.create(
            course=Course.objects.create(code="SOLDER", title="Hand soldering"),
            revision=1,
            published_at=NOW,
        ).course,
        "scope": scope,
        "published_scheme": make_revision(scope),
        "draft_scheme": make_revision(scope, published=False),
        "operation": Operation.objects.create(code="0110-20", scope=scope).pk,
        "a_kiosk": make_kiosk(site),
        "a_tablet": tablets.declare_tablet(site=site, name="Bench", actor=instructor, at=NOW)[0],
        "api_token": ApiToken.objects.create(site=site, name="Terminals of line 3", token_hash="0"),
    }


def _study(site: Site, grader: User) -> MeasurementStudy:
    """An open measurement study in which one person was asked to mark."""
    board = make_board(make_person(site))
    return measurement_studies.make_study(
        site=site,
        title="Fill",
        quantity="fill",
        photos=[make_photo(board, joint) for joint in board.joints.all()],
        graders=[grader],
        repeats=2,
        actor=grader,
        at=NOW,
    )


def _written_tests(site: Site) -> dict[str, object]:
    """A test in use and a draft, each with a photograph, and a test that papers are out of."""
    board = make_board(make_person(site))
    photo = photos.add_photo(
        board=board,
        file=BytesIO(pictures.jpeg(90, 60)),
        name="Q.jpg",
        actor=make_user("instructor", site=site),
        at=NOW,
    )
    shows = {
        "kind": "place",
        "photo_id": photo.pk,
        "picture_says": "A turret",
        "key": {"right": ["C4"]},
    }
    written_test = written.make_test(shows)
    return {
        "written_test": written_test.pk,
        "written_draft": written.make_test(shows, published=False).pk,
        "question": "Q01",
        "paper_test": written.make_test(shows),
        "picture_order": 1,
    }


def _checked_log(quality: User) -> WorkLogCheck:
    """A check that found what there is nobody for, and a row that it could not judge."""
    scope = make_scope().code
    check = work_log_checks.request_check(
        actor=quality,
        file=BytesIO(
            f"employee_number,scope,worked_on\n99999,{scope},2026-01-02\nx,x,x\n".encode()
        ),
        name="travellers.csv",
        at=NOW,
        zone=ZoneInfo("UTC"),
    )
    work_log_checks.run_check(check_id=check.pk, clock=lambda: NOW)
    return WorkLogCheck.objects.get(pk=check.pk)


def _finished_pack(quality: User) -> str:
    """A pack that answers for one day, and is ready to be taken."""
    pack = evidence_packs.request_pack(
        actor=quality,
        site=quality.person.site,
        first_day=date(2020, 1, 1),
        last_day=date(2020, 1, 1),
        at=NOW,
    )
    evidence_packs.build_pack(pack_id=pack.pk, clock=lambda: NOW, contents_of=PackContents)
    return pack.number


def _class_plan(person: Person, scope: Scope, instructor: User) -> ClassPlan:
    """A plan that is worked out and places somebody in no class, since there is none."""
    today = person.site.today()
    plan = ClassPlan.objects.create(
        first_day=today,
        through=today + timedelta(days=90),
        made_by=instructor,
        rests_on=class_plan_facts.as_json(class_plan_facts.ClassPlanFacts((), ())),
        figures=[[80, 80], [0, 0], [0, 0]],
        finished_at=NOW,
    )
    plan.sites.add(person.site)
    plan.needs.create(
        person=person,
        scope_codes=[scope.code],
        ends_on=today + timedelta(days=10),
        window_days=0,
        why=Why.NO_CLASS,
    )
    return plan


def _lists_of(administrator: User) -> dict[str, object]:
    """A list with a question and a row that is wrong, and one that was taken in a moment ago."""
    at, bringer = timezone.now(), bringer_for(administrator)
    kept = {
        name: people_lists.keep_list(
            name=name, content=text.encode(), bringer=bringer, by=administrator, at=at
        )
        for name, text in {
            "newcomers.csv": "Number;Name;Start date;Team lead\n"
            "88001;Byrne, Ada;3/4/2026;\n88002;Bo Lind;3.4.26;\n",
            "taken.csv": "Number;Name\n88003;Cy Moor\n",
        }.items()
    }
    taken = kept["taken.csv"]
    people_lists.take_in(
        people_list=taken,
        bringer=bringer,
        shown=make_plan(taken, bringer, at).digest(),
        sign_ins=True,
        at=at,
    )
    return {"people_list": kept["newcomers.csv"], "taken_list": taken}


def _calibrated_tool(person: Person, instructor: User) -> tuple[Tool, Calibration]:
    """A tool that somebody's board is made with, found out of its limits since."""
    tool = Tool.objects.create(code=f"T-{person.pk}", kind="iron", site=person.site)
    calibration = tools.record_calibration(
        tool=tool,
        calibrated_on=person.site.today(),
        valid_through=person.site.today(),
        passed_as_found=False,
        passed=True,
        readings=[Reading("tip at 315 °C", "°C", None, Decimal(320), Decimal(331), Decimal(316))],
        document=Document("K-1.pdf", b"%PDF-1.7\n%%EOF\n"),
        actor=instructor,
        at=timezone.now(),
    )
    return tool, calibration


def _things_of(user: User, common: dict, instructor: User) -> dict[str, object]:
    """One of everything of somebody's."""
    person = Person.objects.get(user=user)
    # Lists begin with the classes of today, and those with the boards of today.
    today = person.site.today()
    board = make_board(person, common["exercise"], handed_in_at=NOW, handed_out_on=today)
    tool, calibration = _calibrated_tool(person, instructor)
    board.tools.add(tool)
    graders = common["graders"]
    scope = make_scope()
    document = CertificateDocument.objects.create(
        file=ContentFile(b"%PDF-1.7 paper", "paper.pdf"),
        original_name="paper.pdf",
        media_type="application/pdf",
        size_bytes=14,
        sha256="0" * 64,
    )
    certificate = make_certificate(person, scope, document=document)
    session = make_session(
        person.site,
        people=(person,),
        instructor=instructor,
        starts_on=today,
        ends_on=today,
        open_to="site",
    )
    hook = WebHook.objects.create(
        site=person.site,
        name=f"Plant of {person.full_name}",
        address="https://plant.example.org/",
        events=["ended"],
        made_by=instructor,
    )
    photo = photos.add_photo(
        board=board, file=BytesIO(pictures.jpeg()), name="E01.jpg", actor=user, at=NOW
    )
    paper = written.hand_out(common["paper_test"], person, instructor)
    papers.start_paper(paper=paper, actor=user, at=timezone.now())
    Credential.objects.create(
        certificate=certificate,
        key=signing_keys.current_key(at=NOW),
        name=person.full_name,
        good_through=certificate.valid_through,
        status_list=1,
        status_index=certificate.pk,
    )
    return {
        "paper": paper.number,
        "public_code": code_of(certificate),
        "status_list": 1,
        "person": person,
        "person_pk": person.pk,
        "tool": tool,
        "calibration": calibration.pk,
        "scope_pk": scope.pk,
        "board": board,
        "joint": board.joints.first(),
        "differing_board": make_differing_board(person, *graders),
        "photo": photo,
        "measurement": measuring.keep_measurement(
            photo=photo,
            quantity="scale",
            marks={"ends": [[5, 5], [25, 5]]},
            options=measuring.options_for(
                joint=None, criterion=None, size=measuring.KnownSize(0.8, 0.01)
            ),
            mark_uncertainty_px=1.0,
            actor=instructor,
            at=NOW,
        ),
        "grading": Grading.objects.create(
            board=board, grader=instructor, criteria_set=common["published"]
        ),
        "certificate": certificate,
        "event": CertificateEvent.objects.create(
            event_id=f"E-{certificate.number}",
            certificate=certificate,
            kind="suspended",
            effective_on=NOW.date(),
        ),
        "message": Message.objects.create(
            message_id=f"<{person.pk}@example.org>",
            site=person.site,
            person=person,
            recipient=f"{person.pk}@example.org",
            day=NOW.date(),
            subject=f"What ends for {person.full_name}",
            raw=b"Subject: What ends\r\n\r\nText",
            due_at=NOW,
        ),
        "proposal": Proposal.objects.create(
            person=person,
            scope=common["scope"],
            scheme_revision=make_revision(common["scope"]),
            signature=trail.sign(
                actor=instructor, meaning="proposed", about=person, content={}, at=NOW
            ),
        ),
        "hook": hook,
        "delivery": WebHookDelivery.objects.create(
            hook=hook,
            event_key="ended:1",
            event="ended",
            person=person,
            delivery_id=f"{person.pk:032x}",
            body=b"{}",
            due_at=NOW,
            accepted_at=NOW,
        ),
        "mail_trial": mail_trials.token_of(
            mail_trials.ask_for_trial(recipient="ada@skarnfell.example", actor=user, at=NOW)
        ),
        "calendar": calendars.make_address(person=person, in_full=True, actor=user, at=NOW),
        "session": session,
        "day_of_class": today.isoformat(),
        "enrolment": session.enrolments.get(),
        "waiting": WaitingPlace.objects.create(session=session, person=make_person(), rank=1),
        "vision_test": VisionTest.objects.create(
            test_id=f"V-{person.pk}", person=person, tested_on=NOW.date(), passed=True
        ),
        "practice": PracticeRecord.objects.create(
            person=person, scope_code=scope.code, performed_on=NOW.date()
        ),
        "absence": Absence.objects.create(
            person=person, from_day=today, through_day=today, entered_by=instructor
        ),
        "class_plan": _class_plan(person, scope, instructor),
        "move": SiteMembership.objects.create(person=person, site=person.site, from_day=NOW.date()),
        "stamp": Stamp.objects.create(mark=f"K{person.pk}", person=person, issued_on=NOW.date()),
    }


@contextmanager
def put_back() -> Iterator[None]:
    """Undo whatever is written inside."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)
