"""``manage.py evidence_pack``: put together all that stands behind one thing or an answer."""

from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from assessments.models import Board
from audit.exceptions import AuditError
from audit.models import EvidencePack
from audit.presenters.pack_contents import PackContents
from audit.services import evidence_packs as services
from certification.domain.known_at import known_through
from certification.models import Certificate, Scope
from people.models import Person, Role, Site, User

from .check_work_log import day_or_instant


class Command(BaseCommand):
    help = (
        "Put an evidence pack together: a BagIt bag, zipped, of everything that stands behind a "
        "certificate, a person or a board, or of who was certified for some scopes between two "
        "days. It is asked for in the name of somebody who is quality, holds what they may read, "
        "and goes on where a run that was stopped left it."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--by", required=True, metavar="NUMBER", help="who asks, by sign-in")
        parser.add_argument("--output", required=True, type=Path, metavar="FILE", help="the ZIP")
        about = parser.add_mutually_exclusive_group(required=True)
        about.add_argument("--certificate", metavar="NUMBER", help="about one certificate")
        about.add_argument("--person", metavar="NUMBER", help="about one person")
        about.add_argument("--board", metavar="NUMBER", help="about one board")
        about.add_argument(
            "--from", dest="first_day", type=date.fromisoformat, metavar="DAY", help="first day"
        )
        about.add_argument("--go-on", metavar="PACK", help="with a pack that was asked for already")
        parser.add_argument(
            "--through", dest="last_day", type=date.fromisoformat, metavar="DAY", help="last day"
        )
        parser.add_argument(
            "--scope", action="append", default=[], metavar="CODE", help="all scopes without it"
        )
        parser.add_argument(
            "--as-known-at",
            type=day_or_instant,
            metavar="T",
            help="tell beside it what was known by then; a bare day means its end",
        )

    def handle(self, **options: Any) -> None:
        output: Path = options["output"]
        if output.exists():
            raise CommandError(f"{output} is there already: name a file that is not.")
        if not output.parent.is_dir():
            raise CommandError(f"{output.parent} is no folder: make it first.")
        pack = self._pack(options)
        self.stdout.write(f"{pack.number}: the end of the trail is {self._head_of(pack)}.")
        while pack.finished_at is None:
            before = pack.attempts
            services.build_pack(
                pack_id=pack.pk, clock=timezone.now, contents_of=PackContents, round_lasts=None
            )
            pack.refresh_from_db()
            if pack.finished_at is None and pack.attempts == before:
                raise CommandError(
                    f"{pack.number} is in a worker's hands: go on with it later by "
                    f"--go-on {pack.number}."
                )
        if pack.is_begun_anew:
            self.stdout.write(
                f"Records were removed, or boards of it judged, meanwhile: {pack.number} was put "
                f"together anew, and the end of the trail is {self._head_of(pack)}."
            )
        if pack.state != EvidencePack.State.FINISHED:
            raise CommandError(pack.failure or f"The file of {pack.number} was thrown away.")
        try:
            with open(output, "xb") as target:
                services.copy_of(pack, target)
        except OSError as error:
            raise CommandError(f"{output} cannot be written: {error.strerror}.") from None
        self.stdout.write(f"{output}: {pack.done} files, {pack.size_bytes:,} bytes.")
        self.stdout.write(f"SHA-256 {pack.sha256}")
        self.stdout.write(f"Seal {pack.seal}")

    @staticmethod
    def _head_of(pack: EvidencePack) -> str:
        return f"{pack.head_id}-{pack.head.entry_hash}" if pack.head else ""

    def _pack(self, options: dict[str, Any]) -> EvidencePack:
        actor = User.objects.filter(employee_number=options["by"]).first()
        if actor is None or not actor.is_active:
            raise CommandError(f"Nobody signs in as {options['by']}.")
        if options["go_on"]:
            return _found(EvidencePack, number=options["go_on"], asked_by=actor)
        thing: dict[str, Any] = {}
        if options["certificate"]:
            thing["certificate"] = _found(Certificate, number=options["certificate"])
        if options["person"]:
            thing["person"] = _found(Person, employee_number=options["person"])
        if options["board"]:
            thing["board"] = _found(Board, number=options["board"])
        if thing and (options["scope"] or options["last_day"]):
            raise CommandError("--scope and --through go with --from.")
        site = self._site(actor, next(iter(thing.values()), None))
        known_at = options["as_known_at"]
        try:
            return services.request_pack(
                actor=actor,
                site=site,
                at=timezone.now(),
                scopes=[_found(Scope, code=code) for code in options["scope"]],
                first_day=options["first_day"],
                last_day=options["last_day"],
                known_at=known_through(known_at, site.zone) if known_at else None,
                **thing,
            )
        except AuditError as error:
            raise CommandError(str(error)) from None

    @staticmethod
    def _site(actor: User, thing: Any) -> Site:
        """Where the actor is quality: the thing's own site, and theirs for a question."""
        quality_at = Site.objects.filter(pk__in=actor.sites_as(Role.QUALITY)).order_by("pk")
        if isinstance(thing, Certificate):
            thing = thing.person
        owner = thing if thing is not None else actor.person
        site = quality_at.filter(pk=owner.site_id).first() if owner is not None else None
        if site is None and thing is None:
            site = quality_at.first()
        if site is None:
            raise CommandError(f"{actor.employee_number} is not quality where that belongs to.")
        return site


def _found(model: Any, **by: Any) -> Any:
    found = model.objects.filter(**by).first()
    if found is None:
        named = next(iter(by.values()))
        raise CommandError(f"There is no {model._meta.verbose_name} {named} for this.")
    return found
