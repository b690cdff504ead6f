"""Signing in at a provider by OpenID Connect, linked by oneself, and fresh as a proof."""

import html
import json
import re
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from urllib.parse import parse_qs, urlsplit

import pytest
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from joserfc.jwk import RSAKey

from people.domain.totp import code_of_step
from people.exceptions import PeopleError, ProofRefused
from people.models import ProviderLink, Site, User
from people.services import provider_links, second_factors
from people.services.proof import Given, prove_identity
from records.models import TrailEntry
from tests.factories import PASSWORD, make_person, make_user
from tests.people import oidc_provider

pytestmark = pytest.mark.django_db

LOGIN = reverse("account_login")
BEGIN = reverse("people:provider_begin")
BACK = reverse("people:provider_back")
LINK = reverse("people:provider_link")
UNLINK = reverse("people:provider_unlink")
PROOF = reverse("people:provider_proof")
OVERVIEW = reverse("people:second_factor")
OWN = reverse("people:own_sign_in")
PIN = reverse("people:pin")
SECRET = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"


@pytest.fixture
def provider(settings):
    with oidc_provider.running() as running:
        settings.OIDC_ISSUER = running.address
        settings.OIDC_CLIENT_ID = oidc_provider.CLIENT_ID
        settings.OIDC_CLIENT_SECRET = oidc_provider.CLIENT_SECRET
        settings.OIDC_NAME = "Skarnfell"
        cache.clear()
        yield running
        cache.clear()


@pytest.fixture
def user():
    return make_user("instructor", password=PASSWORD)


@pytest.fixture
def linked(user, provider):
    provider_links.link_provider(
        user=user, subject=provider.subject, proof="password", at=timezone.now()
    )
    return user


def way_out(answer):
    """The address at the provider that a page sends the browser to."""
    return html.unescape(re.search(r'content="0; url=([^"]+)"', answer.text)[1])


def asked(answer):
    return {name: values[0] for name, values in parse_qs(urlsplit(way_out(answer)).query).items()}


def come_back(client, provider, answer, **changes):
    """Sign in at the provider and follow the browser back."""
    back = urlsplit(provider.authorize(asked(answer)))
    assert back.path == BACK
    query = {name: values[0] for name, values in parse_qs(back.query).items()} | changes
    return client.get(BACK, query)


def acts(user):
    entries = TrailEntry.objects.filter(about_type="sign-in", about_id=str(user.pk))
    return [(entry.act, json.loads(entry.payload.body)) for entry in entries.order_by("number")]


def test_page_to_sign_in_on_names_the_provider(client, provider):
    assert "Sign in at Skarnfell" in client.get(LOGIN).text


def test_site_without_a_provider_has_no_such_pages(client, user):
    assert "Skarnfell" not in client.get(LOGIN).text
    assert client.post(BEGIN).url == LOGIN
    assert client.get(BACK).url == LOGIN
    client.force_login(user)
    for page in (LINK, UNLINK):
        assert client.get(page).status_code == 404
        assert client.post(page, {"password": PASSWORD}).status_code == 404
    assert client.post(PROOF).status_code == 404


# Signing in


def test_whoever_is_linked_signs_in_there(client, linked, provider):
    leaving = client.post(BEGIN, {"next": OWN})
    sent = asked(leaving)
    assert sent["redirect_uri"] == "http://127.0.0.1:8000" + BACK
    assert "prompt" not in sent
    assert len({sent["state"], sent["nonce"], sent["code_challenge"]}) == 3

    assert come_back(client, provider, leaving).url == OWN

    assert client.get(OWN).status_code == 200
    assert provider.refusals == []
    assert acts(linked)[-1] == ("signed in", {"from": "127.0.0.1", "with": "provider"})


def test_host_header_does_not_say_where_to_come_back(client, linked, provider):
    leaving = client.post(BEGIN, headers={"host": "localhost"})
    assert asked(leaving)["redirect_uri"].startswith("http://127.0.0.1:8000/")


def test_nobody_is_made_and_an_equal_address_links_nobody(client, user, provider):
    person = make_person(email="runa@skarnfell.example")
    make_user(person=person, email=person.email, password=PASSWORD)
    provider.claims = {"email": person.email, "email_verified": True}
    count = User.objects.count()

    answer = come_back(client, provider, client.post(BEGIN))

    assert answer.url == LOGIN
    assert "linked to no open sign-in here" in client.get(LOGIN).text
    assert client.get(OWN).url.startswith(LOGIN)
    assert User.objects.count() == count
    assert TrailEntry.objects.filter(act="sign-in refused", about_id="0").count() == 1


@pytest.mark.parametrize("ended", ["closed", "left"])
def test_sign_in_that_opens_nothing_is_not_opened_there(client, linked, provider, ended):
    if ended == "closed":
        User.objects.filter(pk=linked.pk).update(is_active=False)
    else:
        linked.person.left_on = linked.person.site.today() - timedelta(days=1)
        linked.person.save(update_fields=["left_on"])
    assert come_back(client, provider, client.post(BEGIN)).url == LOGIN
    assert client.get(OWN).url.startswith(LOGIN)


def test_second_factor_is_asked_for_after_it_too(client, linked, provider):
    step = int(time.time()) // 30
    second_factors.enrol_app(
        user=linked, secret=SECRET, code=code_of_step(SECRET, step - 1), at=timezone.now()
    )
    assert come_back(client, provider, client.post(BEGIN)).url == reverse("mfa_authenticate")
    assert client.get(OWN).url.startswith(LOGIN)
    client.post(reverse("mfa_authenticate"), {"code": code_of_step(SECRET, step)})
    assert client.get(OWN).status_code == 200


@pytest.mark.parametrize(
    "claims",
    [
        {"iss": "https://evil.example"},
        {"aud": "another site"},
        {"aud": ["another site"]},
        {"aud": [oidc_provider.CLIENT_ID, "another site"]},
        {"aud": [oidc_provider.CLIENT_ID, "another"], "azp": "another"},
        {"nonce": "of another flow"},
        {"nonce": None},
        {"exp": -600},
        {"exp": None},
        {"iat": 600},
        {"sub": None},
        {"sub": ""},
        {"sub": 7},
        {"sub": "subject-1\x00"},
        {"sub": "x" * 256},
    ],
    ids=lambda claims: json.dumps(claims)[:60],
)
def test_token_that_does_not_hold_opens_nothing(client, linked, provider, claims):
    provider.claims = {  # Instants are given in seconds from now.
        name: int(time.time()) + value if name in ("exp", "iat") and value is not None else value
        for name, value in claims.items()
    }
    assert come_back(client, provider, client.post(BEGIN)).url == LOGIN
    assert "does not hold" in client.get(LOGIN).text
    assert client.get(OWN).url.startswith(LOGIN)


@pytest.mark.parametrize("how", ["another key", "no signature", "a shared secret"])
def test_token_of_somebody_else_opens_nothing(client, linked, provider, how):
    if how == "another key":
        provider.signs_with = RSAKey.generate_key(2048, {"kid": "one"})
    elif how == "no signature":
        provider.algorithm = "none"
    else:
        provider.algorithm = "HS256"
    assert come_back(client, provider, client.post(BEGIN)).url == LOGIN
    assert client.get(OWN).url.startswith(LOGIN)


def test_keys_that_the_provider_has_changed_are_read_anew(client, linked, provider):
    come_back(client, provider, client.post(BEGIN))
    client.logout()
    provider.key = RSAKey.generate_key(2048, {"kid": "two"})
    assert come_back(client, provider, client.post(BEGIN)).url == "/"


@pytest.mark.parametrize(
    "changes",
    [{"state": "of another flow"}, {"state": ""}, {"code": ""}, {"iss": "https://evil.example"}],
    ids=["state", "no state", "no code", "issuer"],
)
def test_browser_that_comes_back_otherwise_opens_nothing(client, linked, provider, changes):
    assert come_back(client, provider, client.post(BEGIN), **changes).url == LOGIN
    assert client.get(OWN).url.startswith(LOGIN)


def test_way_back_is_of_the_browser_that_left_and_good_once(client, linked, provider):
    leaving = client.post(BEGIN)
    stranger = Client()
    assert come_back(stranger, provider, leaving).url == LOGIN
    back = provider.authorize(asked(leaving))
    assert client.get(back.removeprefix("http://127.0.0.1:8000")).url == "/"
    client.logout()
    assert client.get(back.removeprefix("http://127.0.0.1:8000")).url == LOGIN


def test_code_of_another_flow_does_not_go_with_this_verifier(client, linked, provider):
    other = Client()
    stolen = parse_qs(urlsplit(provider.authorize(asked(other.post(BEGIN)))).query)["code"][0]
    assert come_back(client, provider, client.post(BEGIN), code=stolen).url == LOGIN
    assert provider.refusals == ["verifier"]


def test_provider_that_calls_itself_otherwise_or_is_away_is_said(
    client, linked, provider, settings
):
    provider.issuer = "https://evil.example"
    client.post(BEGIN)
    assert "calls itself otherwise" in client.get(LOGIN).text
    settings.OIDC_ISSUER = "http://127.0.0.1:9"
    client.post(BEGIN)
    assert "does not answer" in client.get(LOGIN).text


def test_reset_by_an_administrator_unlinks(client, linked):
    administrator = make_user("administrator", password=PASSWORD)
    client.force_login(administrator)
    page = reverse("people:sign_in_second_factor", args=[linked.employee_number])
    client.post(page, {"reset-reason": "Telephone lost", "reset-password": PASSWORD})
    assert not ProviderLink.objects.exists()
    assert acts(linked)[-1][1]["provider"] == "unlinked"


@pytest.mark.parametrize("text", ["x" * 10_000, "no such ticket"])
def test_ticket_that_is_none_is_refused_in_words(client, linked, text):
    client.force_login(linked)
    typed = {"badge": "", "pin": "2580", "again": "2580", "password": "", "password_provider": text}
    assert client.post(PIN, typed).status_code == 422


# Linking


def test_link_asks_for_the_password_and_a_fresh_sign_in(client, user, provider):
    client.force_login(user)
    provider.signed_in_at = int(time.time()) - 3600
    assert "not linked" in client.get(OVERVIEW).text
    assert "not your password" in client.post(LINK, {"password": "a guess"}).text
    assert not provider.asked

    leaving = client.post(LINK, {"password": PASSWORD})
    assert (asked(leaving)["prompt"], asked(leaving)["max_age"]) == ("login", "0")
    assert come_back(client, provider, leaving).url == OVERVIEW

    assert ProviderLink.objects.get(user=user).subject == "subject-1"
    assert acts(user)[-1] == (
        "provider linked",
        {"from": "127.0.0.1", "proof": "password", "provider": provider.address},
    )
    assert "You are linked" in client.get(OVERVIEW).text
    assert "Linked to the provider" in client.get(OWN).text

    client.post(UNLINK, {"password": PASSWORD})
    assert not ProviderLink.objects.exists()
    assert acts(user)[-1] == ("provider unlinked", {"proof": "password"})


def test_link_without_a_fresh_sign_in_is_refused(client, user, provider):
    client.force_login(user)
    provider.honours_prompt = False
    provider.signed_in_at = int(time.time()) - 3600
    come_back(client, provider, client.post(LINK, {"password": PASSWORD}))
    assert not ProviderLink.objects.exists()
    assert "did not ask you to sign in anew" in client.get(OVERVIEW).text


def test_nobody_links_to_whom_somebody_else_is_linked(linked, provider):
    with pytest.raises(PeopleError, match="linked already"):
        provider_links.link_provider(
            user=make_user(), subject=provider.subject, proof="password", at=timezone.now()
        )


# Proof


def sign_in_anew(client, provider, page=PIN):
    asking = client.get(PROOF, headers={"referer": f"http://testserver{page}"})
    next_url = re.search(r'name="next" value="([^"]+)"', asking.text)[1]
    leaving = client.post(PROOF, {"next": next_url})
    return come_back(client, provider, leaving)


def test_fresh_sign_in_proves_once(client, linked, provider):
    client.force_login(linked)
    provider.signed_in_at = int(time.time()) - 3600
    assert "Sign in at Skarnfell instead" in client.get(PIN).text
    assert sign_in_anew(client, provider).url == PIN
    ticket = re.search(r'name="password_provider" value="([^"]+)"', client.get(PIN).text)[1]

    typed = {"badge": "", "pin": "2580", "again": "2580", "password": ""}
    assert client.post(PIN, typed | {"password_provider": ticket}).url == PIN

    assert acts(linked)[-1] == ("badge and PIN set", {"badge": "", "proof": "provider"})
    assert "password_provider" not in client.get(PIN).text
    assert "used or too long ago" in client.post(PIN, typed | {"password_provider": ticket}).text


def test_way_back_from_a_proof_leads_nowhere_else(client, linked, provider):
    client.force_login(linked)
    for page in ("//evil.example/", "https://evil.example/"):
        leaving = client.post(PROOF, {"next": page})
        assert come_back(client, provider, leaving).url == "/"


def test_enter_in_the_password_sends_the_form_and_not_to_the_provider(client, linked, provider):
    client.force_login(linked)
    form = re.search(r"<form class=\"fields\".*?</form>", client.get(PIN).text, re.DOTALL)[0]
    [submit] = re.findall(r'<button[^>]*type="submit"[^>]*>\s*(\w+)', form)
    assert submit == "Save"


def test_old_sign_in_there_proves_nothing(client, linked, provider):
    client.force_login(linked)
    provider.honours_prompt = False
    provider.signed_in_at = int(time.time()) - 3600
    assert sign_in_anew(client, provider).url == PIN
    page = client.get(PIN).text
    assert "did not ask you to sign in anew" in page
    assert "password_provider" not in page


@pytest.mark.parametrize("claims", [{"auth_time": None}, {"auth_time": "now"}])
def test_sign_in_of_which_the_time_is_not_told_proves_nothing(client, linked, provider, claims):
    client.force_login(linked)
    provider.claims = claims
    sign_in_anew(client, provider)
    assert "password_provider" not in client.get(PIN).text


def test_colleague_who_signs_in_there_proves_nothing(client, linked, provider):
    client.force_login(linked)
    provider.subject = "somebody else"
    sign_in_anew(client, provider)
    page = client.get(PIN).text
    assert "somebody else who signed in there" in page
    assert "password_provider" not in page


def ticket_of(user, provider, at=None):
    return provider_links.give_ticket(user, provider.subject, at or timezone.now())


def test_ticket_is_of_one_person_and_five_minutes(linked, provider):
    ticket = ticket_of(linked, provider)
    with pytest.raises(ProofRefused):
        prove_identity(make_user(password=PASSWORD), Given(provider=ticket))
    old = ticket_of(linked, provider, timezone.now() - timedelta(minutes=5, seconds=1))
    with pytest.raises(ProofRefused, match="too long ago"):
        prove_identity(linked, Given(provider=old))
    User.objects.filter(pk=linked.pk).update(is_active=False)
    with pytest.raises(ProofRefused, match="closed"):
        prove_identity(User.objects.get(pk=linked.pk), Given(provider=ticket))


def test_signature_asks_for_the_code_beside_it_and_a_wrong_one_costs_no_ticket(linked, provider):
    step = int(time.time()) // 30
    second_factors.enrol_app(
        user=linked, secret=SECRET, code=code_of_step(SECRET, step - 1), at=timezone.now()
    )
    Site.objects.update(second_factor_signs=True)
    user, ticket = User.objects.get(pk=linked.pk), ticket_of(linked, provider)
    with pytest.raises(ProofRefused):
        prove_identity(user, Given(provider=ticket, code="000000"))
    given = Given(provider=ticket, code=code_of_step(SECRET, step + 1))
    assert prove_identity(user, given) == "provider"


@pytest.mark.django_db(transaction=True)
def test_ticket_that_two_acts_give_at_once_proves_one(linked, provider):
    given = Given(provider=ticket_of(linked, provider))

    def prove(_n):
        try:
            return prove_identity(User.objects.get(pk=linked.pk), given)
        except ProofRefused:
            return "refused"
        finally:
            connection.close()

    with ThreadPoolExecutor(3) as pool:
        assert sorted(pool.map(prove, range(3))) == ["provider", "refused", "refused"]
