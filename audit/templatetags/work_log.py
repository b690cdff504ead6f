"""Figures of work-log checks, which run into millions."""

from django import template
from django.utils import formats

register = template.Library()


@register.filter
def counted(number: int) -> str:
    """Show a whole number with its thousands apart."""
    return formats.number_format(number, 0, force_grouping=True)
