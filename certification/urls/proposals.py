from django.urls import path

from certification.views import proposals as views

urlpatterns = [
    path(
        "people/<str:employee_number>/scopes/<str:scope_code>/",
        views.requirements_page,
        name="requirements",
    ),
    path(
        "people/<str:employee_number>/scopes/<str:scope_code>/propose/",
        views.proposal_new,
        name="proposal_new",
    ),
    path("boards/<str:number>/leads-to/", views.board_leads_to, name="board_leads_to"),
    path("proposals/", views.proposal_list, name="proposal_list"),
    path("proposals/new/", views.proposals_new, name="proposals_new"),
    path("proposals/decide/", views.proposals_decide, name="proposals_decide"),
    path("proposals/<int:proposal_id>/", views.proposal_detail, name="proposal_detail"),
    path("proposals/<int:proposal_id>/issue/", views.proposal_issue, name="proposal_issue"),
    path("proposals/<int:proposal_id>/decline/", views.proposal_decline, name="proposal_decline"),
]
