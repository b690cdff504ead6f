from django.urls import path

from assessments.views import class_day as views

urlpatterns = [
    path("class-day/", views.class_day_today, name="class_day_today"),
    path("classes/<str:number>/day/", views.class_day, name="class_day"),
    path("classes/<str:number>/day/pass/", views.class_pass, name="class_pass"),
    path("classes/<str:number>/day/take-back/", views.class_take_back, name="class_take_back"),
    path("classes/<str:number>/position/", views.class_position, name="class_position"),
]
