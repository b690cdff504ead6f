from django.urls import path

from assessments.views import readings

urlpatterns = [
    path("boards/<str:number>/rework/<int:joint_id>/", readings.joint_rework, name="joint_rework"),
    path("boards/<str:number>/decide/", readings.board_decide, name="board_decide"),
    path("boards/<str:number>/another-reading/", readings.another_reading, name="another_reading"),
]
