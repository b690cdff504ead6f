"""Scenes for the tests of web hooks: one that is made, and what it was told."""

import json

from interfaces.models import HookEvent, WebHookDelivery
from interfaces.services import web_hooks as hooks
from tests.factories import make_site, make_user
from tests.reminders.reminder_scenes import NOW

EVERYTHING = list(HookEvent.values)


def make_hook(address="https://plant.example.org/events", events=EVERYTHING, site=None, at=NOW):
    site = site or make_site()
    return hooks.make_hook(
        site=site,
        name="Plant",
        address=address,
        events=events,
        actor=make_user("administrator", site=site),
        at=at,
    )


def deliveries_to(hook=None):
    """The bodies in the ledger, in the order in which they were written."""
    deliveries = WebHookDelivery.objects.order_by("pk")
    if hook is not None:
        deliveries = deliveries.filter(hook=hook)
    return [json.loads(bytes(delivery.body)) for delivery in deliveries]


def events(hook=None):
    return [body["event"] for body in deliveries_to(hook)]
