"""Practice is recorded within the scopes that certificates are issued for."""

import pytest
from django.urls import reverse

from certification.models import Scope
from tests.factories import NOW, make_person, make_user
from training.models import PracticeRecord

pytestmark = pytest.mark.django_db


def test_scopes_in_use_are_offered_and_retired_ones_are_not(client):
    for code, retired_at in (("TERM-OP", None), ("OLD-OP", NOW)):
        Scope.objects.create(
            code=code, title=code, level="operator", joint_types=["turret"], retired_at=retired_at
        )
    person = make_person()
    client.force_login(make_user("instructor"))
    form = reverse("training:practice_new", args=[person.employee_number])

    page = client.get(form).content.decode()
    sent = {"performed_on": "2026-01-20", "reference": "WO-1"}
    refused = client.post(form, {**sent, "scope_code": "OLD-OP"})
    client.post(form, {**sent, "scope_code": "TERM-OP"})

    assert 'value="TERM-OP"' in page
    assert 'value="OLD-OP"' not in page
    assert refused.status_code == 422
    assert PracticeRecord.objects.get().scope_code == "TERM-OP"
