from django.urls import path

from audit.views import who_was_that as views

urlpatterns = [
    path("register/who-was-that/", views.who_was_that, name="who_was_that"),
]
