"""Addresses of this app, one module a subject."""

from . import courses, exercises, people, sites, tools

app_name = "training"

urlpatterns = [
    *courses.urlpatterns,
    *exercises.urlpatterns,
    *people.urlpatterns,
    *sites.urlpatterns,
    *tools.urlpatterns,
]
