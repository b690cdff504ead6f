from django.urls import path

from assessments.views import measuring

urlpatterns = [
    path("photos/<slug:key>/measure/", measuring.photo_measure, name="photo_measure"),
    path("photos/<slug:key>/find-marks/", measuring.photo_find_marks, name="photo_find_marks"),
    path(
        "photos/<slug:key>/measured/<int:measurement_id>/",
        measuring.photo_measured,
        name="photo_measured",
    ),
]
