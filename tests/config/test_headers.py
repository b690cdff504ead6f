"""Every answer tells browsers to run and show only what the site itself serves."""

import pytest
from django.http import HttpResponse
from django.test import RequestFactory

from config.middleware import content_security_policy


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/account/login/", "/no-such-page", "/static/css/tokens.css"])
def test_every_answer_carries_the_policy(client, path):
    response = client.get(path)
    response.close()
    policy = response.headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy


def test_an_answer_may_bring_a_policy_of_its_own():
    own = "default-src 'none'; sandbox"

    def answer(request):
        return HttpResponse(headers={"Content-Security-Policy": own})

    response = content_security_policy(answer)(RequestFactory().get("/"))
    assert response.headers["Content-Security-Policy"] == own


@pytest.mark.django_db
def test_other_sites_learn_no_addresses_and_may_not_frame(client):
    headers = client.get("/account/login/").headers
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["X-Content-Type-Options"] == "nosniff"
