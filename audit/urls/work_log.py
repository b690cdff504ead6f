from django.urls import path

from audit.views import work_log as views

urlpatterns = [
    path("work-log/", views.work_log, name="work_log"),
    path("work-log/example.csv", views.work_log_example, name="work_log_example"),
    path("work-log/<int:check_id>/", views.work_log_check, name="work_log_check"),
    path("work-log/<int:check_id>/practice/", views.work_log_practice, name="work_log_practice"),
    path("work-log/<int:check_id>/findings.csv", views.work_log_findings_csv, name="work_log_csv"),
    path(
        "work-log/<int:check_id>/findings.xlsx", views.work_log_findings_xlsx, name="work_log_xlsx"
    ),
    path(
        "work-log/<int:check_id>/not-judged.csv",
        views.work_log_problems_csv,
        name="work_log_problems",
    ),
]
