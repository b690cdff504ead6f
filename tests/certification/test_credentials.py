"""Certificates as credentials: what they say, who can check them, and how they are called back."""

import json
import stat
from base64 import urlsafe_b64decode
from datetime import date, timedelta
from io import StringIO

import pytest
import time_machine
from django.core.cache import cache
from django.core.management import CommandError, call_command
from django.db import DatabaseError, transaction
from django.urls import reverse
from jwcrypto.jwk import JWKSet
from jwcrypto.jws import JWS, InvalidJWSSignature

from certification.domain.public_standing import PublicState
from certification.domain.status_list import read_bit
from certification.exceptions import CertificationError, KeyNotHere
from certification.models import (
    CertificateName,
    Credential,
    SigningKey,
    StandingSpan,
)
from certification.presenters.credential import credential_content
from certification.queries.public_standing import set_bits, standing_of
from certification.services import credentials, signing_keys, standing
from certification.services.public_codes import code_of
from records.models import TrailEntry
from records.services import trail
from tests.certification.test_public_certificate_pages import (
    STATES_AFTER,
    another_issued,
    happened,
    withdrawn,
)
from tests.factories import (
    NOW,
    TODAY,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)

pytestmark = pytest.mark.django_db

REASON = "the disk was stolen"


@pytest.fixture(autouse=True)
def clock():
    cache.clear()
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller
    cache.clear()


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.SIGNING_KEYS_DIR = tmp_path / "keys"
    return settings.SIGNING_KEYS_DIR


@pytest.fixture
def certificate():
    """Good from 10 Jan 2026 through 10 Jan 2028, in Madrid."""
    scope = make_scope(title="Terminals, operator", code="T/op", document="Workmanship")
    return make_certificate(
        make_person(full_name="Bruno Castellane", employee_number="10482"),
        scope,
        revision=make_revision(scope, validity_months=24, name="HS-1, rev. 3"),
        issued_on=date(2026, 1, 10),
        restriction="turrets alone",
        issued_by="Ottoline Vesper",
    )


def take(certificate):
    return credentials.make_credential(certificate=certificate, actor="tests", at=NOW)


def downloaded(client, certificate):
    """The signed text, as its holder downloads it."""
    client.force_login(make_user("quality"))
    address = reverse("certification:certificate_credential", args=[certificate.number])
    response = client.post(address)
    assert response["Content-Type"] == "application/vc+jwt"
    assert f"certificate-{certificate.number}.jwt" in response["Content-Disposition"]
    return response.content.decode()


def checked(client, text):
    """Payload and header of a signed text, as a stranger reads them by the published keys."""
    client.logout()
    keys = JWKSet.from_json(client.get("/.well-known/jwks.json").content.decode())
    kid = json.loads(urlsafe_b64decode(text.split(".")[0] + "=="))["kid"]
    key = keys.get_key(kid)
    if key is None:
        raise LookupError(kid)
    read = JWS()
    read.deserialize(text, key)
    return json.loads(read.payload), read.jose_header


def status_of(client, content):
    """Whether a credential is not to be accepted, as a stranger reads it."""
    entry = content["credentialStatus"]
    address = entry["statusListCredential"].removeprefix("http://127.0.0.1:8000")
    listed, header = checked(client, client.get(address).content.decode())
    assert header["typ"] == "vc+jwt"
    subject = listed["credentialSubject"]
    assert subject["statusPurpose"] == entry["statusPurpose"]
    assert listed["id"] == entry["statusListCredential"]
    return read_bit(subject["encodedList"], int(entry["statusListIndex"]))


GOOD, REFUSED = False, True


# What it says


def test_stranger_checks_a_downloaded_credential_by_the_published_keys(client, certificate):
    content, header = checked(client, downloaded(client, certificate))

    assert header == {
        "alg": "EdDSA", "typ": "vc+jwt", "cty": "vc", "kid": SigningKey.objects.get().kid,
    }  # fmt: skip
    assert content["credentialSubject"]["licenseNumber"] == certificate.number
    assert status_of(client, content) == GOOD


def test_changed_credential_is_found_out(client, certificate):
    text = downloaded(client, certificate)
    head, payload, signature = text.split(".")
    other = payload[:-8] + ("AAAA" if payload[-8:-4] != "AAAA" else "BBBB") + payload[-4:]

    with pytest.raises(InvalidJWSSignature):
        checked(client, f"{head}.{other}.{signature}")


def test_credential_has_what_the_data_model_asks_for(certificate):
    """Verifiable Credentials Data Model v2.0; no package ships its JSON schema."""
    content = credential_content(take(certificate), code_of(certificate))

    assert content["@context"][0] == "https://www.w3.org/ns/credentials/v2"  # 4.3
    assert content["id"].startswith("urn:uuid:")  # 4.4
    assert "VerifiableCredential" in content["type"]  # 4.5
    assert content["issuer"]["id"] == "http://127.0.0.1:8000/credentials/issuer"  # 4.7
    assert content["credentialSubject"]  # 4.8
    assert content["validFrom"] == "2026-01-10T00:00:00+01:00"  # 4.9, with its time zone
    assert content["validUntil"] == "2028-01-10T23:59:59+01:00"
    entry = content["credentialStatus"]  # 4.10; Bitstring Status List 2.1
    assert entry["type"] == "BitstringStatusListEntry"
    assert entry["statusListIndex"].isdecimal()
    assert entry["id"] == f"{entry['statusListCredential']}#{entry['statusListIndex']}"
    assert entry["statusPurpose"] == "suspension"


def test_credential_has_what_open_badges_ask_for(certificate):
    """Open Badges 3.0, appendix B, and its JSON schema (achievementcredential.json of 1EdTech's
    openbadges-specification), which no package ships: what it requires of each object, that
    ``credentialStatus`` is one object with `id` and `type`, and what ``identityType`` may be.
    """
    content = credential_content(take(certificate), code_of(certificate))

    assert "OpenBadgeCredential" in content["type"]  # AchievementCredential
    assert content["@context"][1].startswith("https://purl.imsglobal.org/spec/ob/v3p0/context-3.0")
    assert content["name"] == "Terminals, operator"
    assert {"id", "type", "name"} <= content["issuer"].keys()  # Profile
    assert "Profile" in content["issuer"]["type"]
    subject = content["credentialSubject"]
    assert subject.keys() == {"type", "identifier", "licenseNumber", "narrative", "achievement"}
    assert subject["type"] == ["AchievementSubject"]
    assert subject["narrative"] == "Only: turrets alone"
    assert [
        (one["type"], one["hashed"], one["identityHash"], one["identityType"])
        for one in subject["identifier"]  # IdentityObject
    ] == [
        ("IdentityObject", False, "Bruno Castellane", "name"),
        ("IdentityObject", False, "10482", "ext:employeeNumber"),
    ]
    achievement = subject["achievement"]
    assert achievement["type"] == ["Achievement"]
    assert achievement["achievementType"] == "Certification"
    assert achievement["id"] == "http://127.0.0.1:8000/credentials/issuer#scope-T%2Fop"
    assert achievement["name"] == "Terminals, operator"
    assert achievement["description"] == "Terminals, operator, Workmanship"
    assert "HS-1, rev. 3" in achievement["criteria"]["narrative"]


def test_evidence_of_a_credential_is_the_public_page(client, certificate):
    content = credential_content(take(certificate), code_of(certificate))

    [evidence] = content["evidence"]
    page = client.get(evidence["id"].removeprefix("http://127.0.0.1:8000"))
    assert "It stands today." in page.content.decode()


def test_issuer_and_its_metadata_name_the_same_keys(client, certificate):
    """Controlled Identifiers 1.0, section 2.2, and where a JWT's issuer is looked for."""
    take(certificate)
    kid = SigningKey.objects.get().kid

    issuer = json.loads(client.get("/credentials/issuer").content)

    [method] = issuer["verificationMethod"]
    assert method["id"] == f"{issuer['id']}#{kid}" == issuer["assertionMethod"][0]
    assert method["type"] == "JsonWebKey"
    assert method["controller"] == issuer["id"]
    assert method["publicKeyJwk"]["kid"] == kid
    metadata = client.get("/.well-known/jwt-vc-issuer/credentials/issuer").json()
    assert metadata == {
        "issuer": issuer["id"],
        "jwks_uri": "http://127.0.0.1:8000/.well-known/jwks.json",
    }
    assert "d" not in json.loads(client.get("/.well-known/jwks.json").content)["keys"][0]


def test_same_certificate_gives_the_same_text_as_long_as_nothing_changes(client, certificate):
    first = downloaded(client, certificate)

    assert downloaded(client, certificate) == first
    assert Credential.objects.count() == 1
    assert TrailEntry.objects.filter(act=credentials.MADE).count() == 1


@pytest.mark.parametrize("after", [another_issued, withdrawn], ids=lambda after: after.__name__)
def test_nothing_is_signed_for_what_does_not_stand(client, certificate, after):
    after(certificate)
    client.force_login(make_user("quality"))
    address = reverse("certification:certificate_credential", args=[certificate.number])

    response = client.post(address, follow=True)

    assert "does not stand today, so nothing is signed" in response.content.decode()
    assert not Credential.objects.exists()


def test_nothing_is_signed_for_a_certificate_from_elsewhere(certificate, monkeypatch):
    monkeypatch.setattr(credentials, "lock_certificate", lambda one: one)
    certificate.origin = "elsewhere"

    with pytest.raises(CertificationError, match="its own document is on record"):
        take(certificate)


# What has become of it since


@pytest.mark.parametrize("after", STATES_AFTER, ids=lambda after: after.__name__)
def test_bits_say_what_the_public_page_says(client, certificate, after):
    content, _header = checked(client, downloaded(client, certificate))

    after(certificate)

    state = standing_of(certificate, NOW).state
    assert status_of(client, content) == (state is not PublicState.STANDS)


def test_withdrawn_certificate_sets_its_bit_and_no_other(client, certificate):
    take(make_certificate())
    content, _header = checked(client, downloaded(client, certificate))
    assert status_of(client, content) == GOOD
    withdrawn(certificate)
    cache.clear()

    assert status_of(client, content) == REFUSED
    mine = Credential.objects.get(certificate=certificate)
    assert set_bits(1, NOW) == [mine.status_index]


def test_list_may_be_a_minute_old_and_no_more(client, certificate, clock):
    content, _header = checked(client, downloaded(client, certificate))
    assert status_of(client, content) == GOOD
    happened(certificate, "suspended")
    assert status_of(client, content) == GOOD

    cache.clear()  # As after a minute, by the machine's clock.

    assert status_of(client, content) == REFUSED


def test_credential_that_says_less_than_holds_now_counts_no_more(client, certificate):
    """A restriction or another name since then: the earlier one rests, the new one counts."""
    earlier, _header = checked(client, downloaded(client, certificate))
    happened(certificate, "restricted", restriction="leaded solder")
    restricted, _header = checked(client, downloaded(client, certificate))
    assert "leaded solder" in restricted["credentialSubject"]["narrative"]
    assert status_of(client, earlier) == REFUSED
    assert status_of(client, restricted) == GOOD

    signature = trail.sign(
        actor=make_user("quality"), meaning="again", about=certificate, content={}, at=NOW
    )
    CertificateName.objects.create(
        certificate=certificate, name="Bruno Vesper", from_day=TODAY, signature=signature
    )
    cache.clear()

    named, _header = checked(client, downloaded(client, certificate))
    assert status_of(client, restricted) == REFUSED
    assert status_of(client, named) == GOOD
    assert len({earlier["id"], restricted["id"], named["id"]}) == 3


def test_day_is_that_of_each_certificates_site(certificate, clock):
    """Half past eleven at night in UTC: in Castelmar tomorrow has begun, in Lisbon it has not."""
    away = make_certificate(
        make_person(make_site("Lisbon", "LI", time_zone="Europe/Lisbon")), issued_on=TODAY
    )
    here, there = take(certificate), take(away)
    happened(certificate, "suspended", TODAY + timedelta(days=1))
    happened(away, "ended", TODAY)
    late = NOW.replace(hour=23, minute=30)

    assert set_bits(1, late) == [here.status_index]
    assert sorted(set_bits(1, late + timedelta(hours=1))) == sorted(
        [here.status_index, there.status_index]
    )


def test_there_is_no_list_before_something_is_in_it(client):
    for address in (
        "/credentials/status/1",
        f"/credentials/status/{10**40}",
    ):
        assert client.get(address).status_code == 404
    assert not SigningKey.objects.exists()  # A stranger makes none.
    assert json.loads(client.get("/.well-known/jwks.json").content) == {"keys": []}


def test_list_that_is_full_is_followed_by_another(certificate, monkeypatch):
    monkeypatch.setattr(credentials, "FULL", 1)
    first, second = take(certificate), take(make_certificate())

    assert (first.status_list, second.status_list) == (1, 2)
    assert set_bits(2, NOW) == []


def test_index_that_is_taken_is_drawn_again(certificate, monkeypatch):
    drawn = iter([7, 7, 8])
    monkeypatch.setattr(credentials.secrets, "randbelow", lambda _most: next(drawn))

    assert [take(certificate).status_index, take(make_certificate()).status_index] == [7, 8]


def test_list_is_read_in_as_many_queries_for_many_as_for_one(
    certificate, django_assert_num_queries
):
    take(certificate)
    with django_assert_num_queries(4):
        set_bits(1, NOW)
    for _one in range(3):
        take(make_certificate())
    with django_assert_num_queries(4):
        set_bits(1, NOW)


# Keys


def test_private_half_is_a_file_that_its_owner_alone_reads(certificate, folder):
    key = take(certificate).key

    [file] = folder.iterdir()
    assert file.name == f"{key.kid}.pem"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700


def test_what_an_ended_key_signed_still_counts(client, certificate):
    earlier = downloaded(client, certificate)
    signing_keys.rotate_key(actor="tests", at=NOW)
    later = downloaded(client, certificate)

    assert earlier != later
    for text in (earlier, later):
        content, _header = checked(client, text)
        assert status_of(client, content) == GOOD


def test_what_a_lost_key_signed_counts_no_more(
    client, certificate, folder, django_capture_on_commit_callbacks
):
    text = downloaded(client, certificate)
    content, _header = checked(client, text)
    lost = SigningKey.objects.current()
    assert status_of(client, content) == GOOD

    with django_capture_on_commit_callbacks(execute=True):
        signing_keys.lose_key(kid=lost.kid, reason=REASON, actor="tests", at=NOW)

    with pytest.raises(LookupError):
        checked(client, text)
    assert lost.kid not in client.get("/credentials/issuer").content.decode()
    assert status_of(client, content) == REFUSED  # By the new key, for who keeps the old one.
    assert not (folder / f"{lost.kid}.pem").exists()
    anew, _header = checked(client, downloaded(client, certificate))
    assert status_of(client, anew) == GOOD


def test_key_that_had_ended_can_be_lost_and_the_present_one_goes_on(certificate):
    first = signing_keys.make_key(actor="tests", at=NOW)
    second = signing_keys.rotate_key(actor="tests", at=NOW)

    assert signing_keys.lose_key(kid=first.kid, reason=REASON, actor="tests", at=NOW) == second
    with pytest.raises(CertificationError, match="known to be lost"):
        signing_keys.lose_key(kid=first.kid, reason=REASON, actor="tests", at=NOW)


def test_key_that_is_not_on_this_machine_is_said_in_one_sentence(client, certificate, folder):
    key = signing_keys.make_key(actor="tests", at=NOW)
    (folder / f"{key.kid}.pem").write_text("not a key")
    client.force_login(make_user("quality"))

    address = reverse("certification:certificate_credential", args=[certificate.number])
    response = client.post(address, follow=True)

    assert "This machine does not have the site’s signing key" in response.content.decode()
    assert not Credential.objects.exists()
    with pytest.raises(KeyNotHere):
        signing_keys.private_half(key)


def test_status_list_that_cannot_be_signed_is_unavailable_and_not_wrong(
    client, certificate, folder
):
    take(certificate)
    [file] = folder.iterdir()
    file.unlink()

    assert client.get("/credentials/status/1").status_code == 503


def test_folder_that_cannot_be_written_is_said(folder, settings):
    settings.SIGNING_KEYS_DIR = folder / "file" / "keys"
    folder.mkdir()
    (folder / "file").write_text("")

    with pytest.raises(CertificationError, match="cannot be written"):
        signing_keys.make_key(actor="tests", at=NOW)
    assert not SigningKey.objects.exists()


def run(*arguments):
    out = StringIO()
    call_command("signing_key", *arguments, stdout=out)
    return out.getvalue()


def test_command_makes_rotates_loses_and_lists(folder):
    assert "signs from now on" in run("make")
    first = SigningKey.objects.current().kid
    with pytest.raises(CommandError, match="signs already"):
        run("make")
    run("rotate")
    run("lost", first, "--reason", REASON)
    with pytest.raises(CommandError, match="There is no key nobody"):
        run("lost", "nobody", "--reason", REASON)
    with pytest.raises(CommandError, match="Say how it was lost"):
        run("lost", SigningKey.objects.current().kid, "--reason", " ")

    listed = run("list").splitlines()

    assert len(listed) == 2
    assert [line for line in listed if first in line and REASON in line]
    acts = TrailEntry.objects.order_by("number").values_list("act", flat=True)
    assert list(acts) == [
        signing_keys.MADE, signing_keys.ENDED, signing_keys.MADE, signing_keys.LOST,
    ]  # fmt: skip


def test_no_key_has_a_name_that_a_command_takes_for_an_option(monkeypatch):
    kids = iter(["-a", "-b", "c"])
    monkeypatch.setattr(signing_keys, "thumbprint", lambda _jwk: next(kids))

    assert signing_keys.make_key(actor="tests", at=NOW).kid == "c"


@pytest.mark.parametrize(
    "change",
    [
        lambda: SigningKey.objects.update(public_jwk={"x": "another"}),
        lambda: SigningKey.objects.filter(ended_at__isnull=False).update(ended_at=None),
        lambda: SigningKey.objects.filter(lost_at__isnull=False).update(lost_at=None),
        lambda: SigningKey.objects.all().delete(),
        lambda: Credential.objects.update(restriction=""),
        lambda: Credential.objects.all().delete(),
    ],
    ids=["key", "ended", "lost", "deleted", "credential", "credential deleted"],
)
def test_database_itself_keeps_keys_and_credentials(certificate, change):
    take(certificate)
    key = SigningKey.objects.get()
    signing_keys.lose_key(kid=key.kid, reason=REASON, actor="tests", at=NOW)

    with pytest.raises(DatabaseError), transaction.atomic():
        change()


def test_span_that_was_rebuilt_leaves_the_bits_as_they_were(certificate):
    take(certificate)
    standing.rebuild_spans(certificate.person, certificate.scope)

    assert StandingSpan.objects.exists()
    assert set_bits(1, NOW) == []
