"""What the API answers is what its OpenAPI document says, as schemathesis sees it."""

import pytest
import schemathesis
from django.core import signals
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections
from hypothesis import HealthCheck, Phase, settings

from interfaces.services import api_tokens
from tests.factories import NOW, make_certificate, make_person, make_scope, make_user

DOCUMENT = "/api/v1/openapi.json"
EXAMPLES = 30


# As the site serves it; reading it touches no database.
schema = schemathesis.openapi.from_wsgi(DOCUMENT, get_wsgi_application())


@pytest.fixture
def _connection_stays(db):
    """A server lets go of its connection after a request, and a test's transaction with it."""
    for signal in (signals.request_started, signals.request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (signals.request_started, signals.request_finished):
        signal.connect(close_old_connections)


@pytest.fixture
def headers(_connection_stays, settings):
    """A token, at a site where somebody is certified as in the document's examples."""
    settings.API_REQUESTS_A_MINUTE = 1_000_000
    make_certificate(
        make_person(employee_number="10377"), make_scope(code="TERM-OP"), restriction="turrets"
    )
    administrator = make_user("administrator")
    _made, token = api_tokens.make_token(
        site=administrator.person.site, name="schemathesis", actor=administrator, at=NOW
    )
    return {"Authorization": f"Bearer {token}"}


@schema.parametrize()
@settings(
    max_examples=EXAMPLES,
    derandomize=True,
    database=None,
    deadline=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
def test_every_answer_is_as_the_document_says(case, headers):
    case.call_and_validate(headers=headers)


@pytest.mark.django_db
def test_document_is_read_without_a_token_and_holds_every_operation(client):
    response = client.get(DOCUMENT)

    document = response.json()
    assert response.status_code == 200
    assert document["openapi"].startswith("3.")
    operations_listed = {
        (path, method, operation["operationId"])
        for path, operations in document["paths"].items()
        for method, operation in operations.items()
    }
    assert operations_listed == {
        ("/api/v1/standing", "get", "standing_of_one"),
        ("/api/v1/standings", "post", "standing_of_many"),
        ("/api/v1/changes", "get", "changes_since"),
        ("/api/v1/people", "post", "people_handed_over"),
        ("/api/v1/work", "post", "work_handed_over"),
    }
    for operations in document["paths"].values():
        for operation in operations.values():
            assert operation["security"] == [{"SiteToken": []}]
            assert {"200", "401", "422", "429"} <= set(operation["responses"])
    assert client.post(DOCUMENT).status_code == 405
    assert client.get("/api/v1/docs").status_code == 404
