from django.urls import path

from operations.views import metrics as views

urlpatterns = [
    path("metrics", views.metrics_text, name="metrics"),
]
