"""Who is taught, who teaches, and where."""

from datetime import date, datetime, time
from typing import ClassVar
from zoneinfo import ZoneInfo, available_timezones

from django.apps import apps
from django.conf import settings
from django.contrib.auth.models import AbstractBaseUser, BaseUserManager, PermissionsMixin
from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator
from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.db.models.functions import Lower
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.domain.employee_numbers import meant_by
from records.models import Recorded


def validate_time_zone(name: str) -> None:
    if name not in available_timezones():
        raise ValidationError(
            _("%(name)s is not a time zone. Use a name such as Europe/Madrid."),
            params={"name": name},
        )


def default_working_days() -> list[int]:
    return [1, 2, 3, 4, 5]


def default_reminder_steps() -> list[int]:
    return [90, 60, 30, 14, 7, 1]


class Installation(models.Model):
    """The one row that says whose installation this is, and whether it holds the demo."""

    organisation = models.CharField(_("organisation"), max_length=120)
    demo_loaded_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="installation_is_one_row"),
        ]

    def __str__(self) -> str:
        return self.organisation

    @classmethod
    def current(cls) -> "Installation":
        installation = cls.objects.filter(id=1).first()
        return installation or cls(id=1, organisation="Jointworthy")

    @classmethod
    def is_demo(cls) -> bool:
        return cls.objects.filter(id=1, demo_loaded_at__isnull=False).exists()


class Site(models.Model):
    """A place with its own calendar: days are read off its time zone."""

    name = models.CharField(_("name"), max_length=80, unique=True)
    prefix = models.CharField(
        _("prefix of public numbers"),
        max_length=4,
        unique=True,
        validators=[RegexValidator(r"^[A-Z]{1,4}$", _("One to four capital letters."))],
        help_text=_("Stands at the front of every number given out here, for ever."),
    )
    time_zone = models.CharField(_("time zone"), max_length=64, validators=[validate_time_zone])
    working_days = models.JSONField(
        _("working days"), default=default_working_days, help_text=_("1 is Monday, 7 is Sunday.")
    )
    work_starts = models.TimeField(_("work starts"), default=time(7, 0))
    work_ends = models.TimeField(_("work ends"), default=time(16, 0))
    send_hour = models.PositiveSmallIntegerField(
        _("hour at which reminders go out"), default=6, help_text=_("In the site's own time.")
    )
    reminder_steps = models.JSONField(
        _("days before a vision test or a calibration ends to write"),
        default=default_reminder_steps,
    )
    reminders_start_on = models.DateField(
        _("first day of reminders"),
        null=True,
        blank=True,
        help_text=_("What ended before this day is never written about."),
    )
    proposal_days = models.PositiveSmallIntegerField(
        _("days after which quality is written to about a proposal"),
        default=5,
        help_text=_("Once for each proposal that waits; 0: never."),
    )
    lock_minutes = models.PositiveSmallIntegerField(
        _("minutes after which a shared tablet locks"),
        default=5,
        help_text=_("Without a request, counted by the server."),
    )
    second_factor_roles = models.JSONField(
        _("roles that need a second factor"), default=list, blank=True, editable=False
    )
    second_factor_signs = models.BooleanField(
        _("signatures ask for the second factor"),
        default=False,
        editable=False,
        help_text=_("Of those who have one; a passkey is enough alone."),
    )
    address = models.CharField(_("where to go for a class or a test"), max_length=200, blank=True)
    contact = models.CharField(
        _("whom to ask"),
        max_length=200,
        blank=True,
        help_text=_("An office, a telephone number, an address; stands in every reminder."),
    )
    criteria_by_two = models.BooleanField(
        _("a second person confirms criteria too"),
        default=False,
        help_text=_("Sets belong to the organisation: asked of all once one site asks it."),
    )
    trail_head_to = models.JSONField(
        _("addresses that the end of the records is mailed to every day"),
        default=list,
        blank=True,
    )

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(send_hour__gte=0, send_hour__lte=23), name="site_send_hour_on_the_clock"
            ),
            models.CheckConstraint(
                condition=Q(lock_minutes__gte=1, lock_minutes__lte=120),
                name="site_lock_minutes_one_to_120",
            ),
            models.CheckConstraint(
                condition=Q(proposal_days__lte=60), name="site_proposal_days_at_most_60"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)

    def today(self, now: datetime | None = None) -> date:
        """The calendar day at the site at an instant."""
        return (now or timezone.now()).astimezone(self.zone).date()

    def is_working_day(self, day: date) -> bool:
        return day.isoweekday() in self.working_days


class Role(models.TextChoices):
    OPERATOR = "operator", _("operator")
    LINE_LEAD = "line_lead", _("line lead")
    INSTRUCTOR = "instructor", _("instructor")
    QUALITY = "quality", _("quality")
    ADMINISTRATOR = "administrator", _("administrator")
    KIOSK = "kiosk", _("kiosk")


def at_work_on(day: date) -> Q:
    """People who have started by a day and not left before it, nor were away in between."""
    away = apps.get_model("people", "Return").objects.filter(
        person=OuterRef("pk"), left_on__lt=day, returned_on__gt=day
    )
    return (
        Q(Q(started_on__isnull=True) | Q(started_on__lte=day))
        & Q(Q(left_on__isnull=True) | Q(left_on__gte=day))
        & ~Q(Exists(away))
    )


def formerly_named(word: str) -> models.QuerySet:
    """Ids of people of whom a name before the present one holds a word."""
    changes = apps.get_model("people", "NameChange").objects.filter(before__icontains=word)
    return changes.order_by().values("person")


class PersonQuerySet(models.QuerySet["Person"]):
    def at_work_on(self, day: date) -> "PersonQuerySet":
        return self.filter(at_work_on(day))

    def with_number(self, text: str) -> "Person | None":
        """Whose employee number this is, however it is capitalised; None if not one person's."""
        people = self.filter(employee_number__iexact=text)[:3]
        return meant_by(text, ((person.employee_number, person) for person in people))

    def search(self, text: str) -> "PersonQuerySet":
        """People whose name or number, now or before, address or employer holds every word."""
        people = self
        for word in text.split():
            former = FormerEmployeeNumber.objects.filter(employee_number__icontains=word)
            people = people.filter(
                Q(full_name__icontains=word)
                | Q(pk__in=formerly_named(word))
                | Q(employee_number__icontains=word)
                | Q(pk__in=former.values("person"))
                | Q(email__icontains=word)
                | Q(employer__icontains=word)
            )
        return people

    def with_list_columns(self) -> "PersonQuerySet":
        """Everything a line in a list of people shows, in one query."""
        return self.select_related("site", "line_lead")


class Person(Recorded):
    """Somebody who does, learns or judges the work; never deleted."""

    class Kind(models.TextChoices):
        OWN = "own", _("own staff")
        CONTRACTOR = "contractor", _("contractor")
        VISITOR = "visitor", _("visitor")

    employee_number = models.CharField(_("employee number"), max_length=32, unique=True)
    full_name = models.CharField(_("full name"), max_length=120)
    email = models.EmailField(_("e-mail"), blank=True)
    kind = models.CharField(_("kind"), max_length=12, choices=Kind.choices, default=Kind.OWN)
    employer = models.CharField(_("employer"), max_length=120, blank=True)
    site = models.ForeignKey(Site, models.PROTECT, related_name="people", verbose_name=_("site"))
    line_lead = models.ForeignKey(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="led",
        verbose_name=_("line lead"),
    )
    language = models.CharField(_("language"), max_length=8, default="en")
    started_on = models.DateField(_("started on"), null=True, blank=True)
    left_on = models.DateField(
        _("left on"), null=True, blank=True, help_text=_("The last day here.")
    )

    objects = PersonQuerySet.as_manager()

    class Meta:
        ordering = ["full_name", "employee_number"]
        constraints = [
            models.CheckConstraint(
                condition=Q(left_on__isnull=True)
                | Q(started_on__isnull=True)
                | Q(left_on__gte=models.F("started_on")),
                name="person_leaves_after_starting",
            ),
            models.CheckConstraint(
                condition=~Q(employee_number=""), name="person_has_an_employee_number"
            ),
            models.UniqueConstraint(
                Lower("employee_number"), name="person_number_is_one_however_capitalised"
            ),
        ]
        # Lists are long, and a page of one is read in this order without sorting everybody.
        indexes = [
            models.Index(fields=["full_name", "employee_number"], name="person_by_name"),
            models.Index(
                fields=["site", "full_name", "employee_number"], name="person_by_site_and_name"
            ),
        ]

    def __str__(self) -> str:
        return self.full_name

    def has_left(self, at: datetime) -> bool:
        """Whether their last day is over where they worked; on it they are still here."""
        return self.left_on is not None and self.left_on < self.site.today(at)


class FormerEmployeeNumber(Recorded):
    """A number somebody had before: it still finds them, and nobody else ever gets it."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="former_numbers")
    employee_number = models.CharField(_("employee number"), max_length=32, unique=True)
    until_on = models.DateField(_("held until"))

    def __str__(self) -> str:
        return self.employee_number


class UserManager(BaseUserManager["User"]):
    def create_user(self, employee_number: str, password: str | None = None, **fields) -> "User":
        user = self.model(employee_number=employee_number, **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(
        self, employee_number: str, password: str | None = None, **fields
    ) -> "User":
        return self.create_user(
            employee_number, password, **{"is_staff": True, "is_superuser": True, **fields}
        )

    def get_by_natural_key(self, username: str | None) -> "User":
        return self.get(employee_number=username)

    def open_on(self, day: date) -> models.QuerySet["User"]:
        """Sign-ins that open on a day, as `User.may_sign_in` says of one of them."""
        return self.filter(is_active=True).exclude(person__left_on__lt=day)


class User(AbstractBaseUser, PermissionsMixin):
    """A sign-in, by employee number or e-mail; many operators have no mail.

    A kiosk's is nobody's: it has no person, and its name stands in ``employee_number``.
    """

    employee_number = models.CharField(_("employee number"), max_length=32, unique=True)
    email = models.EmailField(_("e-mail"), blank=True)
    person = models.OneToOneField(
        Person, models.PROTECT, null=True, blank=True, related_name="user"
    )
    is_staff = models.BooleanField(default=False)
    is_active = models.BooleanField(default=True)
    password_is_one_time = models.BooleanField(
        default=False,
        help_text=_("Somebody else knows the password: it opens the page to change it alone."),
    )
    date_joined = models.DateTimeField(default=timezone.now, editable=False)

    USERNAME_FIELD = "employee_number"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = []

    objects = UserManager()

    proved_with = ""
    """What was given beside the password by whoever is just signing in; stored nowhere."""

    from_address = ""
    """The network address that the request of who is signed in comes from; stored nowhere."""

    class Meta:
        ordering = ["employee_number"]
        constraints = [
            models.UniqueConstraint(
                Lower("email"), condition=~Q(email=""), name="user_email_is_one_sign_in"
            ),
            models.UniqueConstraint(
                Lower("employee_number"), name="user_number_is_one_however_capitalised"
            ),
        ]

    def __str__(self) -> str:
        return self.get_full_name()

    def get_full_name(self) -> str:
        return self.person.full_name if self.person_id and self.person else self.employee_number

    def may_sign_in(self, at: datetime) -> bool:
        """Whether the sign-in opens anything: not once it is closed, or its owner has left.

        Sessions, proofs of who one is, badges and links to a new password all ask here.
        """
        return self.is_active and (self.person is None or not self.person.has_left(at))

    def site_roles(self) -> dict[str, set[int]]:
        """Sites by role, read once for a user; every person is an operator where they work.

        The role of a kiosk opens nothing for people: it is for sign-ins that are nobody's.
        """
        if not hasattr(self, "_site_roles"):
            self._read_roles()
        return self._site_roles

    def _read_roles(self) -> None:
        """Read the roles with what their sites ask of whoever holds them, in one query."""
        roles: dict[str, set[int]] = {}
        person = self.person
        needs, signs = False, person is not None and person.site.second_factor_signs
        policy = ("site__second_factor_roles", "site__second_factor_signs")
        for role, site_id, needing, signs_there in self.roles.values_list(
            "role", "site_id", *policy
        ):
            roles.setdefault(role, set()).add(site_id)
            needs |= role in needing
            signs |= signs_there
        if person is not None:
            roles.setdefault(Role.OPERATOR, set()).add(person.site_id)
            roles.pop(Role.KIOSK, None)
        self._site_roles = roles
        self._second_factor = (needs, signs)

    @property
    def needs_second_factor(self) -> bool:
        """Whether a site where they hold a role asks for a second factor of it."""
        self.site_roles()
        return self._second_factor[0]

    @property
    def signs_with_second_factor(self) -> bool:
        """Whether a site of theirs asks for it under signatures, of those who have one."""
        self.site_roles()
        return self._second_factor[1]

    def role_names(self) -> set[str]:
        return set(self.site_roles())

    def sites_as(self, *roles: str) -> set[int]:
        """Ids of the sites where the user has one of these roles."""
        sites_by_role = self.site_roles()
        return set().union(*(sites_by_role.get(role, set()) for role in roles))

    def has_role(self, *roles: str, site: Site | int | None = None) -> bool:
        sites = self.sites_as(*roles)
        if site is None:
            return bool(sites)
        return (site if isinstance(site, int) else site.pk) in sites


class SiteRole(Recorded):
    """What a user may do at one site."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="roles")
    site = models.ForeignKey(Site, models.PROTECT, related_name="roles")
    role = models.CharField(_("role"), max_length=16, choices=Role.choices)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["user", "site", "role"], name="site_role_once_per_user_and_site"
            )
        ]

    def __str__(self) -> str:
        return f"{self.user}: {self.get_role_display()}, {self.site}"


class StampQuerySet(models.QuerySet["Stamp"]):
    def held_on(self, day: date) -> "StampQuerySet":
        return self.filter(
            Q(returned_on__isnull=True) | Q(returned_on__gte=day), issued_on__lte=day
        )


class Stamp(Recorded):
    """An inspection or workmanship stamp in somebody's hands, first and last day included."""

    mark = models.CharField(_("mark"), max_length=32, db_index=True)
    person = models.ForeignKey(Person, models.PROTECT, related_name="stamps")
    issued_on = models.DateField(_("issued on"))
    returned_on = models.DateField(_("returned on"), null=True, blank=True)

    objects = StampQuerySet.as_manager()

    class Meta:
        ordering = ["mark", "issued_on"]
        constraints = [
            models.UniqueConstraint(fields=["mark", "issued_on"], name="stamp_issued_once_a_day"),
            models.CheckConstraint(
                condition=Q(returned_on__isnull=True) | Q(returned_on__gte=models.F("issued_on")),
                name="stamp_returned_after_issue",
            ),
        ]

    def __str__(self) -> str:
        return self.mark
