"""Addresses of this app, one module a subject."""

from . import absences, courses, exercises, facts, grids, rooms, tools

app_name = "training"

urlpatterns = [
    *absences.urlpatterns,
    *courses.urlpatterns,
    *exercises.urlpatterns,
    *facts.urlpatterns,
    *grids.urlpatterns,
    *rooms.urlpatterns,
    *tools.urlpatterns,
]
