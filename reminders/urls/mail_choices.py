from django.urls import path

from reminders.views import mail_choices as views

urlpatterns = [path("my-card/mails/", views.mail_choices, name="mail_choices")]
