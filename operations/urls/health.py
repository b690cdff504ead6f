from django.urls import path

from operations.views import health as views

urlpatterns = [
    path("health/", views.health_page, name="health"),
    path("health/check/", views.health_check, name="health_check"),
]
