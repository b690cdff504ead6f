import pytest
from django.contrib import admin
from django.contrib.auth import get_user_model

from records.admin import TrailEntryAdmin
from records.models import TrailEntry


@pytest.fixture
def request_of_superuser(rf, db):
    request = rf.get("/")
    request.user = get_user_model().objects.create_superuser("90001")
    return request


def test_the_trail_can_be_read_in_the_admin_and_not_written(request_of_superuser):
    page = TrailEntryAdmin(TrailEntry, admin.site)
    assert page.has_view_permission(request_of_superuser)
    assert not page.has_add_permission(request_of_superuser)
    assert not page.has_change_permission(request_of_superuser)
    assert not page.has_delete_permission(request_of_superuser)
