from django.urls import path

from assessments.views import boards

urlpatterns = [
    path("boards/", boards.board_list, name="board_list"),
    path("boards/new/", boards.board_new, name="board_new"),
    path("boards/labels/", boards.board_labels, name="board_labels"),
    path("boards/labels.pdf", boards.board_labels_pdf, name="board_labels_pdf"),
    path("boards/correct/", boards.boards_correct, name="boards_correct"),
    path("boards/<str:number>/", boards.board_detail, name="board_detail"),
    path("boards/<str:number>/hand-in/", boards.board_hand_in, name="board_hand_in"),
    path("boards/<str:number>/tools/", boards.board_tools, name="board_tools"),
    path("boards/<str:number>/take-back/", boards.board_take_back, name="board_take_back"),
    path("boards/<str:number>/piece/", boards.board_piece, name="board_piece"),
]
