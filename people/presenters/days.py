"""Days and instants as people read them: the one place that turns a date into words.

Pages, mails and sentences write a day in forms of their own, some of which a language has its
own pattern for. Pages and services of the apps above format through these functions; template
filters put a ``time`` element round what they return.
"""

from __future__ import annotations

from datetime import date, datetime, tzinfo
from zoneinfo import ZoneInfo

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

NO_BREAK = "\u00a0"


def unbroken(text: str) -> str:
    """Keep a text on one line, whatever the width of the page."""
    return text.replace(" ", NO_BREAK)


def day_of(day: date) -> date:
    """The day itself; an instant's in the current time zone."""
    if isinstance(day, datetime):
        return timezone.localtime(day).date() if timezone.is_aware(day) else day.date()
    return day


# In sentences, each language by its own pattern


def format_day(day: date) -> str:
    """``25 Nov 2026``, in a sentence."""
    # Translators: a day in a sentence, in Django's date format letters.
    return date_format(day, pgettext("day in a sentence", "j M Y"))


def format_unbroken_day(day: date) -> str:
    """``25 Nov 2026`` on one line, in a sentence of a page or a word on a picture."""
    return unbroken(format_day(day))


def format_day_with_weekday(day: date) -> str:
    """``Wed 25 Nov 2026``, in a sentence."""
    # Translators: a day with its weekday in a sentence, in Django's date format letters.
    return date_format(day, pgettext("long day in a sentence", "D j M Y"))


def format_month(day: date) -> str:
    """``Nov``, on an axis."""
    return date_format(day, "M")


def format_month_and_year(day: date) -> str:
    """``November 2026``, for a line about a whole month."""
    return date_format(day, "F Y")


def format_year(day: date) -> str:
    """``2026``, on an axis."""
    return date_format(day, "Y")


# On pages, each language by its own pattern


def format_page_day(day: date) -> str:
    """``25 Nov 2026`` on one line, as the page's language writes it."""
    # Translators: a day with its year, in Django's date format letters.
    return unbroken(date_format(day, pgettext("day with year on a page", "j M Y")))


def format_long_page_day(day: date) -> str:
    """``Wed 25 Nov 2026`` on one line, as the page's language writes it."""
    # Translators: how a day is written on a page, in Django's date format letters.
    return unbroken(date_format(day, pgettext("long day on a page", "D j M Y")))


def format_short_page_day(day: date) -> str:
    """``25 Nov`` on one line, as the page's language writes it."""
    # Translators: a day of the coming months, in Django's date format letters.
    return unbroken(date_format(day, pgettext("short day on a page", "j M")))


def format_distance(day: date, today: date) -> str:
    """Say how far a day is from today: ``in 7 days``, ``tomorrow``, ``2 days ago``."""
    distance = (day_of(day) - day_of(today)).days
    if distance == 0:
        return _("today")
    if distance == 1:
        return _("tomorrow")
    if distance == -1:
        return _("yesterday")
    if distance > 0:
        words = ngettext("in %(n)d day", "in %(n)d days", distance) % {"n": distance}
    else:
        words = ngettext("%(n)d day ago", "%(n)d days ago", -distance) % {"n": -distance}
    return unbroken(words)


# In mails, each language by its own pattern


def format_letter_day(day: date) -> str:
    """``Wednesday 25 November 2026``, as the mail's language writes it."""
    # Translators: how a day is written in a mail, in Django's date format letters.
    return date_format(day, pgettext("day in a mail", "l j F Y"))


def format_short_letter_day(day: date) -> str:
    """``Wed 25 Nov 2026`` in a subject or a list, as the mail's language writes it."""
    # Translators: how a day is written in a subject or list, in Django's date format letters.
    return date_format(day, pgettext("short day in a mail", "D j M Y"))


# On a terminal: English, and columns that line up


def format_console_day(day: date) -> str:
    """``05 Nov 2026``, in the language of commands."""
    return f"{day:%d %b %Y}"


def format_console_day_with_weekday(day: date) -> str:
    """``Thu 05 Nov 2026``, in the language of commands."""
    return f"{day:%a %d %b %Y}"


# Instants


def local_instant(at: datetime, zone: str | tzinfo | None = None) -> datetime:
    """An instant by the clock of a zone, given by name or itself; by default the current one."""
    named = ZoneInfo(zone) if isinstance(zone, str) and zone else zone or None
    return timezone.localtime(at, named)


def format_local_time(local: datetime) -> str:
    """``13:50 CET``, of an instant that is by its own zone's clock already."""
    return f"{date_format(local, 'H:i')} {local.tzname()}"


def format_instant(at: datetime, zone: str | tzinfo | None = None) -> str:
    """``Wed 25 Nov 2026, 13:50 CET`` in a zone, as the page's language writes it.

    Day and time each stay on one line.
    """
    local = local_instant(at, zone)
    return f"{format_long_page_day(local)}, {unbroken(format_local_time(local))}"


def format_short_instant(at: datetime, zone: str | tzinfo | None = None) -> str:
    """``25 Nov, 13:50`` in a zone, on one line: in a list whose zone is said beside it."""
    local = local_instant(at, zone)
    return f"{format_short_page_day(local)},{NO_BREAK}{date_format(local, 'H:i')}"
