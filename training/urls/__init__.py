"""Addresses of this app, one module a subject."""

from . import courses, exercises, people, tools

app_name = "training"

urlpatterns = [
    *courses.urlpatterns,
    *exercises.urlpatterns,
    *people.urlpatterns,
    *tools.urlpatterns,
]
