from django.urls import path

from training.views import facts, work_reports

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
    path("my-work/", work_reports.my_work, name="my_work"),
    path("practice/reported/", work_reports.work_reported, name="work_reported"),
    path("people/<str:employee_number>/practice/new/", facts.practice_new, name="practice_new"),
    path(
        "people/<str:employee_number>/practice/<int:practice_id>/withdraw/",
        facts.practice_withdraw,
        name="practice_withdraw",
    ),
]
