"""Addresses for programs. The document has a fixed one, and everybody may read it."""

from django.urls import include, path

from interfaces.views import api_tokens
from interfaces.views.api import api, in_problem_json

# Without ninja's root, which answers nothing.
_of_api, _app, _namespace = api.urls
_operations = [pattern for pattern in _of_api if getattr(pattern, "name", "") != "api-root"]
for _pattern in _operations:
    _pattern.callback = in_problem_json(_pattern.callback)  # type: ignore[arg-type]

urlpatterns = [
    path("api-tokens/", api_tokens.api_token_list, name="api_token_list"),
    path("api-tokens/<int:token_id>/revoke/", api_tokens.api_token_revoke, name="api_token_revoke"),
    path("api/v1/", include((_operations, _app), namespace=_namespace)),
]
