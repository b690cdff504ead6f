from django.urls import path

from certification.views import register as views

urlpatterns = [
    path("register/", views.register_page, name="register"),
    path("register/export.csv", views.register_csv, name="register_csv"),
    path("register/export.xlsx", views.register_xlsx, name="register_xlsx"),
    path("register/as-known/", views.register_as_known, name="register_as_known"),
]
