from django.urls import path

from assessments.views import criteria

urlpatterns = [
    path("criteria/", criteria.criteria_list, name="criteria_list"),
    path(
        "criteria/<str:joint_type>/",
        criteria.criteria_for_joint_type,
        name="criteria_for_joint_type",
    ),
    path("criteria/sets/<int:set_id>/", criteria.criteria_set_detail, name="criteria_set_detail"),
    path("criteria/sets/<int:set_id>/confirm/", criteria.criteria_confirm, name="criteria_confirm"),
    path("criteria/sets/<int:set_id>/publish/", criteria.criteria_publish, name="criteria_publish"),
    path("criteria/sets/<int:set_id>/retire/", criteria.criteria_retire, name="criteria_retire"),
    path("criteria/sets/<int:set_id>/draft/", criteria.criteria_draft, name="criteria_draft"),
    path(
        "criteria/sets/<int:set_id>/<str:code>/edit/",
        criteria.criterion_edit,
        name="criterion_edit",
    ),
    path("exercises/<str:code>/criteria/", criteria.exercise_criteria, name="exercise_criteria"),
]
