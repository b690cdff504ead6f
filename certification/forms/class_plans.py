"""For which sites and period a plan of classes is worked out, and who is moved in it."""

from datetime import timedelta
from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.db.models import QuerySet
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from certification.domain.months import add_months
from certification.models import ClassPlan
from people.access import ROW_NUMBER, row_number
from people.forms.fields import DayInput, RowsField, form_helper
from people.models import Site

MONTHS_AT_FIRST = 5


class ClassPlanForm(forms.Form):
    first_day = forms.DateField(label=_("Rights that end from"), widget=DayInput)
    through = forms.DateField(
        label=_("Through"),
        widget=DayInput,
        help_text=_("Only classes that end by this day are looked at."),
    )
    sites = RowsField(Site.objects.none(), label=_("Sites"), widget=forms.CheckboxSelectMultiple)
    travel = forms.BooleanField(
        label=_("People may go to classes of the other sites"), required=False
    )

    def __init__(self, *args: Any, sites: QuerySet[Site], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["sites"].queryset = sites  # type: ignore[attr-defined]
        days = Div("first_day", "through", css_class="fields-row")
        first = sites.first()
        if first is not None:
            today = first.today()
            self.initial = {
                "first_day": today,
                "through": add_months(today, MONTHS_AT_FIRST) - timedelta(days=1),
                "sites": [site.pk for site in sites],
            }
        if len(sites) < 2:
            del self.fields["travel"]
        self.helper = form_helper(days, "sites", *(["travel"] if "travel" in self.fields else []))

    def clean(self) -> dict[str, Any]:
        """Nobody travels where there is one site, and the question is not asked."""
        return {"travel": False} | self.cleaned_data

    def clean_sites(self) -> list[Site]:
        return list(self.cleaned_data["sites"])


def version_sent(data: QueryDict) -> int:
    """The version of the plan that a page showed; one that none has for anything else."""
    text = data.get("version", "")
    return int(text) if ROW_NUMBER.fullmatch(text) else -1


def choices_sent(data: QueryDict, plan: ClassPlan) -> dict[int, int | None]:
    """The class chosen in each line of the plan that was sent; None is no class."""
    chosen: dict[int, int | None] = {}
    for pk in plan.needs.values_list("pk", flat=True):
        text = data.get(f"need_{pk}")
        if text is not None:
            chosen[pk] = row_number(text) if text else None
    return chosen
