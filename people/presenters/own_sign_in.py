"""The page on which people see what was done with their own sign-in."""

from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.models import User
from people.queries.own_sign_in import SignInAct, own_sign_in_acts

WORDS = {
    "signed in": gettext_lazy("Signed in"),
    "signed in with a one-time password": gettext_lazy("Signed in with a one-time password"),
    "signed out": gettext_lazy("Signed out"),
    "sign-in refused": gettext_lazy("Signing in refused"),
    "password refused": gettext_lazy("Wrong password where it was asked for again"),
    "password refused at a tablet": gettext_lazy("Wrong password at a shared tablet"),
    "tablet opened by badge and PIN": gettext_lazy("Opened a shared tablet by badge and PIN"),
    "tablet opened in full": gettext_lazy("Opened a shared tablet with the password"),
    "link to a new password sent": gettext_lazy("Link to a new password sent"),
    "password changed": gettext_lazy("Password changed"),
    "password chosen after a one-time one": gettext_lazy("Password chosen after a one-time one"),
    "password set by a link": gettext_lazy("Password set by a link"),
    "password given": gettext_lazy("One-time password given"),
    "password taken away": gettext_lazy("Password taken away, for a new one to be chosen"),
    "sign-in opened": gettext_lazy("Sign-in opened"),
    "sign-in opened again": gettext_lazy("Sign-in opened again"),
    "sign-in closed": gettext_lazy("Sign-in closed"),
    "sign-in address changed": gettext_lazy("E-mail address changed"),
    "roles set": gettext_lazy("Roles set"),
    "administrator made": gettext_lazy("Made administrator at the terminal"),
    "provider linked": gettext_lazy("Linked to the provider"),
    "provider unlinked": gettext_lazy("Link to the provider undone"),
    "second factor refused": gettext_lazy("Wrong code where a second factor was asked for"),
    "second factor added": gettext_lazy("Second factor added"),
    "second factor removed": gettext_lazy("Second factor removed"),
    "second factor reset": gettext_lazy("Second factor taken away"),
    "recovery codes made anew": gettext_lazy("New recovery codes made"),
    "recovery code used": gettext_lazy("Recovery code used"),
    "sign-in code printed": gettext_lazy("Letter with a code printed"),
    "password chosen by a printed code": gettext_lazy("Password chosen by the code of a letter"),
    "printed code refused": gettext_lazy("Wrong or spent code of a letter"),
    "printed PIN given at a tablet": gettext_lazy("Printed PIN given at a shared tablet"),
    "PIN chosen after a printed one": gettext_lazy("PIN chosen after a printed one"),
    "sign-in reset on return": gettext_lazy("Sign-in reset on coming back"),
    "personal data handed out": gettext_lazy("File of personal data made"),
    "badge and PIN set": gettext_lazy("Badge and PIN set"),
    "badge and PIN removed": gettext_lazy("Badge and PIN given up"),
}
REFUSALS = {
    "sign-in refused",
    "password refused",
    "password refused at a tablet",
    "second factor refused",
    "printed code refused",
}


@dataclass(frozen=True)
class Line:
    at: datetime
    words: str
    details: str
    is_refusal: bool


def lines(user: User) -> list[Line]:
    return [
        Line(act.at, str(WORDS.get(act.act, act.act)), _details(act), act.act in REFUSALS)
        for act in own_sign_in_acts(user)
    ]


def _details(act: SignInAct) -> str:
    parts = []
    if act.address:
        parts.append(_("from %(address)s") % {"address": act.address})
    if act.by:
        parts.append(_("by %(name)s") % {"name": act.by})
    if act.before or act.after:
        none = _("none")
        before, after = (", ".join(texts) or none for texts in (act.before, act.after))
        parts.append(_("before: %(before)s; now: %(after)s") % {"before": before, "after": after})
    return "; ".join(parts)
