"""Addresses of this app, one module a subject."""

from . import kiosks, people, sites, tablets

app_name = "people"

urlpatterns = [
    *kiosks.urlpatterns,
    *people.urlpatterns,
    *sites.urlpatterns,
    *tablets.urlpatterns,
]
