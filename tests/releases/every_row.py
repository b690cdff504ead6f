"""Rows in every table of a small site, all of it written down as the trail wants it."""

from collections.abc import Callable, Iterator
from datetime import time, timedelta
from decimal import Decimal
from io import BytesIO
from itertools import count
from typing import Any
from uuid import uuid4

import pytest
from django.apps import apps
from django.contrib.auth.models import Group
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import connection, models, transaction

from assessments.models import Board, Joint, Photo
from assessments.services import photos
from certification.models import CertificateDocument
from operations.queries.database_rows import LEFT_OUT
from records.models import append_only
from records.queries import rebuilding
from tests import access_scenario, factories
from tests.assessments import pictures
from tests.factories import NOW, TODAY
from tests.records.test_altered_rows import make_kept
from training.models import Exercise, VisionTest
from training.services.removing import remove_vision_tests

Model = type[models.Model]

_numbers = count(700)


def make_rows() -> None:
    """Fill the database, in which `prepare` has made the tables and nobody has done anything."""
    with transaction.atomic():
        make_kept()
        with pytest.MonkeyPatch.context() as patch:
            # Photographs with files, that a verification reads.
            patch.setattr(access_scenario, "make_photo", _photograph)
            access_scenario.build()
        with append_only.lifted(connection):
            _finish_scenario()
        factories.write_down()
        test = VisionTest.objects.create(
            test_id="V-gone", person=factories.make_person(), tested_on=TODAY, passed=True
        )
        factories.write_down()
        actor = factories.make_user("quality")
        remove_vision_tests(tests=[test], reason="Kept no longer.", actor=actor, at=NOW)
        # Others name a group.
        for model in sorted(empty_models(), key=lambda model: model is not Group):
            if model._meta.db_table not in LEFT_OUT:
                fill(model)
        factories.write_down()


def empty_models() -> Iterator[Model]:
    for model in apps.get_models(include_auto_created=True):
        if model._meta.managed and not model._base_manager.exists():
            yield model


def _finish_scenario() -> None:
    """What the access table asks nobody for: files that are there, acts that were signed."""
    for kept in rebuilding.kept_tables():
        if kept.content_of is None:  # Written down by its act alone, which nobody did.
            keys = list(kept.rows_without_record())
            kept.model._base_manager.filter(**{f"{kept.key}__in": keys}).delete()
    for document in CertificateDocument.objects.filter(sha256="0" * 64):
        with document.file.open() as stream:
            sha256 = photos.sha256_of(BytesIO(stream.read()))
        CertificateDocument.objects.filter(pk=document.pk).update(sha256=sha256)


def _photograph(board: Board, joint: Joint) -> Photo:
    return photos.add_photo(
        board=board,
        file=BytesIO(pictures.jpeg(90, 60 + next(_numbers) % 100)),
        name=f"{joint}.jpg",
        actor=factories.make_user("instructor", site=board.site),
        at=NOW,
        joint=joint,
    )


def fill(model: Model) -> models.Model:
    """One row with the plainest values that its fields take."""
    given = OWN.get(model._meta.label, dict)()
    values = {
        field.name: value_of(field)
        for field in model._meta.local_concrete_fields
        if field.name not in given and not _is_left(field)
    }
    return model._base_manager.create(**values | given)


def _is_left(field: Any) -> bool:
    return (field.primary_key and not field.remote_field) or field.has_default() or field.null


def value_of(field: Any) -> Any:
    if field.remote_field:
        taken = field.model._base_manager.values(field.attname) if field.unique else []
        rows = field.related_model._base_manager.order_by("pk")
        return rows.exclude(pk__in=taken).first() if field.unique else rows.first()
    if field.blank and isinstance(field, models.CharField | models.TextField):
        return ""
    if field.choices:
        return next(value for value, _label in field.flatchoices if value != "")
    number = next(_numbers)
    match field:
        case models.EmailField():
            return f"n{number}@skarnfell.example"
        case models.FileField():
            return default_storage.save(f"{field.name}-{number}.bin", ContentFile(b"a file"))
        case models.UUIDField():
            return uuid4()
        case models.CharField() | models.TextField():
            return f"x{number}"[: field.max_length or 40]
        case models.DateTimeField():
            return NOW
        case models.DateField():
            return TODAY
        case models.TimeField():
            return time(8)
        case models.DurationField():
            return timedelta(hours=1)
        case models.DecimalField():
            return Decimal(1)
        case models.BooleanField():
            return True
        case models.IntegerField() | models.FloatField():
            return 1
        case models.BinaryField():
            return b"x"
        case models.JSONField():
            return {}
    raise TypeError(f"No value is known for {field}.")


OWN: dict[str, Callable[[], dict[str, Any]]] = {
    "assessments.PurposeCorrection": lambda: {"board": Board.objects.latest("pk")},
    "training.ExerciseStep": lambda: {
        "exercise": Exercise.objects.filter(published_at__isnull=True).first()
    },
    "training.WorkReportDecision": lambda: {"confirmed": False},
}
"""What a table's own constraints, or the pages that show it, ask of a row, by its model."""
