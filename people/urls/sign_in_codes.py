from django.urls import path

from people.views import sign_in_codes

urlpatterns = [
    path("letters/", sign_in_codes.letters, name="letters"),
    path("code/", sign_in_codes.printed_code, name="printed_code"),
]
