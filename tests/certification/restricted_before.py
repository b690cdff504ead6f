"""A certificate restricted as it was before that became an event: by one in its place."""

from datetime import timedelta

from certification.models import Certificate, CertificateEvent
from certification.queries import written_down
from certification.services import events, standing
from records.services import numbers, trail


def restrict_as_before(certificate, *, restriction, act):
    """Issue one in its place, ended on the same last day, and end it the day before."""
    person, scope, day = certificate.person, certificate.scope, act.effective_on
    made = Certificate(
        number=numbers.next_number(person.site.prefix, "C"),
        person=person,
        scope=scope,
        scheme_revision=certificate.scheme_revision,
        issued_on=day,
        valid_through=certificate.valid_through,
        restriction=restriction,
        origin=Certificate.Origin.OWN,
        holder_name=person.full_name,
        figures=certificate.figures,
        evidence={
            "restricts": {
                "certificate": certificate.number,
                "restriction": "",
                "reason": act.reason,
                "good_through": certificate.valid_through.isoformat(),
            }
        },
        issued_by=act.actor.get_full_name(),
        recorded_at=act.at,
    )
    ends = [
        CertificateEvent(
            event_id=numbers.next_number(person.site.prefix, "E"),
            certificate=ended,
            kind="ended",
            effective_on=last_day,
            reason=reason,
            recorded_at=act.at,
        )
        for ended, last_day, reason in (
            (made, certificate.valid_through, "Restricting moves no last day."),
            (
                certificate,
                day - timedelta(days=1),
                f"{made.number} takes its place, restricted.",
            ),
        )
    ]
    about = ("certificate", made.number)
    made.signature = act.sign(
        person,
        meaning=written_down.RESTRICTS,
        about=about,
        content=written_down.restriction_content(made, ends),
    )
    made.save(force_insert=True)
    events.save_under(made.signature, ends)
    trail.record(
        actor=act.actor,
        act="certificate restricted",
        about=about,
        payload={"restricts": certificate.number, "restriction": restriction},
        at=act.at,
    )
    standing.rebuild_spans(person, scope)
    return made
