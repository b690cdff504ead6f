"""Addresses of this app, one module a subject."""

from . import boards, criteria, grading, photos

app_name = "assessments"

urlpatterns = [
    *boards.urlpatterns,
    *criteria.urlpatterns,
    *grading.urlpatterns,
    *photos.urlpatterns,
]
