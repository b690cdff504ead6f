"""What every machine of a site has to have the same, by a mark that is compared."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class SharedMark(models.Model):
    """The mark of one thing, as the first of several machines that started noted it.

    Of one running site, and in no back-up: a restored one notes its own.
    """

    class What(models.TextChoices):
        SECRET_KEY = "SECRET_KEY", _("secret key")
        BACK_UP_DIR = "BACK_UP_DIR", _("folder of back-ups")
        OLD_PHOTOS_DIR = "OLD_PHOTOS_DIR", _("folder of old photographs")

    what = models.CharField(_("what"), max_length=20, choices=What.choices, primary_key=True)
    mark = models.CharField(
        _("mark"),
        max_length=64,
        blank=True,
        help_text=_("Of a key its digest, of a folder what a file in it says."),
    )

    def __str__(self) -> str:
        return self.what
