from django.urls import path

from reminders.views import reminders as views

urlpatterns = [
    path("reminders/", views.reminders_coming, name="reminders"),
    path("reminders/printed-list/", views.reminders_printed_list, name="reminders_printed_list"),
    path(
        "reminders/printed-list.pdf",
        views.reminders_printed_list_pdf,
        name="reminders_printed_list_pdf",
    ),
    path("reminders/outbox/", views.reminders_outbox, name="reminders_outbox"),
    path("reminders/outbox/<int:message_id>/", views.reminder_message, name="reminder_message"),
    path(
        "reminders/outbox/<int:message_id>/send-again/",
        views.reminder_message_send_again,
        name="reminder_message_send_again",
    ),
]
