"""What the paper and the public page say of how a certificate stands, in words and shapes."""

from django.utils.translation import gettext_lazy as _

from certification.domain.public_standing import PublicState

from .standing_words import NOT_CURRENT_REASON

STATES = {
    PublicState.STANDS: _("It stands today."),
    PublicState.NOT_YET: _("It does not count yet: its first day is still ahead."),
    PublicState.REPLACED: _("A later certificate for the same work has taken its place."),
    PublicState.NOT_CURRENT: NOT_CURRENT_REASON,
    PublicState.SUSPENDED: _("It is suspended."),
    PublicState.REVOKED: _("It was revoked."),
    PublicState.WITHDRAWN: _("It was withdrawn as entered in error and never counted."),
}

SHAPES = {
    PublicState.STANDS: "certified",
    PublicState.NOT_YET: "open",
    PublicState.REPLACED: "never",
    PublicState.NOT_CURRENT: "expired",
    PublicState.SUSPENDED: "suspended",
    PublicState.REVOKED: "revoked",
    PublicState.WITHDRAWN: "never",
}
