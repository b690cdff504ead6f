from django.urls import path

from people.views import find as views

urlpatterns = [path("find/", views.find, name="find")]
