"""Signing in and out, and one's password: of allauth's pages what is used here and no other.

They have no namespace, since allauth and Django ask for them by these names.
"""

from allauth.account import views
from django.urls import path, re_path

from people.views import passwords, second_factor, sign_in

urlpatterns = [
    path("login/", sign_in.login, name="account_login"),
    path("login/second-factor/", second_factor.authenticate, name="mfa_authenticate"),
    path("login/second-factor/passkey/", second_factor.sign_in_options, name="mfa_passkey_options"),
    path("logout/", views.logout, name="account_logout"),
    path("password/change/", passwords.password_change, name="account_change_password"),
    path("password/reset/", passwords.password_reset, name="account_reset_password"),
    path("password/reset/done/", views.password_reset_done, name="account_reset_password_done"),
    path(
        "password/reset/key/done/",
        views.password_reset_from_key_done,
        name="account_reset_password_from_key_done",
    ),
    re_path(
        r"^password/reset/key/(?P<uidb36>[0-9A-Za-z]+)-(?P<key>.+)/$",
        passwords.password_reset_from_key,
        name="account_reset_password_from_key",
    ),
]
