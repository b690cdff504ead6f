"""What the facts of every app have in common."""

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _


class Recorded(models.Model):
    """A fact that knows since when this register has known it.

    The day a fact holds from is a field of its own; ``recorded_at`` answers the second
    question, what could have been known at an instant.
    """

    recorded_at = models.DateTimeField(
        _("recorded at"), default=timezone.now, editable=False, db_index=True
    )

    class Meta:
        abstract = True
