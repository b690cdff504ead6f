from django.urls import path

from training.views import absences

urlpatterns = [
    path("days-away/", absences.absence_list, name="absence_list"),
    path("days-away/limit/", absences.away_limit, name="away_limit"),
    path("days-away/<int:absence_id>/take-out/", absences.absence_remove, name="absence_remove"),
]
