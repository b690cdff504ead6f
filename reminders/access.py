"""Who may read which reminders and mails."""

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404

from certification.access import IN_FULL
from people.models import Role, Site, User

from .models import Message
from .models.reminders import MessageQuerySet


def sites_with_reminders_for(user: User) -> QuerySet[Site]:
    """Sites where the user reads what reminders are to come."""
    return Site.objects.filter(
        pk__in=user.sites_as(Role.INSTRUCTOR, Role.QUALITY, Role.ADMINISTRATOR)
    )


def reads_kinds_of_ends(user: User, site: Site | int) -> bool:
    """Whether the user may know that it is a vision test that ends, and not just that
    somebody's standing does."""
    return user.has_role(*IN_FULL, site=site)


def messages_readable_by(user: User) -> MessageQuerySet:
    """Mails of the sites where the user answers for them going out."""
    return Message.objects.filter(site__in=user.sites_as(Role.QUALITY, Role.ADMINISTRATOR))


def message_for_reader(user: User, message_id: int) -> Message:
    return get_object_or_404(
        messages_readable_by(user).select_related("site", "person"), pk=message_id
    )


def message_for_administrator(user: User, message_id: int) -> Message:
    return get_object_or_404(
        Message.objects.filter(site__in=user.sites_as(Role.ADMINISTRATOR)).select_related(
            "site", "person"
        ),
        pk=message_id,
    )
