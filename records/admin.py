"""The trail in the admin: to be read, never to be written."""

from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from .models import TrailEntry


@admin.register(TrailEntry)
class TrailEntryAdmin(admin.ModelAdmin):
    list_display = ["number", "recorded_at", "actor_label", "act", "about_type", "about_id"]
    list_filter = ["about_type"]
    search_fields = ["=about_id", "=actor_label", "act"]
    show_full_result_count = False

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False
