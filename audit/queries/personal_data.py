"""What audit keeps about somebody: which evidence packs were asked for about them, and by whom."""

from collections.abc import Iterator

from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from audit.models import EvidencePack
from people.models import Person
from people.ports import DataTable


def personal_data(person: Person) -> Iterator[DataTable]:
    about_them = Q(person=person) | Q(certificate__person=person) | Q(board__person=person)
    yield DataTable(
        "evidence_packs",
        _("Evidence packs about them, their certificates or boards"),
        {
            "pack": ("number", _("number of the pack")),
            "about": ("about", _("what it is about")),
            "asked_by": ("asked_by__employee_number", _("sign-in of whoever asked for it")),
            "recorded_at": ("recorded_at", _("instant at which it was recorded, UTC")),
        },
        EvidencePack.objects.filter(about_them).order_by("pk"),
    )
