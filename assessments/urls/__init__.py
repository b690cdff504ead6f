"""Addresses of this app, one module a subject."""

from . import boards, criteria, grading, measuring, photos

app_name = "assessments"

urlpatterns = [
    *boards.urlpatterns,
    *criteria.urlpatterns,
    *grading.urlpatterns,
    *measuring.urlpatterns,
    *photos.urlpatterns,
]
