"""Addresses of this app, one module a subject."""

from . import certificates, home, proposals, register, reminders

app_name = "certification"

urlpatterns = [
    *certificates.urlpatterns,
    *home.urlpatterns,
    *proposals.urlpatterns,
    *register.urlpatterns,
    *reminders.urlpatterns,
]
