from django.urls import path

from certification.views import paper as views

urlpatterns = [
    path("wall-list/", views.wall_list_page, name="wall_list"),
    path("wall-list.pdf", views.wall_list_pdf, name="wall_list_pdf"),
    path("work-missing/", views.work_missing_page, name="work_missing"),
    path("work-missing.pdf", views.work_missing_pdf, name="work_missing_pdf"),
    path(
        "certificates/<path:number>/wallet-card.pdf",
        views.certificate_card,
        name="certificate_card",
    ),
    path(
        "certificates/<path:number>/certificate.pdf",
        views.certificate_pdf,
        name="certificate_pdf",
    ),
]
