from django.urls import path

from people.views import changes, erasing, moves, people, personal_data, sign_ins, stamps

urlpatterns = [
    path("people/", people.person_list, name="person_list"),
    path("people/new/", people.person_new, name="person_new"),
    path("people/<str:employee_number>/", people.person_detail, name="person_detail"),
    path("people/<str:employee_number>/edit/", people.person_edit, name="person_edit"),
    path("account/data/", personal_data.own_personal_data, name="own_personal_data"),
    path("people/<str:employee_number>/data/", personal_data.personal_data, name="personal_data"),
    path("people/<str:employee_number>/erase/", erasing.person_erase, name="person_erase"),
    path("people/<str:employee_number>/change/", changes.person_change, name="person_change"),
    path("people/<str:employee_number>/return/", changes.person_return, name="person_return"),
    path("people/<str:employee_number>/move/", moves.person_move, name="person_move"),
    path(
        "people/<str:employee_number>/moves/<int:move_id>/withdraw/",
        moves.move_withdraw,
        name="move_withdraw",
    ),
    path("stamps/", stamps.stamp_list, name="stamp_list"),
    path("people/<str:employee_number>/stamps/new/", stamps.stamp_issue, name="stamp_issue"),
    path(
        "people/<str:employee_number>/stamps/<int:stamp_id>/return/",
        stamps.stamp_return,
        name="stamp_return",
    ),
    path("people/<str:employee_number>/sign-in/", sign_ins.person_sign_in, name="person_sign_in"),
    path(
        "people/<str:employee_number>/sign-in/password/",
        sign_ins.sign_in_password,
        name="sign_in_password",
    ),
    path(
        "people/<str:employee_number>/sign-in/second-factor/",
        sign_ins.sign_in_second_factor,
        name="sign_in_second_factor",
    ),
    path(
        "people/<str:employee_number>/sign-in/switch/",
        sign_ins.sign_in_switch,
        name="sign_in_switch",
    ),
]
