from django.urls import path

from people.views import kiosks

urlpatterns = [
    path("kiosks/", kiosks.kiosk_list, name="kiosk_list"),
    path("kiosks/<str:name>/password/", kiosks.kiosk_password, name="kiosk_password"),
    path("kiosks/<str:name>/switch/", kiosks.kiosk_switch, name="kiosk_switch"),
]
