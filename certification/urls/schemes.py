from django.urls import path

from certification.views import routing_operations, scheme_publishing, schemes, scopes

ONE_SCHEME = "schemes/<int:revision_id>/"
ONE_SCOPE = "scopes/<int:scope_id>/"
ONE_OPERATION = "scopes/operations/<int:operation_id>/"

urlpatterns = [
    path("schemes/", schemes.scheme_list, name="scheme_list"),
    path("schemes/new/", schemes.scheme_new, name="scheme_new"),
    path("schemes/starter/", schemes.scheme_starter, name="scheme_starter"),
    path("schemes/example/", schemes.scheme_example, name="scheme_example"),
    path(ONE_SCHEME, schemes.scheme_detail, name="scheme_detail"),
    path(f"{ONE_SCHEME}change/", schemes.scheme_change, name="scheme_change"),
    path(f"{ONE_SCHEME}next/", schemes.scheme_next, name="scheme_next"),
    path(f"{ONE_SCHEME}discard/", schemes.scheme_discard, name="scheme_discard"),
    path(f"{ONE_SCHEME}publish/", scheme_publishing.scheme_publish, name="scheme_publish"),
    path(f"{ONE_SCHEME}retire/", scheme_publishing.scheme_retire, name="scheme_retire"),
    path("scopes/", scopes.scope_list, name="scope_list"),
    path("scopes/new/", scopes.scope_new, name="scope_new"),
    path("scopes/operations/", routing_operations.operation_list, name="operation_list"),
    path("scopes/operations/add/", routing_operations.operation_add, name="operation_add"),
    path(ONE_OPERATION, routing_operations.operation_edit, name="operation_edit"),
    path(f"{ONE_OPERATION}remove/", routing_operations.operation_remove, name="operation_remove"),
    path(ONE_SCOPE, scopes.scope_edit, name="scope_edit"),
    path(f"{ONE_SCOPE}retire/", scopes.scope_retire, name="scope_retire"),
    path(f"{ONE_SCOPE}restore/", scopes.scope_restore, name="scope_restore"),
]
