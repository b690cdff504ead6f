from django.urls import path

from certification.views import home as views

urlpatterns = [
    path("", views.home, name="home"),
    path("bench/", views.bench_page, name="bench"),
    path("my-card/", views.my_card, name="my_card"),
    path("people/<str:employee_number>/standing/", views.person_standing, name="person_standing"),
]
