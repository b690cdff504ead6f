"""The plant that the load test asks about: filled once, and a morning of it for each run.

    python -m benchmarks.load.data fill --people 10000 --judgements 1000000 --photos 2000
    python -m benchmarks.load.data morning --folder DIR --instructors 30 ...

Both write into the database and the folder of the settings in force. What is filled is history:
the register (`benchmarks.registers`), boards judged and signed, their photographs. The trail has
an entry for each signature; of imported facts it has none, and no page of the morning reads them.
A morning adds what hangs on the day: classes with boards handed out, and a session for everybody
who is signed in.
"""

import argparse
import hashlib
import io
import json
import os
import time
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta
from itertools import count, islice
from pathlib import Path
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "benchmarks.load.settings")
django.setup()

from django.conf import settings  # noqa: E402
from django.contrib.auth.hashers import make_password  # noqa: E402
from django.core.files.base import ContentFile  # noqa: E402
from django.core.files.storage import default_storage  # noqa: E402
from django.db import connection, transaction  # noqa: E402
from django.test import Client  # noqa: E402
from PIL import Image  # noqa: E402

from assessments.models import (  # noqa: E402
    Board,
    Criterion,
    Grading,
    Joint,
    Judgement,
    Photo,
    Rendition,
    StageSigning,
)
from assessments.queries import board_results, written_down  # noqa: E402
from benchmarks import registers  # noqa: E402
from certification.models import Scope  # noqa: E402
from people.models import Installation, Person, Role, Site, SiteRole, User  # noqa: E402
from records.domain.canonical import canonical_text, sha256_of_text  # noqa: E402
from records.models import Proof, Signature, append_only  # noqa: E402
from records.queries.trail_acts import SIGNED, signature_payload  # noqa: E402
from records.services import trail  # noqa: E402
from tests import factories  # noqa: E402
from training.models import Exercise, JointType  # noqa: E402

JOINTS = 20
CRITERIA_A_JOINT = 3
A_BOARD = JOINTS * CRITERIA_A_JOINT + 1  # judgements, with one of the board as a whole
REJECTED_OF = 40
CERTIFICATES_EACH, PRACTICE_EACH = 3, 12
GRADERS = 40
BATCH = 2_000
HISTORY_DAYS = 900
PASSWORD = "of a plant that nobody works at"  # noqa: S105 - of a database that is thrown away
CODE = "TURRET-20"
AWAKE = 0  # The hour of the sweep, so that one is due whatever the time is.
KINDS = ("checks", "cards", "registers", "instructors")
PHONE = (4032, 3024)  # pixels of a photograph as phones take them
PHOTO_SIDES = ((2048, 1536), (800, 600), (160, 120))


def fill(people: int, judgements: int, photos: int) -> None:
    """Fill an empty, prepared database; say how long each part took."""
    begun = time.monotonic()

    def told(what: str) -> None:
        print(f"  {what}: {time.monotonic() - begun:.0f} s", flush=True)

    registers.build(connection.settings_dict["NAME"], people, CERTIFICATES_EACH, PRACTICE_EACH)
    Installation.objects.create(organisation="Castelmar")
    Site.objects.update(send_hour=AWAKE)
    told(f"{people:,} people with what the register says of them")
    exercise = factories.make_exercise((JointType.TURRET,) * JOINTS, code=CODE)
    criteria_set = factories.make_criteria_set()
    graders = _graders()
    staff = [user.person_id for user in graders if user.person_id]
    with append_only.lifted(connection):
        _boards(exercise, graders, staff, -(-judgements // A_BOARD))
        _gradings(graders, criteria_set)
    _look_over()  # Before it is read again: what a new table holds is not known to the planner.
    told(f"{Judgement.objects.count():,} judgements on {Board.objects.count():,} boards")
    _sign_all()
    told(f"{StageSigning.objects.count():,} signatures")
    _photos(photos)
    told(f"{photos:,} photographs")
    _look_over()
    told("looked over by the database")


def _look_over() -> None:
    """What the database does by itself after a while."""
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")


def _batched(things: Iterable[Any], size: int) -> Iterator[list[Any]]:
    remaining = iter(things)
    while batch := list(islice(remaining, size)):
        yield batch


def _graders() -> list[User]:
    """Instructors at the site where most people are, one password for all."""
    password = make_password(PASSWORD)
    site = Site.objects.get(prefix="CA")
    people = Person.objects.filter(site=site, user__isnull=True).order_by("-pk")[:GRADERS]
    users = User.objects.bulk_create(
        User(employee_number=person.employee_number, person=person, password=password)
        for person in people
    )
    SiteRole.objects.bulk_create(
        SiteRole(user=user, site=site, role=Role.INSTRUCTOR) for user in users
    )
    return users


def _boards(exercise: Exercise, graders: list[User], staff: list[int], boards: int) -> None:
    makers = list(Person.objects.exclude(pk__in=staff).order_by("pk").select_related("site"))
    today = registers.TODAY
    for numbers in _batched(range(boards), BATCH):
        Board.objects.bulk_create(
            Board(
                number=f"{(maker := makers[number % len(makers)]).site.prefix}-B-{number:07d}",
                person=maker,
                exercise=exercise,
                site=maker.site,
                purpose=Board.Purpose.PRACTICE,
                handed_out_on=(day := today - timedelta(days=3 + number % HISTORY_DAYS)),
                handed_in_at=registers._at(day),
                recorded_at=registers._at(day),
                made_by=graders[number % len(graders)],
            )
            for number in numbers
        )
    with connection.cursor() as cursor:
        cursor.execute(
            f"INSERT INTO {Joint._meta.db_table} (board_id, position_id, make, recorded_at) "  # noqa: S608
            "SELECT b.id, p.id, 1, b.recorded_at FROM assessments_board b "
            "JOIN training_position p ON p.exercise_id = b.exercise_id"
        )


def _gradings(graders: list[User], criteria_set: Any) -> None:
    """A reading of every board, and a judgement of every place: a few are rejected as minor."""
    for boards in _batched(Board.objects.order_by("pk").iterator(BATCH), BATCH):
        Grading.objects.bulk_create(
            Grading(
                board=board,
                grader=graders[board.pk % len(graders)],
                criteria_set=criteria_set,
                recorded_at=board.recorded_at,
            )
            for board in boards
        )
    columns = (
        "grading_id, joint_id, criterion_id, stage, outcome, how, repeats, by_eye_because, "
        "note, with_the_rest, judged_at"
    )
    rest = "'at_board', '{}'::jsonb, '', '', FALSE, g.recorded_at + INTERVAL '5 minutes'"
    with connection.cursor() as cursor:
        cursor.execute(
            f"INSERT INTO {Judgement._meta.db_table} ({columns}) "  # noqa: S608 - names of ours
            "SELECT g.id, j.id, c.id, c.stage, CASE WHEN c.severity = 'minor' AND j.id %% %s = 0 "
            f"THEN 'reject' ELSE 'accept' END, {rest} FROM assessments_grading g "
            "JOIN assessments_joint j ON j.board_id = g.board_id "
            "JOIN assessments_criterion c ON c.criteria_set_id = g.criteria_set_id "
            "AND c.\"of\" = 'joint' "
            f"UNION ALL SELECT g.id, NULL, c.id, c.stage, 'accept', {rest} "
            "FROM assessments_grading g JOIN assessments_criterion c "
            "ON c.criteria_set_id = g.criteria_set_id AND c.\"of\" = 'board'",
            [REJECTED_OF],
        )
        minor = Criterion.objects.get(criteria_set=criteria_set, severity="minor", of="joint")
        cursor.execute(
            "INSERT INTO assessments_boardoutcome (board_id, complete, passed, score, "
            "joints_judged, joints_rejected, critical_rejections, reasons, decided_at) "
            "SELECT b.id, TRUE, TRUE, 100 - %s * count(j.id) FILTER (WHERE j.id %% %s = 0) "
            "/ %s::numeric, %s, 0, 0, '[]'::jsonb, b.recorded_at + INTERVAL '10 minutes' "
            "FROM assessments_board b JOIN assessments_joint j ON j.board_id = b.id GROUP BY b.id",
            [minor.demerits, REJECTED_OF, JOINTS, JOINTS],
        )


def _sign_all() -> None:
    """A signature under every reading, over what it covers in full."""
    gradings = Grading.objects.select_related(
        "board__exercise", "board__person", "board__site", "grader__person", "criteria_set"
    ).order_by("pk")
    for some in _batched(gradings.iterator(BATCH), 500):
        signings = [
            StageSigning(
                grading=grading,
                stage="soldered",
                signed_at=grading.recorded_at + timedelta(minutes=10),
                result={},
            )
            for grading in some
        ]
        with transaction.atomic():
            signatures = []
            for signing in signings:
                text = canonical_text(board_results.signed_content(signing))
                signatures.append(
                    Signature(
                        signer=signing.grading.grader,
                        printed_name=signing.grading.grader.get_full_name(),
                        signed_at=signing.signed_at,
                        zone=signing.grading.board.site.time_zone,
                        meaning=written_down.JUDGED,
                        about_type="grading",
                        about_id=str(signing.grading.pk),
                        content=text,
                        content_sha256=sha256_of_text(text),
                        proof=Proof.PASSWORD,
                    )
                )
            entries = trail.append_entries(
                actor=some[0].grader,
                act=SIGNED,
                items=[
                    ((one.about_type, one.about_id), signature_payload(one)) for one in signatures
                ],
                at=some[0].recorded_at,
            )
            for signature, entry in zip(signatures, entries, strict=True):
                signature.entry = entry
            Signature.objects.bulk_create(signatures)
            for signing, signature in zip(signings, signatures, strict=True):
                signing.signature = signature
            StageSigning.objects.bulk_create(signings)


def _photos(number: int) -> None:
    """A photograph on every so many boards, with its smaller sizes: files of a few kilobytes."""
    if not number:
        return
    sizes = [_jpeg(side, 40) for side in PHOTO_SIDES]
    boards = Board.objects.order_by("-pk")[:number]
    for some in _batched(boards.iterator(BATCH), BATCH):
        photos = []
        for board in some:
            content = sizes[0] + board.number.encode()
            photo = Photo(
                board=board,
                original_name=f"{board.number}.jpg",
                media_type="image/jpeg",
                size_bytes=len(content),
                sha256=hashlib.sha256(content).hexdigest(),
                upright_width=PHOTO_SIDES[0][0],
                upright_height=PHOTO_SIDES[0][1],
                recorded_at=board.recorded_at,
            )
            name = f"originals/{photo.key[:2]}/{photo.key}.bin"
            photo.original = default_storage.save(name, ContentFile(content))
            photos.append(photo)
        Photo.objects.bulk_create(photos)
        Rendition.objects.bulk_create(
            Rendition(
                photo=photo,
                size=side[0],
                file=default_storage.save(
                    f"renditions/{photo.key[:2]}/{photo.key}-{side[0]}.jpg", ContentFile(jpeg)
                ),
                width=side[0],
                height=side[1],
            )
            for photo in photos
            for side, jpeg in zip(PHOTO_SIDES, sizes, strict=True)
        )


def _jpeg(sides: tuple[int, int], noise: int) -> bytes:
    """A JPEG of grain over a slope, which compresses about as a photograph does."""
    slope = Image.linear_gradient("L").resize(sides)
    grain = Image.effect_noise(sides, noise)
    stream = io.BytesIO()
    Image.merge("RGB", (Image.blend(slope, grain, 0.3),) * 3).save(stream, "JPEG", quality=85)
    return stream.getvalue()


# A morning


def morning(folder: Path, boards_a_class: int, photos_a_board: int, **numbers: int) -> None:
    """Classes of today and everybody's sessions; written down as JSON for the clients.

    Parameters
    ----------
    numbers
        How many of each kind are at work: ``checks``, ``cards``, ``registers``, ``instructors``.
    """
    site = Site.objects.get(prefix="CA")
    exercise = Exercise.objects.get(code=CODE)
    now = datetime.now(UTC)
    today = site.today(now)
    owners = Person.objects.filter(site=site, user__isnull=True, left_on__isnull=True).order_by(
        "pk"
    )
    free = iter(owners)
    graders = list(
        User.objects.filter(roles__role=Role.INSTRUCTOR, roles__site=site).order_by("pk")[
            : numbers["instructors"]
        ]
    )
    if len(graders) < numbers["instructors"]:
        raise SystemExit(f"There are {GRADERS} instructors: ask for as many at most.")
    serial = count(1)
    instructors = []
    for grader in graders:
        trainees = [next(free) for _ in range(boards_a_class)]
        session = factories.make_session(
            site,
            people=tuple(trainees),
            instructor=grader,
            number=f"CA-K-{80000 + next(serial):05d}",
            starts_on=today,
            ends_on=today,
            weekdays=(today.isoweekday(),),
        )
        boards = [
            factories.make_board(
                person,
                exercise,
                number=f"CA-B-M{next(serial):06d}",
                session=session,
                handed_out_on=today,
                made_by=grader,
            )
            for person in trainees
        ]
        instructors.append(
            {
                "session": _session_of(grader),
                "class": session.number,
                "boards": [_board(board) for board in boards],
            }
        )
    kiosks = [factories.make_kiosk(site, f"kiosk-{n}") for n in range(numbers["checks"])]
    readers = [_sign_in(next(free), site) for _ in range(numbers["cards"])]
    quality = [_sign_in(next(free), site, Role.QUALITY) for _ in range(numbers["registers"] + 1)]
    criteria = list(
        Criterion.objects.filter(criteria_set__published_at__isnull=False)
        .order_by("order")
        .values_list("code", "of")
    )
    (folder / "photograph.jpg").write_bytes(_jpeg(PHONE, 25))
    (folder / "facts.json").write_text(
        json.dumps(
            {
                "photos_a_board": photos_a_board,
                "password": PASSWORD,
                "criteria": criteria,
                "numbers": list(
                    Person.objects.filter(site=site).values_list("employee_number", flat=True)
                ),
                "names": list(Person.objects.order_by("-pk").values_list("full_name", flat=True))[
                    :200
                ],
                "scopes": list(Scope.objects.values_list("code", flat=True)),
                "instructors": instructors,
                "checks": [_session_of(user) for user in kiosks],
                "cards": [_session_of(user) for user in readers],
                "registers": [_session_of(user) for user in quality[1:]],
                "work_log": _session_of(quality[0]),
            }
        )
    )
    _look_over()


def _sign_in(person: Person, site: Site, *roles: str) -> User:
    user = User.objects.create(employee_number=person.employee_number, person=person)
    for role in roles:
        SiteRole.objects.create(user=user, site=site, role=role)
    return user


def _session_of(user: User) -> str:
    client = Client()
    client.force_login(user)
    return client.cookies[settings.SESSION_COOKIE_NAME].value


def _board(board: Board) -> dict[str, Any]:
    return {
        "number": board.number,
        "joints": [[joint.pk, str(joint)] for joint in board.joints.select_related("position")],
    }


def write_work_log(file: Path, rows: int) -> None:
    """Rows of work by the site's people within its scopes, over the last two years."""
    people = list(Person.objects.order_by("pk").values_list("employee_number", flat=True))
    scopes = list(Scope.objects.values_list("code", flat=True))
    days = [str(registers.TODAY - timedelta(days=back)) for back in range(730)]

    def lines() -> Iterator[str]:
        yield "row,employee_number,scope,worked_on,work_order\n"
        for row in range(1, rows + 1):
            drawn = row * 2_654_435_761 % 2**32  # Spread evenly, and the same every time.
            person, scope = people[drawn % len(people)], scopes[drawn // 7 % len(scopes)]
            yield f"{row},{person},{scope},{days[drawn // 31 % len(days)]},W{drawn % 10**6:06d}\n"

    with file.open("w") as stream:
        stream.writelines(lines())


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    acts = parser.add_subparsers(dest="act", required=True)
    filling = acts.add_parser("fill")
    for name in ("people", "judgements", "photos"):
        filling.add_argument(f"--{name}", type=int, required=True)
    begin = acts.add_parser("morning")
    begin.add_argument("--folder", type=Path, required=True)
    for name in (*KINDS, "boards-a-class", "photos-a-board"):
        begin.add_argument(f"--{name}", type=int, required=True)
    log = acts.add_parser("work-log")
    log.add_argument("--file", type=Path, required=True)
    log.add_argument("--rows", type=int, required=True)
    arguments = vars(parser.parse_args())
    act = arguments.pop("act")
    if act == "fill":
        fill(**arguments)
    elif act == "morning":
        morning(**arguments)
    else:
        write_work_log(**arguments)


if __name__ == "__main__":
    main()
