"""Facts in one line each, and the standing read straight off the rules, day by day."""

from datetime import UTC, date, datetime, time, timedelta
from functools import cache

from dateutil.relativedelta import relativedelta

from certification.domain.standing import (
    CertificateFact,
    EventFact,
    EventKind,
    ExpiryRule,
    PracticeFact,
    SchemeFigures,
    VisionFact,
)

PLAIN_24 = SchemeFigures(validity_months=24, renewal_window_days=90)


def day(text):
    return date.fromisoformat(text)


def at(text):
    """An instant in UTC; a bare day means nine in the morning."""
    return datetime.fromisoformat(text if "T" in text else f"{text}T09:00").replace(tzinfo=UTC)


def figures(validity=24, *, window=90, vision=0, absence=0, end_of_month=False):
    rule = ExpiryRule.END_OF_MONTH if end_of_month else ExpiryRule.SAME_DAY
    return SchemeFigures(validity, rule, window, vision, absence)


def certificate(
    number, issued, scheme=PLAIN_24, *, renews="", recorded="", withdrawn="", restriction=""
):
    return CertificateFact(
        number,
        scheme,
        day(issued),
        renews,
        at(recorded or issued),
        at(withdrawn) if withdrawn else None,
        restriction,
    )


def event(event_id, kind, effective, *, of="C1", recorded="", voids="", until="", only=""):
    return EventFact(
        event_id,
        of,
        EventKind(kind),
        day(effective),
        at(recorded or effective),
        voids,
        day(until) if until else None,
        "QM-02" if until else "",
        restriction=only,
    )


def vision(test_id, tested, passed=True, *, recorded="", withdrawn=""):
    withdrawn_at = at(withdrawn) if withdrawn else None
    return VisionFact(test_id, day(tested), passed, at(recorded or tested), withdrawn_at)


def work(performed, *, recorded="", withdrawn=""):
    withdrawn_at = at(withdrawn) if withdrawn else None
    return PracticeFact(day(performed), at(recorded or performed), withdrawn_at)


def spans_of(found):
    """A timeline as lines of text: first day, last day, standing, certificate."""
    return [
        f"{span.first_day} {span.last_day or '...'} {span.standing} {span.certificate_number}"
        for span in found.spans
    ]


# The rules read aloud: slow, for one day at a time, and apart from the engine's own code.


@cache
def months_after(anchor, months):
    return anchor + relativedelta(months=months)


def read_day_by_day(facts, asked, known_at=None):
    """The standing, certificate number and restriction on a day."""
    instant = known_at or datetime.combine(date.max, time.max, UTC)

    def entered(fact):
        if fact.recorded_at > instant:
            return False
        return not (fact.withdrawn_at is not None and fact.withdrawn_at <= instant)

    certificates = [one for one in facts.certificates if entered(one)]
    heard = [one for one in facts.events if one.recorded_at <= instant]

    def events_of(number):
        own = [one for one in heard if one.certificate_number == number]
        removed = {one.voids for one in own if one.kind == "voided"}
        kept = [one for one in own if one.kind != "voided" and one.event_id not in removed]
        kept.sort(key=lambda one: one.event_id)
        kept.sort(key=lambda one: one.recorded_at)
        kept.sort(key=lambda one: one.effective_on)
        return kept

    def period_end(one):
        start = one.issued_on
        for other in certificates:
            if other.number != one.renews or not other.issued_on < one.issued_on:
                continue
            revoked = [e.effective_on for e in events_of(other.number) if e.kind == "revoked"]
            if any(since <= one.issued_on for since in revoked):
                continue
            other_end = period_end(other)
            window_opens = other_end - timedelta(days=one.figures.renewal_window_days)
            if window_opens <= one.issued_on <= other_end:
                start = other_end
        end = months_after(start, one.figures.validity_months)
        if one.figures.expiry_rule == "end_of_month":
            while (end + timedelta(days=1)).month == end.month:
                end += timedelta(days=1)
        return end

    def says(one):
        last_good, revoked, suspended = period_end(one), False, False
        for e in events_of(one.number):
            if e.effective_on > asked:
                break
            if e.kind == "revoked":
                revoked = True
            elif e.kind == "suspended":
                suspended = True
            elif e.kind == "reinstated":
                suspended = False
            elif e.kind == "ended":
                last_good = min(last_good, e.effective_on)
            elif e.kind == "extended" and not last_good < e.effective_on:
                last_good = max(last_good, e.until)
        if revoked:
            return "revoked"
        if suspended:
            return "suspended"
        if asked > last_good:
            return "expired"
        if one.figures.vision_months:
            tests = [t for t in facts.vision_tests if entered(t) and t.tested_on <= asked]
            latest = max(tests, key=lambda t: (t.tested_on, t.recorded_at, t.test_id), default=None)
            if latest is None or not latest.passed:
                return "vision_not_current"
            if asked > months_after(latest.tested_on, one.figures.vision_months):
                return "vision_not_current"
        if one.figures.max_absence_months:
            here = one.issued_on
            worked = {w.performed_on for w in facts.practice if entered(w)}
            for step in [*sorted(d for d in worked if one.issued_on <= d < asked), asked]:
                if step > months_after(here, one.figures.max_absence_months):
                    return "practice_lapsed"
                here = step
        return "certified"

    def allows_only(one):
        since = ""
        for e in events_of(one.number):
            if e.effective_on <= asked and e.kind in ("restricted", "unrestricted"):
                since = e.restriction
        if one.restriction and since and one.restriction != since:
            return f"{one.restriction}; {since}"
        return one.restriction or since

    issued = [one for one in certificates if one.issued_on <= asked]
    if not issued:
        return "never_certified", "", ""
    issued.sort(key=lambda one: (one.issued_on, one.number), reverse=True)
    for one in issued:
        if says(one) in ("certified", "suspended", "revoked"):
            return says(one), one.number, allows_only(one)
    return says(issued[0]), issued[0].number, allows_only(issued[0])
