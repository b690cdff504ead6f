from django.urls import path

from certification.views import months as views

urlpatterns = [
    path("months-ahead/", views.months_ahead_page, name="months_ahead"),
    path("months-ahead/export.csv", views.months_ahead_csv, name="months_ahead_csv"),
]
