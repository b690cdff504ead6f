"""Addresses of this app, one module a subject."""

from . import (
    boards,
    class_day,
    criteria,
    grading,
    measurement_studies,
    measuring,
    photo_setups,
    photos,
    progress,
    readings,
    teaching,
    tool_work,
    what_fails,
    written_tests,
)

app_name = "assessments"

urlpatterns = [
    *boards.urlpatterns,
    *class_day.urlpatterns,
    *criteria.urlpatterns,
    *grading.urlpatterns,
    *measurement_studies.urlpatterns,
    *measuring.urlpatterns,
    *photo_setups.urlpatterns,
    *photos.urlpatterns,
    *progress.urlpatterns,
    *readings.urlpatterns,
    *teaching.urlpatterns,
    *tool_work.urlpatterns,
    *what_fails.urlpatterns,
    *written_tests.urlpatterns,
]
