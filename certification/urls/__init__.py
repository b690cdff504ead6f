"""Addresses of this app, one module a subject."""

from . import (
    bench_check,
    certificates,
    class_plans,
    home,
    months,
    paper,
    proposals,
    public,
    register,
    schemes,
    standing,
)

app_name = "certification"

urlpatterns = [
    *bench_check.urlpatterns,
    *certificates.urlpatterns,
    *class_plans.urlpatterns,
    *home.urlpatterns,
    *months.urlpatterns,
    *paper.urlpatterns,
    *proposals.urlpatterns,
    *public.urlpatterns,
    *register.urlpatterns,
    *schemes.urlpatterns,
    *standing.urlpatterns,
]
