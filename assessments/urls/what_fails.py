from django.urls import path

from assessments.views import what_fails

urlpatterns = [
    path("what-fails/", what_fails.what_fails, name="what_fails"),
    path("what-fails.csv", what_fails.what_fails_csv, name="what_fails_csv"),
    path("what-fails/joints/", what_fails.what_fails_joints, name="what_fails_joints"),
]
