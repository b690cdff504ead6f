"""Criteria sets in relation to each other: what precedes a draft, what is used, what is left."""

import hashlib
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db.models import Exists, Q

from assessments.models import CriteriaSet, Criterion, CriterionDrawing, ExerciseCriteria
from people.models import Site
from records.domain.canonical import as_json_value, canonical_text

FIELDS = (
    "stage",
    "of",
    "joint_types",
    "alloys",
    "how",
    "quantity",
    "low",
    "high",
    "unit",
    "datum",
    "by_eye",
    "severity",
    "demerits",
    "accept_drawing",
    "reject_drawing",
    "more_reject_drawings",
    "document",
    "edition",
    "clause",
    "source_note",
)
"""What of a criterion is changed in a draft, beside its texts."""
TEXTS = ("title", "text", "reject", "advice")


def languages() -> list[str]:
    return [code for code, _name in settings.LANGUAGES]


def text_name(key: str, language: str) -> str:
    """What a text in one language is called among the fields of a criterion: ``title_de``."""
    return f"{key}_{language}"


TEXT_NAMES = tuple(text_name(key, language) for language in languages() for key in TEXTS)


def state_of(criterion: Criterion) -> dict[str, Any]:
    """Everything that a draft may change of a criterion, flat, in what JSON can hold."""
    state = {name: _plain(getattr(criterion, name)) for name in FIELDS}
    for language in languages():
        said = criterion.texts.get(language, {})
        state |= {text_name(key, language): said.get(key, "") for key in TEXTS}
    return state


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return format(value.normalize(), "f")
    return "" if value is None else value


def digest_of(criterion: Criterion) -> str:
    """Tells two states of a criterion apart: what a page showed, and what stands there now."""
    return _sha256(state_of(criterion))


def draft_digest(criteria_set: CriteriaSet) -> str:
    """The same of a set as a whole, with its order and with who confirmed what."""
    rows = criteria_set.criteria.all()
    return _sha256(
        {
            "set": [
                criteria_set.summary,
                criteria_set.document,
                criteria_set.product_class,
                criteria_set.by_default,
            ],
            "dropped": criteria_set.dropped,
            "criteria": [
                [
                    criterion.code,
                    state_of(criterion),
                    criterion.confirmed_by_id,
                    criterion.also_confirmed_by_id,
                ]
                for criterion in rows
            ],
        }
    )


def _sha256(value: Any) -> str:
    return hashlib.sha256(canonical_text(as_json_value(value)).encode()).hexdigest()


def earlier_of(criteria_set: CriteriaSet) -> CriteriaSet | None:
    """What a revision is compared with: what it began from, else the published one before it."""
    if criteria_set.begun_from is not None:
        return criteria_set.begun_from
    return (
        CriteriaSet.objects.filter(
            title=criteria_set.title,
            revision__lt=criteria_set.revision,
            published_at__isnull=False,
        )
        .order_by("-revision")
        .first()
    )


def codes_used(title: str) -> dict[str, str]:
    """Every code that any revision of a title has ever used, with the set that used it last."""
    used: dict[str, str] = {}
    for made in CriteriaSet.objects.filter(title=title).prefetch_related("criteria"):
        for code in (*made.dropped, *(criterion.code for criterion in made.all_criteria)):
            used.setdefault(code, str(made))
    return used


def two_confirm() -> bool:
    """Whether any site asks that a second person confirms criteria too."""
    return Site.objects.filter(criteria_by_two=True).exists()


def unconfirmed(criteria: Iterable[Criterion], *, by_two: bool) -> list[Criterion]:
    """Those whose document nobody, or where two are asked for no second person, has read."""
    return [
        criterion
        for criterion in criteria
        if criterion.confirmed_at is None or (by_two and criterion.also_confirmed_at is None)
    ]


def unconfirmed_rows(prefix: str = "") -> Q:
    """The same as a condition on criteria, or on what has some under the prefix."""
    nobody = Q(**{f"{prefix}confirmed_at__isnull": True})
    return nobody | Q(**{f"{prefix}also_confirmed_at__isnull": True}) if two_confirm() else nobody


def set_for(exercise_code: str) -> CriteriaSet | None:
    """The set in force that a reading of an exercise's board begins with.

    An exercise that names a set by its title goes by the revision of it that is in force, and
    by no other where none is. Any other goes by what was published last of the sets that judge
    by default.
    """
    named = ExerciseCriteria.objects.filter(exercise_code=exercise_code).exclude(title="")
    return (
        CriteriaSet.objects.current()
        .filter(Q(title__in=named.values("title")) | Q(~Exists(named), by_default=True))
        .first()
    )


def default_set() -> CriteriaSet | None:
    """The set that boards are judged by whose exercise names none."""
    return CriteriaSet.objects.current().filter(by_default=True).first()


def exercises_naming(title: str) -> list[str]:
    return list(
        ExerciseCriteria.objects.filter(title=title)
        .order_by("exercise_code")
        .values_list("exercise_code", flat=True)
    )


def own_drawings() -> list[tuple[str, str]]:
    """Every drawing of the organisation's own by its name, with what it shows."""
    return [(drawing.name, drawing.title) for drawing in CriterionDrawing.objects.defer("data")]


def site_drawings(names: Iterable[str]) -> dict[str, CriterionDrawing]:
    """The site's own among drawings, by the name that criteria give them."""
    hashes = [
        name.removeprefix(CriterionDrawing.PREFIX)
        for name in names
        if name.startswith(CriterionDrawing.PREFIX)
    ]
    return {
        drawing.name: drawing
        for drawing in CriterionDrawing.objects.filter(sha256__in=hashes).defer("data")
    }
