"""A site with something to pack: a person certified on a board that was judged and photographed."""

import hashlib
import zipfile
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from assessments.models import Board, Grading, Judgement, Photo, StageSigning
from assessments.services.board_outcome import refresh_outcome
from audit.models import EvidencePack
from audit.presenters.pack_contents import PackContents
from audit.services import evidence_packs as services
from certification.models import Certificate
from people.models import Person, User
from tests import factories
from tests.assessments import pictures
from tests.factories import NOW
from training.models import PracticeRecord, VisionTest

AT = NOW + timedelta(hours=1)
LATER = AT + timedelta(minutes=1)
"""When a worker comes to it."""


@dataclass
class Evidence:
    quality: User
    person: Person
    certificate: Certificate
    board: Board
    photos: list[Photo]


def add_photo(board: Board, number: int) -> Photo:
    content = pictures.jpeg(96 + number, 64)
    digest = hashlib.sha256(content).hexdigest()
    name = default_storage.save(f"originals/{digest[:8]}.bin", ContentFile(content))
    return factories.make_photo(
        board,
        board.joints.first(),
        original=name,
        sha256=digest,
        size_bytes=len(content),
        recorded_at=NOW,
    )


def judged_board(person: Person, photos: int = 2) -> tuple[Board, list[Photo]]:
    """A board whose one stage is signed, joint by joint, from its photographs."""
    board = factories.make_board(
        person, factories.make_exercise(), handed_in_at=NOW, recorded_at=NOW
    )
    made = [add_photo(board, number) for number in range(photos)]
    grader = factories.make_user("instructor", site=person.site)
    grading = Grading.objects.create(
        board=board, grader=grader, criteria_set=factories.make_criteria_set(), recorded_at=NOW
    )
    for criterion in grading.criteria_set.criteria.all():
        for joint in board.joints.all() if criterion.of == "joint" else [None]:
            Judgement.objects.create(
                grading=grading,
                joint=joint,
                criterion=criterion,
                stage=criterion.stage,
                outcome="accept",
                how="photograph" if joint and made else "at_board",
                photo=made[0] if joint and made else None,
                note="=looks well" if criterion.order == 1 else "",
                judged_at=NOW,
            )
    factories._sign(StageSigning(grading=grading, stage="soldered", signed_at=NOW, result={}))
    refresh_outcome(board, NOW)
    return board, made


def make_evidence(*, photos: int = 2) -> Evidence:
    person = factories.make_person(full_name="Nadezhda Ruiz", started_on=date(2024, 1, 1))
    board, made = judged_board(person, photos)
    scope = factories.make_scope(title="Terminals")
    certificate = factories.make_certificate(
        person,
        scope,
        revision=factories.make_revision(scope, vision_months=12),
        issued_on=date(2026, 1, 10),
        evidence={
            "boards": [
                {
                    "number": board.number,
                    "title": "Turrets",
                    "judged_on": "2026-01-09",
                    "score": "100",
                    "joints": 3,
                    "rejected": 0,
                    "purpose": "qualification",
                    "signatures": [],
                }
            ]
        },
    )
    VisionTest.objects.create(
        test_id="CA-V-1",
        person=person,
        tested_on=date(2026, 1, 5),
        passed=True,
        method="chart at 30 cm",
        with_lenses=True,
        examiner="Dr Sight",
        recorded_at=NOW,
    )
    PracticeRecord.objects.create(
        person=person,
        scope_code=scope.code,
        performed_on=date(2026, 3, 3),
        reference="SN-0042",
        recorded_at=NOW,
    )
    factories.write_down()
    quality = factories.make_user("quality", site=person.site)
    return Evidence(quality, person, certificate, board, made)


def request(evidence: Evidence, **about) -> EvidencePack:
    about = about or {"certificate": evidence.certificate}
    return services.request_pack(actor=evidence.quality, site=evidence.person.site, at=AT, **about)


def build(pack: EvidencePack, **options) -> EvidencePack:
    services.build_pack(
        pack_id=pack.pk, clock=lambda: LATER, contents_of=PackContents, round_lasts=None, **options
    )
    pack.refresh_from_db()
    return pack


def unpack(pack: EvidencePack, folder: Path) -> Path:
    with pack.file.open("rb") as file, zipfile.ZipFile(file) as archive:
        assert archive.testzip() is None
        archive.extractall(folder)
    return folder / pack.number
