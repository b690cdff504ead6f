from django.urls import path

from certification.views import bench_check as views

urlpatterns = [path("check/", views.bench_check_page, name="bench_check")]
