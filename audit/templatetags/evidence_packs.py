"""Whether a page leads to what stands behind it."""

from django import template

from people.models import Role, User

register = template.Library()


@register.simple_tag
def may_pack(user: User, site_id: int) -> bool:
    """Whether a user has evidence packs made of what belongs to a site."""
    return user.is_authenticated and user.has_role(Role.QUALITY, site=site_id)
