from django.urls import path

from assessments.views import papers, written_tests

TEST = "written-tests/<int:test_id>/"
PAPER = "written-tests/papers/<str:number>/"

urlpatterns = [
    path("written-tests/", written_tests.written_test_list, name="written_test_list"),
    path("written-tests/new/", written_tests.written_test_new, name="written_test_new"),
    path(TEST, written_tests.written_test_detail, name="written_test_detail"),
    path(f"{TEST}rules/", written_tests.written_test_rules, name="written_test_rules"),
    path(f"{TEST}publish/", written_tests.written_test_publish, name="written_test_publish"),
    path(f"{TEST}retire/", written_tests.written_test_retire, name="written_test_retire"),
    path(f"{TEST}revise/", written_tests.written_test_revise, name="written_test_revise"),
    path(f"{TEST}hand-out/", written_tests.written_test_hand_out, name="written_test_hand_out"),
    path(f"{TEST}figures/", written_tests.written_test_figures, name="written_test_figures"),
    path(f"{TEST}questions/new/", written_tests.question_new, name="question_new"),
    path(f"{TEST}questions/<str:code>/", written_tests.question_edit, name="question_edit"),
    path(
        f"{TEST}questions/<str:code>/remove/",
        written_tests.question_remove,
        name="question_remove",
    ),
    path(
        f"{TEST}questions/<str:code>/picture/",
        written_tests.question_picture,
        name="question_picture",
    ),
    path(PAPER, papers.paper_detail, name="paper_detail"),
    path(f"{PAPER}start/", papers.paper_start, name="paper_start"),
    path(f"{PAPER}answer/", papers.paper_answer, name="paper_answer"),
    path(f"{PAPER}hand-in/", papers.paper_hand_in, name="paper_hand_in"),
    path(f"{PAPER}pictures/<int:order>/", papers.paper_picture, name="paper_picture"),
    path(f"{PAPER}print/", papers.paper_pdf, name="paper_pdf"),
    path(f"{PAPER}enter/", papers.paper_enter, name="paper_enter"),
    path(f"{PAPER}correct/", papers.paper_correct, name="paper_correct"),
    path(f"{PAPER}count-late/", papers.paper_count_late, name="paper_count_late"),
    path(f"{PAPER}withdraw/", papers.paper_withdraw, name="paper_withdraw"),
]
