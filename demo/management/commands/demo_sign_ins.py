"""Print how to sign in to the demo, where there is one."""

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from demo.scenario.people import PASSWORD
from operations.queries import own_machine
from people.models import Installation, User

SHOWN = (
    ("10001", "instructor"),
    ("10002", "instructor"),
    ("10007", "instructor"),
    ("10003", "quality"),
    ("10101", "operator"),
    ("10201", "trainee"),
    ("10004", "line lead"),
    ("10006", "administrator"),
)


class Command(BaseCommand):
    help = "Prints the address and the demo's sign-ins; only the address where there is no demo."

    def add_arguments(self, parser) -> None:
        parser.add_argument(
            "--bind", default=settings.BIND, help="Where the site listens (default: BIND)."
        )

    def handle(self, *args, **options) -> None:
        try:
            own_machine.refuse_loaded_demo_elsewhere(bind=options["bind"])
        except own_machine.DemoRefused as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"\n  {settings.PUBLIC_URL}\n")
        if not Installation.is_demo():
            return
        self.stdout.write(f"  Demo sign-ins, all with the password {PASSWORD}:\n")
        users = User.objects.select_related("person").in_bulk(
            [number for number, _role in SHOWN], field_name="employee_number"
        )
        for number, role in SHOWN:
            if number in users:
                self.stdout.write(f"    {number}  {role:14} {users[number].get_full_name()}")
        self.stdout.write("")
