from django.urls import path

from training.views import facts

urlpatterns = [
    path(
        "people/<str:employee_number>/vision-tests/new/",
        facts.vision_test_new,
        name="vision_test_new",
    ),
    path(
        "people/<str:employee_number>/vision-tests/<str:test_id>/withdraw/",
        facts.vision_test_withdraw,
        name="vision_test_withdraw",
    ),
    path("people/<str:employee_number>/practice/new/", facts.practice_new, name="practice_new"),
    path(
        "people/<str:employee_number>/practice/<int:practice_id>/withdraw/",
        facts.practice_withdraw,
        name="practice_withdraw",
    ),
]
