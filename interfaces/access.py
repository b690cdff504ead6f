"""Who administers which tokens and web hooks."""

from django.db.models import F, QuerySet
from django.shortcuts import get_object_or_404

from people.models import Role, User

from .models import ApiToken, WebHook, WebHookDelivery
from .models.web_hooks import WebHookDeliveryQuerySet, WebHookQuerySet


def api_tokens_administered_by(user: User) -> QuerySet[ApiToken]:
    """Tokens of programs at sites that the user administers, those in use first."""
    return (
        ApiToken.objects.filter(site__in=user.sites_as(Role.ADMINISTRATOR))
        .select_related("site", "made_by__person")
        .order_by(F("revoked_at").desc(nulls_first=True), "site__name", "name")
    )


def api_token_for_administrator(user: User, token_id: int) -> ApiToken:
    return get_object_or_404(api_tokens_administered_by(user), pk=token_id)


def hooks_administered_by(user: User) -> WebHookQuerySet:
    return WebHook.objects.filter(site__in=user.sites_as(Role.ADMINISTRATOR))


def hook_for_administrator(user: User, hook_id: int) -> WebHook:
    return get_object_or_404(hooks_administered_by(user), pk=hook_id)


def deliveries_administered_by(user: User) -> WebHookDeliveryQuerySet:
    return WebHookDelivery.objects.filter(hook__site__in=user.sites_as(Role.ADMINISTRATOR))


def delivery_for_administrator(user: User, delivery_id: int) -> WebHookDelivery:
    return get_object_or_404(
        deliveries_administered_by(user).select_related("hook"), pk=delivery_id
    )
