"""Signs of life that background processes leave in the database, whatever the queue is."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class Heartbeat(models.Model):
    """The last time one process, or one kind of work, was seen alive: overwritten each time."""

    class Kind(models.TextChoices):
        WEB = "web", _("start of the web process")
        WORKER = "worker", _("worker")
        CLOCK = "clock", _("clock")
        SWEEP = "sweep", _("sweep")
        SENDING = "sending", _("sending")
        FILES = "files", _("the bucket of files")
        BACK_UPS = "back_ups", _("the bucket of back-ups")

    kind = models.CharField(_("kind"), max_length=12, choices=Kind.choices)
    name = models.CharField(
        _("name"), max_length=120, blank=True, help_text=_("Of the process; empty for work.")
    )
    at = models.DateTimeField(_("seen"))

    class Meta:
        ordering = ["kind", "name"]
        constraints = [
            models.UniqueConstraint(fields=["kind", "name"], name="heartbeat_one_a_name")
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.name}".strip()
