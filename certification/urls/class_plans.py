from django.urls import path

from certification.views import class_plans as views

urlpatterns = [
    path("plans-of-classes/", views.class_plan_list, name="class_plan_list"),
    path("plans-of-classes/new/", views.class_plan_new, name="class_plan_new"),
    path("plans-of-classes/<int:plan_id>/", views.class_plan_detail, name="class_plan_detail"),
    path("plans-of-classes/<int:plan_id>/move/", views.class_plan_move, name="class_plan_move"),
    path("plans-of-classes/<int:plan_id>/again/", views.class_plan_again, name="class_plan_again"),
    path("plans-of-classes/<int:plan_id>/send/", views.class_plan_send, name="class_plan_send"),
]
