"""Certificates as the search finds them."""

from django.urls import reverse
from django.utils.translation import gettext as _

from certification.access import certificates_readable_by
from people.models import User
from people.presenters.days import format_day
from people.presenters.search import Hit, join
from people.queries.finding import Sought, number_matches, number_rank


def certificates(user: User, sought: Sought, most: int) -> list[Hit]:
    """By their number, or the one on the paper of another employer."""
    found = (
        certificates_readable_by(user)
        .filter(number_matches(sought, "number", "outside_number"))
        .annotate(rank=number_rank(sought, "number", "outside_number"))
        .select_related("person", "scope")
        .order_by("rank", "-issued_on", "-number")
    )
    return [
        Hit(
            certificate.number,
            certificate.person.full_name,
            join(
                (
                    certificate.scope.title,
                    _("issued %(day)s") % {"day": format_day(certificate.issued_on)},
                    certificate.outside_number,
                )
            ),
            reverse("certification:certificate_detail", args=[certificate.number]),
            certificate.rank,
        )
        for certificate in found[: most + 1]
    ]
