from django.urls import path

from audit.views import evidence_packs as views

urlpatterns = [
    path("evidence-packs/", views.evidence_packs, name="evidence_packs"),
    path("evidence-packs/<str:number>/", views.evidence_pack, name="evidence_pack"),
    path("evidence-packs/<str:number>.zip", views.evidence_pack_file, name="evidence_pack_file"),
]
