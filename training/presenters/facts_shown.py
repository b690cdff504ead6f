"""What a page shows of a fact that is to be withdrawn, line by line."""

from datetime import datetime

from django.utils.translation import gettext as _

from people.models import Person
from people.presenters.days import format_day
from records.domain.shown import Line, Shown, digest_of
from training.models import PracticeRecord, VisionTest
from training.queries import written_down


def vision_test_shown(test: VisionTest, at: datetime) -> Shown:
    """A vision test, to whoever withdraws it."""
    lines = {
        **_of_person(test.person),
        _("Day of the test"): Line(format_day(test.tested_on)),
        _("Result"): Line(_("passed") if test.passed else _("not passed")),
        _("Examiner"): Line(test.examiner),
    }
    return Shown(digest_of(written_down.test_to_withdraw(test)), at, lines)


def practice_shown(practice: PracticeRecord, at: datetime) -> Shown:
    """Work done within a scope, to whoever withdraws it."""
    lines = {
        **_of_person(practice.person),
        _("Scope"): Line(practice.scope_code),
        _("Day of the work"): Line(format_day(practice.performed_on)),
        _("Unit or work order"): Line(practice.reference),
    }
    return Shown(digest_of(written_down.practice_to_withdraw(practice)), at, lines)


def _of_person(person: Person) -> dict[str, Line]:
    return {
        _("Name"): Line(person.full_name),
        _("Employee number"): Line(person.employee_number),
    }
