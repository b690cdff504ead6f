from django.urls import path

from assessments.views import photos

urlpatterns = [
    path("boards/<str:number>/photos/", photos.board_photos_add, name="board_photos_add"),
    path(
        "boards/<str:number>/photos/foresee/",
        photos.board_photos_foresee,
        name="board_photos_foresee",
    ),
    path(
        "boards/<str:number>/photos/take-back/",
        photos.board_photos_take_back,
        name="board_photos_take_back",
    ),
    path("photos/<slug:key>/", photos.photo_detail, name="photo_detail"),
    path("photos/<slug:key>/change/", photos.photo_change, name="photo_change"),
    path("photos/<slug:key>/<int:size>/", photos.photo_rendition, name="photo_rendition"),
    path("photos/<slug:key>/original/", photos.photo_original, name="photo_original"),
]
