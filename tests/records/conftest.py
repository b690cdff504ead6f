from datetime import UTC, datetime

import pytest
from django.contrib.auth import get_user_model


@pytest.fixture
def at():
    return datetime(2026, 5, 4, 7, 30, 15, 250, tzinfo=UTC)


@pytest.fixture
def account(db):
    return get_user_model().objects.create_user("40017")
