from django.urls import path

from training.views import facts, people, sign_ins

urlpatterns = [
    path("people/", people.person_list, name="person_list"),
    path("people/new/", people.person_new, name="person_new"),
    path("people/<str:employee_number>/", people.person_detail, name="person_detail"),
    path("people/<str:employee_number>/edit/", people.person_edit, name="person_edit"),
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
    path("people/<str:employee_number>/stamps/new/", facts.stamp_issue, name="stamp_issue"),
    path(
        "people/<str:employee_number>/stamps/<int:stamp_id>/return/",
        facts.stamp_return,
        name="stamp_return",
    ),
    path("people/<str:employee_number>/sign-in/", sign_ins.person_sign_in, name="person_sign_in"),
    path(
        "people/<str:employee_number>/sign-in/password/",
        sign_ins.sign_in_password,
        name="sign_in_password",
    ),
    path(
        "people/<str:employee_number>/sign-in/switch/",
        sign_ins.sign_in_switch,
        name="sign_in_switch",
    ),
]
