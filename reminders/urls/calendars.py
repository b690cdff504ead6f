from django.urls import path

from reminders.views import calendars as views

urlpatterns = [
    path("my-card/calendar/", views.calendar_address, name="calendar_address"),
    path("my-card/calendar/stop/", views.calendar_stop, name="calendar_stop"),
    path("calendar/<str:secret>.ics", views.calendar_feed, name="calendar_feed"),
]
