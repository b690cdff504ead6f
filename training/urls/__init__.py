"""Addresses of this app, one module a subject."""

from . import courses, exercises, facts, grids, rooms, tools

app_name = "training"

urlpatterns = [
    *courses.urlpatterns,
    *exercises.urlpatterns,
    *facts.urlpatterns,
    *grids.urlpatterns,
    *rooms.urlpatterns,
    *tools.urlpatterns,
]
