from django.urls import path

from people.views import calendars

urlpatterns = [path("calendar/", calendars.site_calendar, name="site_calendar")]
