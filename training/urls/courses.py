from django.urls import path

from training.views import course_drafts, courses, placing

urlpatterns = [
    path("courses/", courses.course_list, name="course_list"),
    path("courses/new/", course_drafts.course_new, name="course_new"),
    path("courses/publish/", course_drafts.course_publish, name="course_publish"),
    path("courses/<str:code>/", courses.course_detail, name="course_detail"),
    path("courses/<str:code>/revise/", course_drafts.course_revise, name="course_revise"),
    path("courses/<str:code>/edit/", course_drafts.course_edit, name="course_edit"),
    path("courses/<str:code>/discard/", course_drafts.course_discard, name="course_discard"),
    path(
        "courses/<str:code>/<int:revision>/retire/",
        course_drafts.course_retire,
        name="course_retire",
    ),
    path("classes/", courses.class_list, name="class_list"),
    path("classes/new/", courses.class_new, name="class_new"),
    path("classes/places/", placing.class_places, name="class_places"),
    path("classes/<str:number>/", courses.class_detail, name="class_detail"),
    path("classes/<str:number>/edit/", courses.class_edit, name="class_edit"),
    path("classes/<str:number>/enrol/", courses.class_enrol, name="class_enrol"),
    path(
        "classes/<str:number>/enrolments/<int:enrolment_id>/cancel/",
        courses.enrolment_cancel,
        name="enrolment_cancel",
    ),
    path(
        "classes/<str:number>/attendance/<str:day>/",
        courses.class_attendance,
        name="class_attendance",
    ),
]
