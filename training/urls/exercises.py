from django.urls import path

from training.views import exercise_drafts, exercise_publishing, exercises

urlpatterns = [
    path("exercises/", exercises.exercise_list, name="exercise_list"),
    path("exercises/new/", exercise_drafts.exercise_new, name="exercise_new"),
    path("exercises/publish/", exercise_publishing.exercise_publish, name="exercise_publish"),
    path("exercises/<str:code>/", exercises.exercise_detail, name="exercise_detail"),
    path("exercises/<str:code>/revise/", exercise_drafts.exercise_revise, name="exercise_revise"),
    path("exercises/<str:code>/edit/", exercise_drafts.exercise_edit, name="exercise_edit"),
    path(
        "exercises/<str:code>/positions/",
        exercise_drafts.exercise_positions,
        name="exercise_positions",
    ),
    path("exercises/<str:code>/steps/", exercise_drafts.exercise_steps, name="exercise_steps"),
    path(
        "exercises/<str:code>/discard/", exercise_drafts.exercise_discard, name="exercise_discard"
    ),
    path(
        "exercises/<str:code>/<int:revision>/retire/",
        exercise_publishing.exercise_retire,
        name="exercise_retire",
    ),
]
