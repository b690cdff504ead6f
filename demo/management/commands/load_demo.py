"""Fill an empty database with the demo."""

import time

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from demo.scenario import loading as scenario
from operations.queries import own_machine


class Command(BaseCommand):
    help = "Fills an empty database with the demo: two sites, some forty people, their boards."

    def add_arguments(self, parser) -> None:
        parser.add_argument(
            "--if-empty",
            action="store_true",
            help="Do nothing where there are people already, instead of refusing.",
        )
        parser.add_argument("--seed", type=int, default=scenario.SEED)
        parser.add_argument(
            "--bind", default=settings.BIND, help="Where the site is to listen (default: BIND)."
        )

    def handle(self, *args, **options) -> None:
        begun = time.monotonic()
        try:
            own_machine.refuse_demo_elsewhere(bind=options["bind"])
            scenario.load(seed=options["seed"], say=lambda text: self.stdout.write(f"  {text}"))
        except own_machine.DemoRefused as error:
            raise CommandError(str(error)) from error
        except scenario.NotEmpty as error:
            if options["if_empty"]:
                return
            raise CommandError(str(error)) from error
        self.stdout.write(f"Demo loaded in {time.monotonic() - begun:.0f} s.")
