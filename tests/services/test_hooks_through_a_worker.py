"""A worker tells web hooks; one that is killed after the other side took it repeats the same."""

from datetime import timedelta

import pytest
from django.utils import timezone

from interfaces.models import WebHookDelivery
from reminders.models.reminders import CLAIM_LAPSES_AFTER
from tests.factories import make_certificate, make_person
from tests.interfaces.web_hook_scenes import make_hook
from tests.services.hook_server import HookServer
from tests.services.processes import kill, wait_until

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]

TELL = "web_hooks.send"


@pytest.fixture
def plant(settings):
    settings.WEB_HOOKS_TO_LOOPBACK = True
    started = HookServer()
    yield started
    started.stop()


def taken():
    return WebHookDelivery.objects.filter(accepted_at__isnull=False).count()


def certify(number=1):
    today = timezone.now().date()
    for _ in range(number):
        make_certificate(make_person(), issued_on=today - timedelta(days=2))


def test_worker_tells_what_is_news(plant, start_worker, send):
    make_hook(plant.address, at=timezone.now())
    certify(3)
    start_worker()
    send(TELL)
    send(TELL)
    wait_until(lambda: taken() == 3)
    assert len(plant.ids) == len(set(plant.ids)) == 3


def test_worker_killed_between_sending_and_recording_repeats_the_same(plant, start_worker, send):
    make_hook(plant.address, at=timezone.now())
    certify()
    plant.slow_s = 5.0
    worker = start_worker()
    send(TELL)
    wait_until(lambda: len(plant.given) == 1)
    kill(worker)
    assert taken() == 0, "the other side has it, and nobody wrote that down"
    plant.slow_s = 0.0
    lapsed = timezone.now() - CLAIM_LAPSES_AFTER - timedelta(minutes=1)
    WebHookDelivery.objects.filter(claimed_at__isnull=False).update(claimed_at=lapsed)
    start_worker()
    send(TELL)
    wait_until(lambda: taken() == 1)
    first, second = plant.given[:2]
    assert first.body == second.body
    assert len(set(plant.ids)) == 1
