from django.urls import path

from assessments.views import teaching

urlpatterns = [
    path("exercises/<str:code>/lesson/", teaching.exercise_lesson, name="exercise_lesson"),
    path(
        "exercises/<str:code>/bench-sheet.pdf",
        teaching.exercise_bench_sheet,
        name="exercise_bench_sheet",
    ),
    path(
        "boards/<str:number>/bench-sheet.pdf", teaching.board_bench_sheet, name="board_bench_sheet"
    ),
]
