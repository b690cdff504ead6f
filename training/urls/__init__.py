"""Addresses of this app, one module a subject."""

from . import courses, exercises, people

app_name = "training"

urlpatterns = [
    *courses.urlpatterns,
    *exercises.urlpatterns,
    *people.urlpatterns,
]
