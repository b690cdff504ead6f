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
    tool_work,
    what_fails,
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
    *tool_work.urlpatterns,
    *what_fails.urlpatterns,
]
