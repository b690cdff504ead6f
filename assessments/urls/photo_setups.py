from django.urls import path

from assessments.views import photo_setups

urlpatterns = [
    path("photo-setups/", photo_setups.setup_list, name="setup_list"),
    path("photo-setups/wire/", photo_setups.wire_tolerance, name="wire_tolerance"),
    path("photo-setups/<int:setup_id>/", photo_setups.setup_detail, name="setup_detail"),
    path("photo-setups/<int:setup_id>/qualify/", photo_setups.setup_qualify, name="setup_qualify"),
    path("photo-setups/<int:setup_id>/retire/", photo_setups.setup_retire, name="setup_retire"),
    path("photos/<slug:key>/setup/", photo_setups.photo_setup_choose, name="photo_setup_choose"),
]
