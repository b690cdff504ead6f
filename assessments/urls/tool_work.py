from django.urls import path

from assessments.views import tool_work

urlpatterns = [
    path("tools/<str:code>/work/", tool_work.tool_work, name="tool_work"),
]
