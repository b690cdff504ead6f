"""A page of the register takes its length from the counts, which say what the list holds."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from certification.forms.register import STANDINGS
from certification.models import CertificateEvent
from certification.presenters import register
from certification.services import standing
from people.models import SiteRole
from tests.factories import (
    NOW,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def today():
    return make_site().today()


@pytest.fixture
def scopes():
    return [make_scope(), make_scope()]


@pytest.fixture
def everybody(today, scopes):
    """Two sites; a lead of some at both, who reads in full at one of them alone."""
    here, there = make_site(), make_site("Aldergate", "AL")
    lead = make_person(full_name="Lena Lead", site=here)
    for number in range(12):
        person = make_person(
            site=there if number % 3 == 0 else here,
            line_lead=lead if number % 2 else None,
            left_on=today - timedelta(days=5) if number == 7 else None,
        )
        for place, scope in enumerate(scopes[: number % 3]):
            # The first of them ends within weeks, is over, or has no vision test.
            revision = make_revision(scope, vision_months=12 if number % 4 == 1 else 0)
            certificate = make_certificate(
                person,
                scope,
                revision=revision,
                issued_on=today - timedelta(days=(100, 690, 800)[(number + place) % 3]),
            )
            if number == 8:
                CertificateEvent.objects.create(
                    event_id=f"E-{certificate.pk}",
                    certificate=certificate,
                    kind="suspended",
                    effective_on=today,
                    recorded_at=NOW,
                )
                standing.rebuild_spans(person, scope)
    return {"here": here, "there": there, "lead": lead}


@pytest.fixture(params=["quality", "lead", "lead and instructor elsewhere"])
def user(request, everybody):
    if request.param == "quality":
        user = make_user("quality", site=everybody["here"])
        SiteRole.objects.create(user=user, role="quality", site=everybody["there"])
        return user
    user = make_user("line_lead", person=everybody["lead"], site=everybody["here"])
    if request.param != "lead":
        SiteRole.objects.create(user=user, role="instructor", site=everybody["there"])
    return user


@pytest.mark.parametrize("days", [0, -300, 60])
def test_counts_say_how_long_the_list_is(user, today, scopes, everybody, days):
    seen = set()
    for chosen in [one for one, _label in STANDINGS]:
        if chosen and chosen not in register.standings_told(user):
            continue
        for scope in (None, scopes[0]):
            for order in ("name", "lead", "standing", "end"):
                filters = register.RegisterFilters(
                    day=today + timedelta(days=days), standing=chosen, scope=scope, order=order
                )
                if order in register.ORDERS_OF_LINES:
                    lines = register.LinesInOrder(user, filters)
                    listed = list(lines)
                    assert len(lines) == len(listed), filters
                    assert lines[0:100] == listed, filters
                    assert lines[1:3] == listed[1:3], filters
                else:
                    listed = list(register.people_who_match(user, filters))
                    counted = register.counts(user, filters)
                    assert counted["people"] == len(listed), filters
                seen.add(len(listed))
    assert len(seen) > 3


@pytest.mark.parametrize("order", ["name", "end"])
def test_list_is_not_gone_over_once_more_for_its_length(client, user, everybody, order):
    client.force_login(user)

    with CaptureQueriesContext(connection) as queries:
        client.get("/register/", {"order": order})

    counting = [query["sql"] for query in queries if query["sql"].startswith("SELECT COUNT")]
    assert len([sql for sql in counting if '"certification_standingspan"' in sql]) == 1
    # Of the list itself; the menu counts the proposals that wait for quality beside it.
    of_the_list = [sql for sql in counting if '"certification_proposal"' not in sql]
    assert len(of_the_list) == 2
