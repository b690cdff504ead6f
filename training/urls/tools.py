from django.urls import path

from training.views import tool_lists, tools

urlpatterns = [
    path("tools/", tools.tool_list, name="tool_list"),
    path("tools/new/", tools.tool_new, name="tool_new"),
    path("tools/new/list/", tool_lists.tool_list_new, name="tool_list_new"),
    path("tools/<str:code>/", tools.tool_detail, name="tool_detail"),
    path("tools/<str:code>/edit/", tools.tool_edit, name="tool_edit"),
    path("tools/<str:code>/calibrations/", tools.calibration_new, name="calibration_new"),
    path(
        "tools/<str:code>/calibrations/<int:calibration_id>/certificate/",
        tools.calibration_document,
        name="calibration_document",
    ),
    path(
        "tools/<str:code>/calibrations/<int:calibration_id>/withdraw/",
        tools.calibration_withdraw,
        name="calibration_withdraw",
    ),
    path("tools/<str:code>/out-of-service/", tools.tool_out, name="tool_out"),
    path("tools/<str:code>/in-service/", tools.tool_back, name="tool_back"),
    path("tools/<str:code>/retire/", tools.tool_retire, name="tool_retire"),
]
