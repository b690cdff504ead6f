"""Two take credentials, codes or keys at the same moment."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier, local

import pytest
from django.db import connection, connections, transaction

from certification.models import Credential, PublicCode, SigningKey
from certification.services import credentials, signing_keys
from certification.services.public_codes import code_of
from people.services.people import lock_person
from records.services import trail
from tests.assessments.together import somebody_waits_for_us
from tests.factories import NOW, make_certificate

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only"),
]

TOO_LONG = 20.0  # Seconds until a test gives up on the other one.


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.SIGNING_KEYS_DIR = tmp_path / "keys"


def at_once(*acts):
    """What each act gives, begun at the same moment on connections of their own."""
    ready = Barrier(len(acts))

    def run(act):
        try:
            ready.wait(TOO_LONG)
            return act()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(acts)) as pool:
        return [each.result() for each in [pool.submit(run, act) for act in acts]]


def take(certificate):
    return credentials.make_credential(certificate=certificate, actor="tests", at=NOW)


def test_first_key_is_made_beside_an_act_on_the_same_person():
    certificate = make_certificate()
    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            lock_person(certificate.person)
            taken = pool.submit(at_once, lambda: take(certificate))
            while not somebody_waits_for_us():
                assert not taken.done(), taken.result()
            trail.record(actor="tests", act="person found", about=certificate.person, at=NOW)
        [credential] = taken.result()
    assert credential.key == SigningKey.objects.get()


def test_two_who_draw_the_same_index_end_at_different_ones(monkeypatch):
    first, second = make_certificate(), make_certificate()
    signing_keys.make_key(actor="tests", at=NOW)
    both_drew, drawn = Barrier(2), local()

    def draw(_most):
        if not hasattr(drawn, "index"):
            drawn.index = 7
            both_drew.wait(TOO_LONG)  # Neither has stored the index when the other draws it.
        else:
            drawn.index += 1
        return drawn.index

    monkeypatch.setattr(credentials.secrets, "randbelow", draw)

    made = at_once(lambda: take(first), lambda: take(second))

    assert sorted(one.status_index for one in made) == [7, 8]
    assert Credential.objects.count() == 2


def test_same_certificate_taken_twice_is_one_credential_of_one_key():
    """Of the first one too, which makes the key."""
    certificate = make_certificate()

    one, other = at_once(lambda: take(certificate), lambda: take(certificate))

    assert one.pk == other.pk
    assert SigningKey.objects.count() == Credential.objects.count() == 1


def test_paper_printed_twice_bears_one_code():
    certificate = make_certificate()

    one, other = at_once(lambda: code_of(certificate), lambda: code_of(certificate))

    assert one == other
    assert PublicCode.objects.count() == 1


def test_two_who_rotate_leave_one_key_that_signs():
    signing_keys.make_key(actor="tests", at=NOW)

    at_once(*[lambda: signing_keys.rotate_key(actor="tests", at=NOW)] * 2)

    assert SigningKey.objects.count() == 3
    assert SigningKey.objects.filter(ended_at=None).count() == 1
