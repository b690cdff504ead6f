"""One's password, changed or set anew by a link: where it differs from what allauth does."""

from functools import partial
from typing import Any

from allauth.account import views
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.utils.translation import get_language

from people.exceptions import PeopleError
from people.middleware.sign_ins import client_address
from people.services.sign_in_mails import send_reset_links


class PasswordChangeView(views.PasswordChangeView):
    """Whoever has no password gets one by a link, and not for being at an open session."""

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if request.user.is_authenticated and not request.user.has_usable_password():
            return redirect("account_reset_password")
        return super().dispatch(request, *args, **kwargs)


password_change = PasswordChangeView.as_view()


class PasswordResetView(views.PasswordResetView):
    def form_valid(self, form: Any) -> HttpResponse:
        """Answer first and send afterwards: how long it takes would tell whose address it is."""
        response = super().form_valid(form)
        if response.status_code == 302:
            close = response.close
            send = partial(send_reset_links, form.cleaned_data["email"], get_language() or "")

            def send_and_close() -> None:
                try:
                    send()
                finally:
                    close()

            response.close = send_and_close
        return response


password_reset = PasswordResetView.as_view()


class PasswordResetFromKeyView(views.PasswordResetFromKeyView):
    def form_valid(self, form: Any) -> HttpResponse:
        form.user.from_address = client_address(self.request)
        try:
            return super().form_valid(form)
        except PeopleError as error:  # Used by another window since this one was opened.
            form.add_error(None, str(error))
            return self.form_invalid(form)


password_reset_from_key = PasswordResetFromKeyView.as_view()
