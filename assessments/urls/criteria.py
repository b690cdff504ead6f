from django.urls import path

from assessments.views import (
    criteria,
    criteria_drafts,
    criteria_publishing,
    criterion_drawings,
)

ONE_SET = "criteria/sets/<int:set_id>/"
ONE_CRITERION = f"{ONE_SET}<str:code>/"

urlpatterns = [
    path("criteria/", criteria.criteria_list, name="criteria_list"),
    path(
        "criteria/<str:joint_type>/",
        criteria.criteria_for_joint_type,
        name="criteria_for_joint_type",
    ),
    path("criteria/sets/new/", criteria_drafts.criteria_set_new, name="criteria_set_new"),
    path("criteria/sets/import/", criteria_drafts.criteria_import, name="criteria_import"),
    path(f"{ONE_SET}file.<str:ending>", criteria_drafts.criteria_export, name="criteria_export"),
    path(ONE_SET, criteria.criteria_set_detail, name="criteria_set_detail"),
    path(f"{ONE_SET}add/", criteria_drafts.criterion_add, name="criterion_add"),
    path(f"{ONE_SET}compare/", criteria_publishing.criteria_compare, name="criteria_compare"),
    path(f"{ONE_SET}confirm/", criteria_publishing.criteria_confirm, name="criteria_confirm"),
    path(f"{ONE_SET}describe/", criteria_drafts.criteria_describe, name="criteria_describe"),
    path(
        f"{ONE_SET}drawings/",
        criterion_drawings.criterion_drawing_add,
        name="criterion_drawing_add",
    ),
    path(
        "criteria/drawings/<str:sha256>/",
        criterion_drawings.criterion_drawing,
        name="criterion_drawing",
    ),
    path(f"{ONE_SET}discard/", criteria_drafts.criteria_discard, name="criteria_discard"),
    path(f"{ONE_SET}draft/", criteria_drafts.criteria_draft, name="criteria_draft"),
    path(f"{ONE_SET}publish/", criteria_publishing.criteria_publish, name="criteria_publish"),
    path(f"{ONE_SET}retire/", criteria_publishing.criteria_retire, name="criteria_retire"),
    path(f"{ONE_CRITERION}edit/", criteria_drafts.criterion_edit, name="criterion_edit"),
    path(f"{ONE_CRITERION}drop/", criteria_drafts.criterion_drop, name="criterion_drop"),
    path(f"{ONE_CRITERION}move/", criteria_drafts.criterion_move, name="criterion_move"),
    path(f"{ONE_CRITERION}restore/", criteria_drafts.criterion_restore, name="criterion_restore"),
    path("exercises/<str:code>/criteria/", criteria.exercise_criteria, name="exercise_criteria"),
    path(
        "exercises/<str:code>/drawings/",
        criterion_drawings.exercise_drawings,
        name="exercise_drawings",
    ),
    path(
        "exercises/<str:code>/criteria/choose/",
        criteria_publishing.exercise_criteria_choose,
        name="exercise_criteria_choose",
    ),
]
