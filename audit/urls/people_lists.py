from django.urls import path

from audit.views import people_lists as views

urlpatterns = [
    path("people-lists/", views.people_list_new, name="people_list_new"),
    path("people-lists/<int:list_id>/", views.people_list, name="people_list"),
    path(
        "people-lists/<int:list_id>/columns/",
        views.people_list_columns,
        name="people_list_columns",
    ),
    path(
        "people-lists/<int:list_id>/answers/",
        views.people_list_answers,
        name="people_list_answers",
    ),
    path(
        "people-lists/<int:list_id>/take-in/",
        views.people_list_take_in,
        name="people_list_take_in",
    ),
    path("people-lists/<int:list_id>/stop/", views.people_list_stop, name="people_list_stop"),
    path("people-lists/<int:list_id>/undo/", views.people_list_undo, name="people_list_undo"),
    path(
        "people-lists/<int:list_id>/throw-away/",
        views.people_list_throw_away,
        name="people_list_throw_away",
    ),
]
