from django.urls import path

from certification.views import standing as views

urlpatterns = [
    path("standing/<int:person_pk>/<int:scope_pk>/", views.standing_detail, name="standing_detail"),
]
