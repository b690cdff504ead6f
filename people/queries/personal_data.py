"""What this app keeps about somebody."""

from collections.abc import Iterator

from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from people.models import Person, SiteRole, User
from people.ports import DataTable
from records.models import Signature, TrailEntry

DAY, REASON = _("day from which it holds"), _("reason that was given")
RECORDED = _("instant at which it was recorded, UTC")


def personal_data(person: Person) -> Iterator[DataTable]:
    yield DataTable(
        "person",
        _("Who they are, as recorded now"),
        {
            "employee_number": ("employee_number", _("employee number")),
            "full_name": ("full_name", _("full name")),
            "email": ("email", _("e-mail address")),
            "kind": ("kind", _("own staff, contractor or visitor")),
            "employer": ("employer", _("employer, where it is another")),
            "site": ("site__name", _("site")),
            "line_lead": ("line_lead__full_name", _("line lead")),
            "language": ("language", _("language of pages and mails")),
            "started_on": ("started_on", _("first day")),
            "left_on": ("left_on", _("last day")),
            "recorded_at": ("recorded_at", RECORDED),
        },
        Person.objects.filter(pk=person.pk),
    )
    yield DataTable(
        "former_numbers",
        _("Employee numbers they had before"),
        {
            "employee_number": ("employee_number", _("employee number")),
            "until": ("until_on", _("last day on which it was theirs")),
        },
        person.former_numbers.order_by("until_on", "pk"),
    )
    yield from _changes(person)
    yield DataTable(
        "stamps",
        _("Stamps they hold or held"),
        {
            "mark": ("mark", _("mark")),
            "issued_on": ("issued_on", _("first day")),
            "returned_on": ("returned_on", _("last day")),
        },
        person.stamps.order_by("issued_on", "pk"),
    )
    yield from _sign_in(person)


def _changes(person: Person) -> Iterator[DataTable]:
    common = {
        "from": ("from_day", DAY),
        "reason": ("reason", REASON),
        "recorded_at": ("recorded_at", RECORDED),
    }
    yield DataTable(
        "names",
        _("Changes of name"),
        {"before": ("before", _("name before")), "after": ("after", _("name after")), **common},
        person.name_changes.order_by("from_day", "pk"),
    )
    yield DataTable(
        "line_leads",
        _("Changes of line lead"),
        {
            "before": ("before__full_name", _("line lead before")),
            "after": ("after__full_name", _("line lead after")),
            **common,
        },
        person.line_lead_changes.order_by("from_day", "pk"),
    )
    yield DataTable(
        "sites",
        _("Sites they were at"),
        {
            "site": ("site__name", _("site")),
            **common,
            "withdrawn_at": ("withdrawal__recorded_at", _("since when it counts as never entered")),
        },
        person.site_memberships.order_by("from_day", "pk"),
    )
    yield DataTable(
        "returns",
        _("Times away"),
        {
            "left_on": ("left_on", _("last day before")),
            "returned_on": ("returned_on", _("first day after")),
            "reason": ("reason", REASON),
            "recorded_at": ("recorded_at", RECORDED),
        },
        person.returns.order_by("returned_on", "pk"),
    )


def _sign_in(person: Person) -> Iterator[DataTable]:
    """No password, PIN or code: of those hashes alone are kept, which are nobody's to hand out."""
    yield DataTable(
        "sign_in",
        _("Their sign-in"),
        {
            "number": ("employee_number", _("employee number")),
            "email": ("email", _("e-mail address")),
            "opened_at": ("date_joined", _("instant at which it was opened, UTC")),
            "last_used_at": ("last_login", _("instant of the latest sign-in, UTC")),
            "is_open": ("is_active", _("whether it is open")),
        },
        User.objects.filter(person=person),
    )
    yield DataTable(
        "roles",
        _("Roles of their sign-in"),
        {
            "site": ("site__name", _("site")),
            "role": ("role", _("role")),
            "recorded_at": ("recorded_at", RECORDED),
        },
        SiteRole.objects.filter(user__person=person).order_by("pk"),
    )
    user_id = person.user.pk if hasattr(person, "user") else 0
    theirs = Q(about_type="sign-in", about_id=str(user_id)) | Q(actor=user_id)
    theirs |= Q(about_type="person", about_id=str(person.pk))
    yield DataTable(
        "trail",
        _("Entries of the trail about them and their sign-in, and of what they did"),
        {
            "number": ("number", _("number of the entry")),
            "recorded_at": ("recorded_at", RECORDED),
            "by": ("actor_label", _("who did it, by the number they signed in as")),
            "act": ("act", _("what was done")),
            "about_kind": ("about_type", _("kind of thing it was done to")),
            "about_number": ("about_id", _("number of that thing in the records")),
        },
        TrailEntry.objects.filter(theirs).order_by("number"),
    )
    yield DataTable(
        "signatures",
        _("What they signed"),
        {
            "signed_at": ("signed_at", _("instant of the signature, UTC")),
            "printed_name": ("printed_name", _("name under it")),
            "meaning": ("meaning", _("what the signature means")),
            "about_kind": ("about_type", _("kind of thing it was done to")),
            "about_number": ("about_id", _("number of that thing in the records")),
            "proof": ("proof", _("how they showed who they are")),
            "sha256": ("content_sha256", _("SHA-256 of what was signed")),
        },
        Signature.objects.filter(signer=user_id).order_by("signed_at", "pk"),
    )
