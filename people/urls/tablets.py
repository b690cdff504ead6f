from django.urls import path

from people.views import tablets

urlpatterns = [
    path("tablets/", tablets.tablet_list, name="tablet_list"),
    path("tablets/<int:tablet_id>/revoke/", tablets.tablet_revoke, name="tablet_revoke"),
    path("tablet/", tablets.tablet, name="tablet"),
    path("tablet/open/", tablets.tablet_open, name="tablet_open"),
    path("tablet/full/", tablets.tablet_full, name="tablet_full"),
    path("tablet/lock/", tablets.tablet_lock, name="tablet_lock"),
    path("tablet/awake/", tablets.tablet_awake, name="tablet_awake"),
    path("account/pin/", tablets.pin, name="pin"),
]
