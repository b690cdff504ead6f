from django.urls import path

from assessments.views import measuring

urlpatterns = [
    path("photos/<slug:key>/measure/", measuring.photo_measure, name="photo_measure"),
]
