from django.urls import path

from assessments.views import grading as views
from assessments.views import judgements, result_sheets, results

OWN = {"own": True}

urlpatterns = [
    path("sign/", views.stages_sign, name="stages_sign"),
    path("boards/<str:number>/grade/", views.board_grade, name="board_grade"),
    path("boards/<str:number>/grade/judge/", judgements.board_judge, name="board_judge"),
    path("boards/<str:number>/grade/rest/", judgements.board_accept_rest, name="board_accept_rest"),
    path("boards/<str:number>/grade/undo/", judgements.board_undo, name="board_undo"),
    path("boards/<str:number>/grade/beside/", views.board_comparison, name="board_comparison"),
    path("boards/<str:number>/grade/sign/<str:stage>/", views.stage_sign, name="stage_sign"),
    path("boards/<str:number>/own-reading/", views.board_grade, OWN, name="board_own_reading"),
    path("boards/<str:number>/own-reading/judge/", judgements.board_judge, OWN, name="own_judge"),
    path(
        "boards/<str:number>/own-reading/rest/",
        judgements.board_accept_rest,
        OWN,
        name="own_accept_rest",
    ),
    path("boards/<str:number>/own-reading/undo/", judgements.board_undo, OWN, name="own_undo"),
    path("boards/<str:number>/result/", results.board_result, name="board_result"),
    path("boards/<str:number>/result/sheet/", result_sheets.board_sheet, name="board_sheet"),
    path(
        "boards/<str:number>/result/sheet.pdf",
        result_sheets.board_sheet_pdf,
        name="board_sheet_pdf",
    ),
    path(
        "boards/<str:number>/gradings/<int:grading_id>/correct/",
        views.grading_correct,
        name="grading_correct",
    ),
]
