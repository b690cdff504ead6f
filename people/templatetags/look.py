"""Template tags of the look: shapes with their words, days, drawings, limit lines, QR codes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import segno
from django import template
from django.core.paginator import Page
from django.forms import BaseForm, BoundField
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from people.presenters import days, drawings, quantities
from people.presenters.days import NO_BREAK
from people.presenters.limit_line import LimitLine
from people.presenters.symbols import STANDING_SYMBOLS, VERDICT_SYMBOLS, Symbol

register = template.Library()


# Shapes and words


@register.simple_tag
def shape(name: str, tone: str = "") -> SafeString:
    """Draw one shape of the alphabet; a word must follow it.

    ``{% shape "certified" "is-accept" %}``; the tone is one of ``is-accept``, ``is-reject``,
    ``is-caution``, ``is-none`` or empty.
    """
    return format_html(
        '<svg class="{}" aria-hidden="true"><use href="#m-{}"/></svg>',
        f"shape {tone}".strip(),
        name,
    )


@register.simple_tag
def standing_word(standing: Any, ends_soon: Any = False, note: Any = "") -> SafeString:
    """Show a standing as shape and word.

    ``{% standing_word "certified" ends_soon=True note="ends in 23 days" %}``. With ``ends_soon``
    a certified standing takes the disc with a quarter out. An unknown value is shown as a word
    with a dash, never hidden.
    """
    key = _key(standing)
    if key == "certified" and ends_soon:
        key = "ending"
    return _shape_and_word("standing", STANDING_SYMBOLS, key, note)


@register.simple_tag
def verdict_word(outcome: Any, note: Any = "") -> SafeString:
    """Show an outcome (``accept``, ``remarks``, ``reject``, ``open``) as shape and word."""
    return _shape_and_word("verdict", VERDICT_SYMBOLS, _key(outcome) or "open", note)


@register.simple_tag
def joint_shape(outcome: Any) -> SafeString:
    """Draw the shape of an outcome alone, for a map whose joints are named beside or below."""
    symbol = VERDICT_SYMBOLS.get(_key(outcome), VERDICT_SYMBOLS["open"])
    return SafeString(shape(symbol.shape, symbol.tone))


def _key(value: Any) -> str:
    return str(value or "").strip().lower().replace(" ", "_").replace("-", "_")


def _shape_and_word(kind: str, symbols: dict[str, Symbol], key: str, note: Any) -> SafeString:
    symbol = symbols.get(key, Symbol("na", "is-none", key.replace("_", " ")))
    small = format_html(" <small>{}</small>", note) if note else ""
    return format_html(
        '<span class="{} {}">{}<span>{}{}</span></span>',
        kind,
        symbol.tone,
        shape(symbol.shape),
        symbol.word,
        small,
    )


# Days and figures


@register.filter
def unbroken(number: Any) -> SafeString:
    """Show an identifier such as ``CA-B-00077`` without a line break at its hyphens.

    It moves to the next line as a whole, and breaks only where a line is too short for it.
    """
    return format_html('<span class="unbroken">{}</span>', number)


@register.filter
def long_day(day: Any) -> str:
    """Show a day as ``Wed 25 Nov 2026``, unbroken, inside a ``time`` element."""
    return _time_element(day, days.format_long_page_day)


@register.filter
def short_day(day: Any) -> str:
    """Show a day as ``25 Nov``, unbroken, inside a ``time`` element."""
    return _time_element(day, days.format_short_page_day)


@register.filter
def year_day(day: Any) -> str:
    """Show a day as ``25 Nov 2026``, unbroken, inside a ``time`` element."""
    return _time_element(day, days.format_page_day)


def _time_element(day: Any, format_day: Callable[[dt.date], str]) -> str:
    if not isinstance(day, dt.date):
        return "–" if day in (None, "") else str(day)
    day = days.day_of(day)
    return format_html('<time datetime="{}">{}</time>', day.isoformat(), format_day(day))


@register.filter
def instant(at: Any, zone: Any = None) -> str:
    """Show an instant as ``Wed 25 Nov 2026, 13:50 CET`` in a zone, by default the current one.

    ``{{ signature.at|instant:site.zone }}`` takes a name or a ``tzinfo``.
    """
    if not isinstance(at, dt.datetime):
        return long_day(at)
    return format_html(
        '<time datetime="{}">{}</time>',
        days.local_instant(at, zone).isoformat(timespec="seconds"),
        days.format_instant(at, zone),
    )


@register.filter
def in_days(day: Any, today: Any) -> str:
    """Say how far a day is from today: ``in 7 days``, ``tomorrow``, ``2 days ago``."""
    if not isinstance(day, dt.date) or not isinstance(today, dt.date):
        return ""
    return days.format_distance(day, today)


@register.filter
def hours_and_minutes(minutes: float) -> str:
    """Say about how long something takes: ``12 min``, ``3 h 20 min``."""
    return quantities.format_minutes(minutes)


@register.filter
def score(value: Any) -> str:
    """Show a score with one decimal, rounded down, so that 79.95 never shows as 80.0."""
    return quantities.format_score(value)


@register.simple_tag
def measured(value: Any, u: Any, unit: str = "") -> str:
    """Show a value with its expanded uncertainty (twice ``u``): ``148.0° ± 2.5°``."""
    if value is None:
        return "–"
    shown, expanded = quantities.format_with_uncertainty(
        float(value), None if u is None else float(u)
    )
    text = quantities.with_unit(shown, unit)
    if expanded is None:
        return text
    return f"{text}{NO_BREAK}±{NO_BREAK}{quantities.with_unit(expanded, unit)}"


# Pictures


@register.simple_tag
def drawing(name: Any, label: Any = "", decorative: Any = False) -> SafeString:
    """Put a drawing into the page, so that it follows the page's colours.

    ``{% drawing "turret-wrap-top-accept" %}``. ``label`` replaces the drawing's own description;
    a ``decorative`` drawing is hidden from screen readers. A name without a drawing shows as an
    empty frame with the name in it, or as nothing where it would only decorate.
    """
    of_an_app = drawings.find(str(name), str(label), decorative=bool(decorative))
    if of_an_app is not None:
        return of_an_app
    picture = drawings.file_named(str(name))
    if picture is None and decorative:
        return SafeString("")
    if picture is None:
        return format_html(
            '<svg class="drawing is-missing" viewBox="0 0 160 120" role="img" aria-label="{}">'
            '<path class="d-hidden" d="M8 8H152V112H8Z" fill="none" stroke-width=".9"'
            ' stroke-dasharray="4 2.4"/>'
            '<text class="d-text" x="80" y="64" text-anchor="middle" font-size="10.5">{}</text>'
            "</svg>",
            label or _("No drawing yet"),
            name or _("no drawing"),
        )
    description = (
        SafeString('aria-hidden="true"')
        if decorative
        else format_html('role="img" aria-label="{}"', label or _(picture.label))
    )
    return format_html(
        '<svg class="drawing" viewBox="{}" {}>{}</svg>', picture.box, description, picture.content
    )


@register.simple_tag
def drawing_title(name: Any) -> str:
    """What a drawing shows, in words; empty where there is no such drawing."""
    return drawings.title_of(str(name))


@register.simple_tag
def qr(text: Any, label: Any = "") -> SafeString:
    """Draw a QR code of a text, dark on white in every theme."""
    code = segno.make(str(text), error="m", micro=False)
    picture = code.svg_inline(
        omitsize=True, border=4, dark="#1d2124", light="#fff", svgclass="qr-code"
    )
    opening = format_html('<svg role="img" aria-label="{}"', label or _("QR code"))
    # What segno draws of a text is paths alone; the text itself is not in it.
    return SafeString(picture.replace("<svg", str(opening), 1))


@register.simple_tag
def limit_line(value: Any, u: Any, low: Any, high: Any, unit: str = "") -> SafeString:
    """Draw a measured value with its uncertainty between its limits.

    ``u`` is the standard uncertainty; the copper bar spans the value plus and minus twice ``u``.
    A limit that is None is open. The scale always holds the value and both limits.
    """
    return LimitLine(_number(value), _number(u), _number(low), _number(high), unit).svg()


def _number(value: Any) -> float | None:
    return None if value in (None, "") else float(value)


# Forms and lists


@register.simple_tag
def control(field: BoundField) -> SafeString:
    """Draw a text field's control alone, without a placeholder, for a label of the page's own."""
    invalid = " is-invalid" if field.errors else ""
    attrs: dict[str, str | bool] = {"class": f"form-control{invalid}", "placeholder": False}
    if field.errors:
        attrs["aria-describedby"] = f"{field.auto_id}_error"
    return field.as_widget(attrs=attrs)


@register.filter
def without_placeholders(form: BaseForm) -> BaseForm:
    """Take the placeholders from a form whose fields have labels that say the same."""
    for field in form.fields.values():
        field.widget.attrs.pop("placeholder", None)
    return form


@register.simple_tag
def page_numbers(page: Page[Any]) -> list[Any]:
    """List the page numbers to link to, with an ellipsis where some are left out."""
    return list(page.paginator.get_elided_page_range(page.number, on_each_side=1, on_ends=1))


@register.simple_tag
def filters_set(form: Any) -> int:
    """How many filters of a form narrow the list: those that might be left open, and are not."""
    return sum(_may_be_open(field) and _is_set(field) for field in form.visible_fields())


def _may_be_open(field: Any) -> bool:
    choices = getattr(field.field, "choices", None)
    return choices is None or any(value in ("", None) for value, _label in choices)


def _is_set(field: Any) -> bool:
    value = field.value()
    return value not in ("", None, False, [], field.initial) and str(value) != str(field.initial)
