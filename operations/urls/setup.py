from django.urls import path

from operations.views import setup as views

urlpatterns = [
    path("set-up/", views.set_up, name="set_up"),
    path("set-up/organisation/", views.organisation, name="organisation"),
    path("set-up/content/", views.content_add, name="content_add"),
    path("set-up/mail/", views.mail_trial, name="mail_trial"),
    path("set-up/mail/arrived/<str:token>/", views.mail_arrived, name="mail_arrived"),
]
