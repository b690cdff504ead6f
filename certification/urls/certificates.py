"""Certificates. A number that came with an earlier register may hold a slash."""

from django.urls import path

from certification.views import certificates as views
from certification.views import certificates_from_elsewhere as elsewhere
from certification.views import names, paper

urlpatterns = [
    path(
        "people/<str:employee_number>/certificates/issue-again/",
        names.certificates_issue_again,
        name="certificates_issue_again",
    ),
    path(
        "certificates/from-elsewhere/",
        elsewhere.certificate_from_elsewhere,
        name="certificate_from_elsewhere",
    ),
    path(
        "certificates/<path:number>/document/",
        views.certificate_document,
        name="certificate_document",
    ),
    path(
        "certificates/<path:number>/credential/",
        paper.certificate_credential,
        name="certificate_credential",
    ),
    path(
        "certificates/<path:number>/act/<str:act>/", views.certificate_act, name="certificate_act"
    ),
    path(
        "certificates/<path:number>/events/<int:event>/remove/",
        views.event_remove,
        name="event_remove",
    ),
    path("certificates/<path:number>/", views.certificate_detail, name="certificate_detail"),
]
