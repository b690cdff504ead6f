"""What is kept about somebody's certificates."""

from collections.abc import Iterator

from django.utils.translation import gettext_lazy as _

from certification.models import (
    Certificate,
    CertificateEvent,
    CertificateName,
    Credential,
    PlannedNeed,
    Proposal,
)
from people.models import Person
from people.ports import DataTable

NUMBER = _("number of the certificate")
RECORDED = _("instant at which it was recorded, UTC")


def personal_data(person: Person) -> Iterator[DataTable]:
    yield DataTable(
        "certificates",
        _("Certificates, as issued"),
        {
            "number": ("number", NUMBER),
            "name": ("holder_name", _("name as issued")),
            "scope": ("scope__title", _("scope")),
            "scheme": ("scheme_revision__name", _("scheme")),
            "issued_on": ("issued_on", _("day it was issued on")),
            "good_through": ("valid_through", _("last day, as issued")),
            "restriction": ("restriction", _("what alone it allows")),
            "issued_by": ("issued_by", _("who issued it")),
            "recorded_at": ("recorded_at", RECORDED),
            "withdrawn_at": (
                "withdrawal__withdrawn_at",
                _("since when it counts as never entered"),
            ),
        },
        Certificate.objects.filter(person=person).order_by("pk"),
        is_result=True,
    )
    yield DataTable(
        "certificate_events",
        _("What happened to certificates"),
        {
            "number": ("certificate__number", NUMBER),
            "event": ("event_id", _("number of the event")),
            "kind": ("kind", _("what happened")),
            "effective_on": ("effective_on", _("day from which it holds")),
            "reason": ("reason", _("reason that was given")),
            "recorded_at": ("recorded_at", RECORDED),
        },
        CertificateEvent.objects.filter(certificate__person=person).order_by("pk"),
        is_result=True,
    )
    yield DataTable(
        "certificate_names",
        _("Certificates issued again under another name"),
        {
            "number": ("certificate__number", NUMBER),
            "name": ("name", _("name after")),
            "from": ("from_day", _("day from which it holds")),
            "recorded_at": ("recorded_at", RECORDED),
        },
        CertificateName.objects.filter(certificate__person=person).order_by("pk"),
        is_result=True,
    )
    yield DataTable(
        "credentials",
        _("Signed files of certificates that were taken away"),
        {
            "number": ("certificate__number", NUMBER),
            "name": ("name", _("name in the file")),
            "restriction": ("restriction", _("what alone it allows")),
            "good_through": ("good_through", _("last day")),
            "recorded_at": ("recorded_at", RECORDED),
        },
        Credential.objects.filter(certificate__person=person).order_by("pk"),
        is_result=True,
    )
    yield DataTable(
        "proposals",
        _("Proposals to certify them"),
        {
            "scope": ("scope__title", _("scope")),
            "proposed_at": ("recorded_at", RECORDED),
            "decision": ("decision", _("decision")),
            "decided_at": ("decided_at", _("instant of the decision, UTC")),
        },
        Proposal.objects.filter(person=person).order_by("pk"),
        is_result=True,
    )
    yield DataTable(
        "plans_of_classes",
        _("Plans of classes, kept for 90 days"),
        {
            "planned_at": ("plan__recorded_at", _("instant at which it was asked for, UTC")),
            "scopes": ("scope_codes", _("scopes")),
            "ends_on": ("ends_on", _("last good day")),
            "class": ("chosen__number", _("number of the class")),
            "outcome": ("outcome", _("what became of it")),
        },
        PlannedNeed.objects.filter(person=person).order_by("pk"),
        is_result=True,
    )
