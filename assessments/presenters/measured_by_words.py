"""What the measured criteria of a board were judged by, in words."""

from collections.abc import Sequence

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments.domain.measured_by import MeasuredBy
from assessments.queries.measured_by import MeasuredTally

MOST_PLACES = 12


def tally_says(tally: MeasuredTally) -> str:
    """``48 measured: 40 by marks, 6 with an instrument, 2 by eye``; empty where nothing is."""
    if not tally.total:
        return ""
    words = {
        MeasuredBy.MARKS: _("%(n)d by marks"),
        MeasuredBy.INSTRUMENT: _("%(n)d with an instrument"),
        MeasuredBy.BY_EYE: _("%(n)d by eye because …"),
        MeasuredBy.DECIDED: _("%(n)d decided between two readings"),
        MeasuredBy.NOT_APPLICABLE: _("%(n)d not applicable"),
        MeasuredBy.UNSAID: _("%(n)d by eye, before a reason was asked for"),
    }
    parts = [
        words[kind] % {"n": count}
        for kind, count in tally.counts.items()
        if kind in words and count
    ]
    head = ngettext("%(n)d measured", "%(n)d measured", tally.total) % {"n": tally.total}
    return f"{head}: {', '.join(parts)}"


def by_eye_lines(tally: MeasuredTally) -> list[tuple[str, str]]:
    """Each reason with the places it was given for, and those that have none."""
    lines = [
        (_("By eye because “%(reason)s”") % {"reason": reason}, places_said(places))
        for reason, places in tally.by_eye.items()
    ]
    if tally.unsaid:
        lines.append((_("By eye, before a reason was asked for"), places_said(tally.unsaid)))
    return lines


def places_said(places: Sequence[str]) -> str:
    """``E02 W1, E03 W1``; of very many the first, and how many more."""
    shown = ", ".join(places[:MOST_PLACES])
    more = len(places) - MOST_PLACES
    return shown if more <= 0 else _("%(places)s and %(n)d more") % {"places": shown, "n": more}
