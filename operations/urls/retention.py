from django.urls import path

from operations.views import retention as views

urlpatterns = [
    path("retention/", views.retention, name="retention"),
    path("retention/<str:prefix>/", views.retention_site, name="retention_site"),
    path("retention/<str:prefix>/change/", views.retention_change, name="retention_change"),
]
