"""Whether somebody's own standing lets them judge others' work."""

from collections.abc import Collection
from datetime import date

from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from certification.domain.standing import Standing
from certification.models import Scope, StandingSpan
from people.models import User
from people.presenters.days import format_day
from training.models import JointType

from . import schemes_in_force as schemes

GRADER_LEVELS = (Scope.Level.INSPECTOR, Scope.Level.INSTRUCTOR)

STANDING_WORDS = {
    Standing.REVOKED: gettext_lazy("revoked"),
    Standing.SUSPENDED: gettext_lazy("suspended"),
    Standing.EXPIRED: gettext_lazy("expired"),
    Standing.VISION_NOT_CURRENT: gettext_lazy("vision test not current"),
    Standing.PRACTICE_LAPSED: gettext_lazy("practice lapsed"),
}


def grader_spans(person_id: int | None, day: date) -> list[StandingSpan]:
    """How somebody stands that day as inspector or instructor, scope by scope."""
    if person_id is None:
        return []
    return list(
        StandingSpan.objects.on(day)
        .filter(person=person_id, scope__level__in=GRADER_LEVELS)
        .select_related("scope", "certificate")
    )


def may_grade(user: User, joint_types: Collection[str], day: date) -> str:
    """Empty where the user's standing lets them judge these joint types that day, else why not.

    A joint type asks for standing where a scheme in force certifies operators for it and says
    that its graders need standing. The grader then has to be certified on the day, as
    inspector or instructor, for a scope with that joint type in it. Joint types that no scheme
    speaks of ask for nothing.
    """
    asked = schemes.joint_types_needing_standing()
    needed = {name for name in joint_types if name in asked}
    if not needed:
        return ""
    spans = grader_spans(user.person_id, day)
    held = {
        name
        for span in spans
        if span.standing == Standing.CERTIFIED
        for name in span.scope.joint_types
    }
    missing = needed - held
    if not missing:
        return ""
    names = get_text_list(
        [str(label) for value, label in JointType.choices if value in missing], _("and")
    )
    schemes_said = get_text_list(sorted(set().union(*(asked[name] for name in missing))), _("and"))
    sentence = _(
        "To judge this board on %(day)s you need standing as inspector or instructor for: "
        "%(names)s. %(schemes)s asks for it."
    ) % {"day": format_day(day), "names": names, "schemes": schemes_said}
    lapsed = [
        f"{span.certificate}: {STANDING_WORDS.get(Standing(span.standing), span.standing)}"
        for span in spans
        if missing.intersection(span.scope.joint_types) and span.standing != Standing.CERTIFIED
    ]
    if lapsed:
        return _("%(sentence)s Yours: %(lapsed)s.") % {
            "sentence": sentence,
            "lapsed": ", ".join(lapsed),
        }
    return _("%(sentence)s Ask quality to certify you.") % {"sentence": sentence}
