from django.urls import path

from people.views import second_factor

urlpatterns = [
    path("account/second-factor/", second_factor.second_factor, name="second_factor"),
    path("account/second-factor/app/", second_factor.app, name="second_factor_app"),
    path(
        "account/second-factor/passkeys/new/",
        second_factor.passkey_new,
        name="passkey_new",
    ),
    path(
        "account/second-factor/passkeys/options/",
        second_factor.registration_options,
        name="passkey_options",
    ),
    path(
        "account/second-factor/passkeys/proof/",
        second_factor.proof_options,
        name="passkey_proof",
    ),
    path(
        "account/second-factor/recovery-codes/",
        second_factor.recovery_codes,
        name="second_factor_codes",
    ),
    path(
        "account/second-factor/<int:authenticator_id>/remove/",
        second_factor.remove,
        name="second_factor_remove",
    ),
]
