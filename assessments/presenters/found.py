"""Boards and criteria as the search finds them."""

from django.db.models import CharField, Exists, OuterRef, Q, When
from django.db.models.expressions import Value
from django.db.models.fields.json import KT
from django.db.models.functions import Cast, Coalesce
from django.urls import reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from assessments.access import boards_readable_by, criteria_sets_readable_by
from assessments.models import Criterion
from people.models import User
from people.presenters.search import Hit, join
from people.queries.finding import (
    BEGINS,
    EXACT,
    PART,
    Sought,
    name_match,
    number_matches,
    number_rank,
    rank,
)


def boards(user: User, sought: Sought, most: int) -> list[Hit]:
    """By their serial number; those made by mistake come last."""
    found = (
        boards_readable_by(user)
        .filter(number_matches(sought, "number"))
        .annotate(
            rank=number_rank(sought, "number"),
            gone=rank(When(cancelled_at__isnull=False, then=Value(1)), default=0),
        )
        .select_related("person", "exercise")
        .order_by("rank", "gone", "-number")
    )
    return [
        Hit(
            board.number,
            board.person.full_name,
            join(
                (
                    board.exercise.title,
                    board.get_purpose_display(),
                    board.unit and _("unit %(unit)s") % {"unit": board.unit},
                    board.work_order
                    and _("work order %(work_order)s") % {"work_order": board.work_order},
                    board.cancelled_at is not None and _("cancelled"),
                )
            ),
            reverse("assessments:board_detail", args=[board.number]),
            board.rank,
        )
        for board in found[: most + 1]
    ]


def criteria(user: User, sought: Sought, most: int) -> list[Hit]:
    """By their code or the words of the title, in the sets that boards begin with now."""
    language = (get_language() or "en").split("-")[0]
    own, english = (
        name_match(sought, _title(f"texts__{key}__title"), alias)
        for key, alias in ((language, "own_title"), ("en", "english_title"))
    )
    current = criteria_sets_readable_by(user).current()
    newer = current.filter(
        title=OuterRef("criteria_set__title"), revision__gt=OuterRef("criteria_set__revision")
    )
    found = (
        Criterion.objects.filter(criteria_set__in=current.order_by().values("pk"))
        .alias(**own.alias, **english.alias)
        .filter(~Exists(newer), own.matches | english.matches | number_matches(sought, "code"))
        .annotate(
            rank=rank(
                When(Q(code__iexact=sought.text) | own.exact | english.exact, then=Value(EXACT)),
                When(
                    Q(code__istartswith=sought.text) | own.begins | english.begins,
                    then=Value(BEGINS),
                ),
                default=PART,
            )
        )
        .select_related("criteria_set")
        .order_by("rank", "-criteria_set__published_at", "order", "pk")
    )
    return [
        Hit(
            criterion.code,
            criterion.title,
            str(criterion.criteria_set),
            reverse("assessments:criteria_set_detail", args=[criterion.criteria_set_id])
            + f"#c-{criterion.code}",
            criterion.rank,
        )
        for criterion in found[: most + 1]
    ]


def _title(path: str) -> Coalesce:
    return Coalesce(Cast(KT(path), CharField()), Value(""), output_field=CharField())
