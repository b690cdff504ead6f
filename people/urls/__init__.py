"""Addresses of this app, one module a subject."""

from . import (
    calendars,
    find,
    kiosks,
    people,
    provider,
    second_factor,
    sign_in_codes,
    sign_ins,
    sites,
    tablets,
)

app_name = "people"

urlpatterns = [
    *calendars.urlpatterns,
    *find.urlpatterns,
    *kiosks.urlpatterns,
    *people.urlpatterns,
    *provider.urlpatterns,
    *second_factor.urlpatterns,
    *sign_in_codes.urlpatterns,
    *sign_ins.urlpatterns,
    *sites.urlpatterns,
    *tablets.urlpatterns,
]
