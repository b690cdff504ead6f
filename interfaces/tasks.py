"""Background work: web hooks."""

from celery import shared_task
from django.utils import timezone

from interfaces.services import web_hook_sending, web_hooks

ROUND_S = 200.0  # after which a round of sending leaves the rest to the next


@shared_task(name="web_hooks.send")
def send_web_hooks() -> int:
    """Write what is news to web hooks, then send what is due; run by beat every minute."""
    web_hooks.write_due_deliveries(timezone.now())
    return web_hook_sending.send_due(clock=timezone.now, within_s=ROUND_S).taken
