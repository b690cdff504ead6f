"""Addresses of this app, one module a subject."""

from . import courses, exercises, facts, tools

app_name = "training"

urlpatterns = [
    *courses.urlpatterns,
    *exercises.urlpatterns,
    *facts.urlpatterns,
    *tools.urlpatterns,
]
