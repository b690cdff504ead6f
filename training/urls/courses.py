from django.urls import path

from training.views import booking, course_drafts, courses, letters, placing, waiting

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
    path("classes/to-come/", booking.class_offers, name="class_offers"),
    path("classes/<str:number>/", courses.class_detail, name="class_detail"),
    path("classes/<str:number>/edit/", courses.class_edit, name="class_edit"),
    path("classes/<str:number>/enrol/", courses.class_enrol, name="class_enrol"),
    path(
        "classes/<str:number>/enrolments/<int:enrolment_id>/cancel/",
        courses.enrolment_cancel,
        name="enrolment_cancel",
    ),
    path("classes/<str:number>/book/", booking.class_book, name="class_book"),
    path(
        "classes/<str:number>/book-waiting/",
        booking.class_book_waiting,
        name="class_book_waiting",
    ),
    path("classes/<str:number>/give-back/", booking.class_give_back, name="class_give_back"),
    path("classes/<str:number>/cancel/", letters.class_cancel, name="class_cancel"),
    path("classes/<str:number>/letters.pdf", letters.class_letters, name="class_letters"),
    path(
        "classes/<str:number>/letters/printed/",
        letters.class_letters_printed,
        name="class_letters_printed",
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
