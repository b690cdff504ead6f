from django.urls import path

from training.views import rooms

urlpatterns = [
    path("rooms/", rooms.room_list, name="room_list"),
    path("rooms/new/", rooms.room_new, name="room_new"),
    path("rooms/<int:room_id>/", rooms.room_edit, name="room_edit"),
]
