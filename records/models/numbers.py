"""Series of public numbers."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class NumberSeries(models.Model):
    """How far one site has counted one kind of thing; it only ever goes up."""

    prefix = models.CharField(_("prefix"), max_length=8)
    kind = models.CharField(_("kind"), max_length=8)
    last = models.PositiveBigIntegerField(_("last number given"), default=0)

    class Meta:
        ordering = ["prefix", "kind"]
        verbose_name = _("series of numbers")
        verbose_name_plural = _("series of numbers")
        constraints = [
            models.UniqueConstraint(
                fields=["prefix", "kind"], name="number_series_one_per_prefix_and_kind"
            )
        ]

    def __str__(self) -> str:
        return f"{self.prefix}-{self.kind}"
