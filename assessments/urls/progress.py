from django.urls import path

from assessments.views import progress

urlpatterns = [
    path(
        "people/<str:employee_number>/progress/", progress.person_progress, name="person_progress"
    ),
]
