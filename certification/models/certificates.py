"""Certificates and everything that happens to them; all of it append-only."""

import secrets

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.models import Person
from records.models import Recorded, Signature

from .schemes import SchemeRevision, Scope


def document_path(document: "CertificateDocument", name: str) -> str:
    key = secrets.token_urlsafe(24)
    return f"documents/{key[:2]}/{key}.bin"


class CertificateDocument(Recorded):
    """The paper behind a certificate from elsewhere, kept as it came."""

    file = models.FileField(upload_to=document_path, max_length=120)
    original_name = models.CharField(_("file name"), max_length=200)
    media_type = models.CharField(max_length=60)
    size_bytes = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=64)
    added_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )

    def __str__(self) -> str:
        return self.original_name


class CertificateQuerySet(models.QuerySet["Certificate"]):
    def not_withdrawn(self) -> "CertificateQuerySet":
        """Certificates that were not withdrawn as entered in error."""
        return self.filter(withdrawal__isnull=True)


class Certificate(Recorded):
    """The statement that a person may do one kind of work, with what it stands on.

    What it stood on when issued is copied into it. Whether it holds on a day is worked
    out from its events, never stored in it.
    """

    class Origin(models.TextChoices):
        OWN = "own", _("issued here")
        ELSEWHERE = "elsewhere", _("from another employer or training centre")
        IMPORTED = "imported", _("brought over from an earlier register")

    number = models.CharField(_("number"), max_length=40, unique=True)
    person = models.ForeignKey(Person, models.PROTECT, related_name="certificates")
    scope = models.ForeignKey(Scope, models.PROTECT, related_name="certificates")
    scheme_revision = models.ForeignKey(SchemeRevision, models.PROTECT, related_name="certificates")
    issued_on = models.DateField(_("issued on"))
    renews = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="renewed_by"
    )
    valid_through = models.DateField(
        _("good through, as issued"), help_text=_("As printed; events may end it sooner.")
    )
    restriction = models.CharField(_("restriction"), max_length=400, blank=True)
    origin = models.CharField(
        _("origin"), max_length=12, choices=Origin.choices, default=Origin.OWN
    )
    holder_name = models.CharField(_("name as issued"), max_length=120)
    figures = models.JSONField(_("scheme figures as issued"), default=dict)
    evidence = models.JSONField(_("what it stands on"), default=dict)
    issued_by = models.CharField(_("issued by"), max_length=160, blank=True)
    issuer_certificate = models.CharField(_("issuer's own certificate"), max_length=40, blank=True)
    signature = models.OneToOneField(
        Signature, models.PROTECT, null=True, blank=True, related_name="certificate"
    )
    document = models.OneToOneField(
        CertificateDocument, models.PROTECT, null=True, blank=True, related_name="certificate"
    )
    outside_number = models.CharField(_("number on the paper"), max_length=80, blank=True)

    objects = CertificateQuerySet.as_manager()

    class Meta:
        ordering = ["-issued_on", "-number"]
        indexes = [models.Index(fields=["person", "scope"], name="certificate_by_person_scope")]
        constraints = [
            models.CheckConstraint(
                condition=Q(origin="imported") | Q(signature__isnull=False),
                name="certificate_is_signed_unless_imported",
            ),
            models.CheckConstraint(
                condition=~Q(origin="elsewhere") | Q(document__isnull=False),
                name="certificate_from_elsewhere_has_its_document",
            ),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def printed_name(self) -> str:
        """The name that its paper bears: as issued, or as it was last issued again."""
        names = list(self.names.all())  # In their own order, so that a list can fetch them first.
        return names[-1].name if names else self.holder_name


class CertificateWithdrawal(models.Model):
    """From this instant the certificate counts as never entered; the row itself stays."""

    certificate = models.OneToOneField(Certificate, models.PROTECT, related_name="withdrawal")
    withdrawn_at = models.DateTimeField(default=timezone.now)
    reason = models.CharField(_("reason"), max_length=400)
    signature = models.OneToOneField(
        Signature, models.PROTECT, null=True, blank=True, related_name="+"
    )

    def __str__(self) -> str:
        return f"{self.certificate}: {self.reason}"


class CertificateName(Recorded):
    """A certificate issued again under the name that its holder has since a day.

    It is no event: number, period, window and standing stay as they are, so the rules that read
    events never see it.
    """

    certificate = models.ForeignKey(Certificate, models.PROTECT, related_name="names")
    name = models.CharField(_("name"), max_length=120)
    from_day = models.DateField(_("holder’s name since"))
    reason = models.CharField(_("reason"), max_length=400, blank=True)
    signature = models.ForeignKey(Signature, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_at", "pk"]

    def __str__(self) -> str:
        return f"{self.certificate}: {self.name}"


class CertificateEvent(Recorded):
    """Something that happened to a certificate, from its effective day on."""

    class Kind(models.TextChoices):
        SUSPENDED = "suspended", _("suspended")
        REINSTATED = "reinstated", _("reinstated")
        REVOKED = "revoked", _("revoked")
        ENDED = "ended", _("ended")
        EXTENDED = "extended", _("extended")
        RESTRICTED = "restricted", _("restricted")
        UNRESTRICTED = "unrestricted", _("restriction lifted")
        VOIDED = "voided", _("voided")

    event_id = models.CharField(_("number"), max_length=40, unique=True)
    certificate = models.ForeignKey(Certificate, models.PROTECT, related_name="events")
    kind = models.CharField(_("event"), max_length=12, choices=Kind.choices)
    effective_on = models.DateField(_("effective on"))
    voids = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="voided_by"
    )
    until = models.DateField(_("until"), null=True, blank=True)
    authority = models.CharField(_("authority"), max_length=160, blank=True)
    restriction = models.CharField(_("restriction"), max_length=400, blank=True)
    reason = models.CharField(_("reason"), max_length=400, blank=True)
    signature = models.ForeignKey(
        Signature, models.PROTECT, null=True, blank=True, related_name="events"
    )

    class Meta:
        ordering = ["effective_on", "recorded_at", "event_id"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(kind="voided") | Q(voids__isnull=False),
                name="event_voided_names_the_event",
            ),
            models.CheckConstraint(
                condition=~Q(kind="extended") | (Q(until__isnull=False) & ~Q(authority="")),
                name="event_extended_has_until_and_authority",
            ),
            models.CheckConstraint(
                condition=(Q(kind="restricted") & ~Q(restriction=""))
                | (~Q(kind="restricted") & Q(restriction="")),
                name="event_restricted_alone_has_restriction",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.certificate}: {self.kind}"

    @property
    def part_of(self) -> Certificate | None:
        """The certificate that it was signed with, such as a paper's own end; it goes with that."""
        return getattr(self.signature, "certificate", None)


class ProposalQuerySet(models.QuerySet["Proposal"]):
    def open(self) -> "ProposalQuerySet":
        return self.filter(decision="")


class Proposal(Recorded):
    """An instructor's signed word that somebody meets a scheme for a scope."""

    class Decision(models.TextChoices):
        ISSUED = "issued", _("issued")
        DECLINED = "declined", _("declined")

    person = models.ForeignKey(Person, models.PROTECT, related_name="proposals")
    scope = models.ForeignKey(Scope, models.PROTECT, related_name="proposals")
    scheme_revision = models.ForeignKey(SchemeRevision, models.PROTECT, related_name="proposals")
    renews = models.ForeignKey(Certificate, models.PROTECT, null=True, blank=True, related_name="+")
    restriction = models.CharField(_("restriction"), max_length=400, blank=True)
    note = models.TextField(_("note"), blank=True)
    evidence = models.JSONField(_("what it stands on"), default=dict)
    signature = models.OneToOneField(Signature, models.PROTECT, related_name="proposal")
    decision = models.CharField(
        _("decision"), max_length=12, choices=Decision.choices, blank=True, default=""
    )
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    decision_reason = models.CharField(_("why"), max_length=400, blank=True)
    certificate = models.OneToOneField(
        Certificate, models.PROTECT, null=True, blank=True, related_name="proposal"
    )

    objects = ProposalQuerySet.as_manager()

    class Meta:
        ordering = ["-recorded_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["person", "scope"],
                condition=Q(decision=""),
                name="proposal_one_open_per_person_and_scope",
            )
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.scope}"
