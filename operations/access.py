"""Whose sites' rules somebody reads and changes."""

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404

from people.access import sites_administered_by
from people.models import Role, Site, User


def sites_with_retention(user: User) -> QuerySet[Site]:
    """Sites of which the user may read how long things are kept."""
    return Site.objects.filter(pk__in=user.sites_as(Role.ADMINISTRATOR, Role.QUALITY))


def site_with_retention(user: User, prefix: str) -> Site:
    return get_object_or_404(sites_with_retention(user), prefix=prefix)


def site_to_change_retention(user: User, prefix: str) -> Site:
    return get_object_or_404(sites_administered_by(user), prefix=prefix)


def may_change_retention(user: User, site: Site) -> bool:
    return user.has_role(Role.ADMINISTRATOR, site=site)
