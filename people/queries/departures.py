"""What somebody's last day ends by itself, and what it leaves for others to see to."""

from datetime import date

from django.utils.translation import gettext as _

from people import ports
from people.models import Person, Stamp
from people.ports import OpenMatter

from .reach import sign_in_of


def matters_of_departure(person: Person, last_day: date) -> list[OpenMatter]:
    """What ends the day after the last, then what stays open; empty where nothing hangs on them."""
    user = sign_in_of(person)
    sign_ins, roles = [], []
    if user is not None and user.is_active:
        sign_ins.append(user.employee_number)
        held = user.roles.select_related("site").order_by("site__name", "role")
        roles = [f"{role.get_role_display()}, {role.site}" for role in held]
    led = Person.objects.filter(line_lead=person).at_work_on(last_day)
    stamps = Stamp.objects.filter(person=person, returned_on__isnull=True)
    own = [
        OpenMatter(_("Sign-in"), tuple(sign_ins), ends=True),
        OpenMatter(_("Roles"), tuple(roles), ends=True),
        OpenMatter(_("People they lead"), tuple(map(str, led))),
        OpenMatter(_("Stamps not returned"), tuple(map(str, stamps))),
    ]
    matters = [matter for matter in own if matter.items] + ports.open_matters(person, last_day)
    return sorted(matters, key=lambda matter: not matter.ends)
