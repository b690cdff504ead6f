"""Addresses of this app, one module a subject."""

from . import api, web_hooks

app_name = "interfaces"

urlpatterns = [
    *api.urlpatterns,
    *web_hooks.urlpatterns,
]
