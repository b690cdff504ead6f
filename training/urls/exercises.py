from django.urls import path

from training.views import exercises

urlpatterns = [
    path("exercises/", exercises.exercise_list, name="exercise_list"),
    path("exercises/<str:code>/", exercises.exercise_detail, name="exercise_detail"),
]
