"""The lock that every act on somebody's certificates takes before it reads what it decides on.

On PostgreSQL two acts at once would otherwise each decide on facts that the other is changing,
and meet for the first time at the trail, when both have decided. SQLite has one writer, since
`transaction_mode` is IMMEDIATE: there the transaction itself is the lock.

Locks are taken in one order, so that no two acts wait for each other: people (several of them
by primary key), the proposal, series of public numbers by their kind, the end of the trail.
"""

from certification.models import Certificate, Scope
from people.models import Person
from people.services.people import lock_person


def lock_person_and_scope(person: Person, scope: Scope) -> tuple[Person, Scope]:
    """Wait for other acts on them, keep others waiting, and read both anew.

    What is locked is the person's row. There is no row for a person and scope before the first
    certificate, and what standing rests on is not of one scope alone: a vision test bears on
    all of them, and so does a last day at work. Acts on two scopes of one person wait for each
    other; they would at the trail, too. Foreign keys to the person are not kept waiting.

    Lasts until the transaction ends. What the caller holds of them may be minutes old, so it
    goes on with what this returns.
    """
    return lock_person(person), Scope.objects.get(pk=scope.pk)


def lock_certificate(certificate: Certificate) -> Certificate:
    """The same for the person and scope of a certificate; return it as read under the lock."""
    lock_person(certificate.person)
    return Certificate.objects.select_related(
        "person__site", "scope", "scheme_revision__scheme"
    ).get(pk=certificate.pk)
