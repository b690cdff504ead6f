from django.urls import path

from training.views import courses, placing, waiting

urlpatterns = [
    path("courses/", courses.course_list, name="course_list"),
    path("courses/<str:code>/", courses.course_detail, name="course_detail"),
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
    path("classes/<str:number>/wait/", waiting.class_wait, name="class_wait"),
    path(
        "classes/<str:number>/waiting/<int:waiting_id>/first/",
        waiting.waiting_first,
        name="waiting_first",
    ),
    path(
        "classes/<str:number>/waiting/<int:waiting_id>/cancel/",
        waiting.waiting_cancel,
        name="waiting_cancel",
    ),
    path(
        "classes/<str:number>/attendance/<str:day>/",
        courses.class_attendance,
        name="class_attendance",
    ),
]
