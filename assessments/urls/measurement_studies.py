from django.urls import path

from assessments.views import measurement_studies as views

urlpatterns = [
    path("measurement-studies/", views.study_list, name="study_list"),
    path("measurement-studies/new/", views.study_new, name="study_new"),
    path("measurement-studies/<int:study_id>/", views.study_detail, name="study_detail"),
    path("measurement-studies/<int:study_id>/mark/", views.study_mark, name="study_mark"),
    path(
        "measurement-studies/<int:study_id>/reference/",
        views.study_reference,
        name="study_reference",
    ),
    path("measurement-studies/<int:study_id>/close/", views.study_close, name="study_close"),
    path(
        "measurement-studies/<int:study_id>/withdraw/",
        views.study_withdraw,
        name="study_withdraw",
    ),
    path("measurement-studies/<int:study_id>/readings.csv", views.study_csv, name="study_csv"),
]
