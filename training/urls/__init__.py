"""Addresses of this app, one module a subject."""

from . import courses, exercises, kiosks, people, sites, tablets, tools

app_name = "training"

urlpatterns = [
    *courses.urlpatterns,
    *exercises.urlpatterns,
    *kiosks.urlpatterns,
    *people.urlpatterns,
    *sites.urlpatterns,
    *tablets.urlpatterns,
    *tools.urlpatterns,
]
