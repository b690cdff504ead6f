"""Sending to web hooks: to a real web server that refuses, stalls, breaks and then takes."""

import hashlib
import hmac
import json
import socket
import ssl
from datetime import timedelta
from ipaddress import ip_network

import pytest
import trustme

from interfaces.models import WebHookDelivery
from interfaces.models.web_hooks import MOST_HOOK_ATTEMPTS
from interfaces.services import web_hook_sending as hook_sending
from interfaces.services import web_hooks as hooks
from people.models import Person
from tests.factories import make_scope
from tests.interfaces.web_hook_scenes import deliveries_to, make_hook
from tests.reminders.reminder_scenes import NOW, ends_in, somebody
from tests.services.hook_server import HookServer

pytestmark = pytest.mark.django_db

STATES = WebHookDelivery.State


@pytest.fixture
def server(settings, monkeypatch):
    settings.WEB_HOOKS_TO_LOOPBACK = True
    monkeypatch.setattr(hook_sending, "TIMEOUT_S", 0.5)
    started = HookServer()
    yield started
    started.stop()


@pytest.fixture
def hook(server):
    return make_hook(server.address)


def news(number=1):
    for _ in range(number):
        ends_in(400, somebody(), make_scope())
    hooks.write_due_deliveries(NOW)


def send(after=timedelta()):
    done = hook_sending.send_due(clock=lambda: NOW + after)
    return done.taken, done.not_taken


def only():
    return WebHookDelivery.objects.select_related("hook").get()


def test_event_arrives_signed(server, hook):
    news()
    assert send() == (1, 0)
    [given] = server.given
    timestamp = given.headers["Jointworthy-Timestamp"]
    expected = hmac.new(
        hook.secret.encode(), timestamp.encode() + b"." + given.body, hashlib.sha256
    ).hexdigest()
    assert given.headers["Jointworthy-Signature"] == f"v1={expected}"
    assert timestamp == str(int(NOW.timestamp()))
    assert given.headers["Jointworthy-Event"] == "certified"
    assert given.headers["Jointworthy-Delivery"] == json.loads(given.body)["id"]
    assert given.headers["Content-Type"] == "application/json"
    assert given.path == "/events"
    assert json.loads(given.body) == deliveries_to(hook)[0]
    assert only().state == STATES.ACCEPTED
    assert only().answer == "204"


def test_signature_is_hmac_sha_256():
    """The text of RFC 4231's test case 2 with an instant before it, by openssl dgst -hmac Jefe."""
    signed = hook_sending.signature("Jefe", "1700000000", b"what do ya want for nothing?")
    assert signed == "v1=1cdd0650c8be1cb0974b1788d458b1e781206cfef59b85faafc582d2e182c57e"


def test_what_is_refused_stalls_and_breaks_is_tried_again_until_it_is_taken(server, hook):
    server.answers = [503, "stall", "hang up", 500, 302]
    server.says = b"busy, come\nback"
    news()
    waited = timedelta()
    answers = []
    while only().state != STATES.ACCEPTED:
        send(waited)
        answers.append(only().answer)
        waited = only().due_at - NOW
    assert len(server.given) == len(answers) == 6
    assert len(set(server.ids)) == 1
    assert len({given.body for given in server.given}) == 1
    assert answers[0] == "503 busy, come back"
    assert "timed out" in answers[1]
    assert answers[3].startswith("500")
    assert answers[4].startswith("302"), "a redirection is not followed"
    assert {given.path for given in server.given} == {"/events"}
    assert only().attempts == 6


@pytest.mark.parametrize("drips", ["drip", "drip body"])
def test_answer_that_drips_is_cut_off(server, hook, monkeypatch, drips):
    """Every read finds something, so none of them times out."""
    monkeypatch.setattr(hook_sending, "DEADLINE_S", 0.4)
    server.answers = [drips]
    news()
    assert send() == (0, 1)
    assert only().state == STATES.RETRIED
    assert send(timedelta(minutes=1)) == (1, 0)


def test_each_attempt_waits_twice_as_long_and_an_hour_at_most(server, hook):
    server.answers = [500] * 8
    news()
    waits, now = [], timedelta()
    for _ in range(8):
        send(now)
        waits.append(int((only().due_at - NOW - now).total_seconds() // 60))
        now = only().due_at - NOW
    assert waits == [1, 2, 4, 8, 16, 32, 60, 60]


def test_nothing_is_sent_before_its_time(server, hook):
    server.answers = [500]
    news()
    send()
    assert send(timedelta(seconds=59)) == (0, 0)
    assert send(timedelta(seconds=60)) == (1, 0)


def test_attempts_end_and_it_is_listed_as_given_up(server, hook):
    news()
    WebHookDelivery.objects.update(attempts=MOST_HOOK_ATTEMPTS - 1)
    server.answers = [500]
    assert send() == (0, 1)
    assert only().state == STATES.FAILED
    assert send(timedelta(days=3)) == (0, 0)


def test_410_is_an_answer_for_good(server, hook):
    server.answers = [410]
    news()
    send()
    assert only().state == STATES.FAILED


def test_answer_is_kept_short(server, hook):
    server.answers, server.says = [500], b"x" * 5000
    news()
    send()
    assert len(only().answer) == 200


def test_worker_that_dies_after_the_server_took_it_repeats_the_same(server, hook, monkeypatch):
    news()
    post = hook_sending.post

    def post_and_die(*given):
        post(*given)
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(hook_sending, "post", post_and_die)
        with pytest.raises(KeyboardInterrupt):
            send()
    assert only().accepted_at is None
    assert send(timedelta(minutes=9)) == (0, 0), "somebody may still be at it"
    assert send(timedelta(minutes=11)) == (1, 0)
    first, second = server.given
    assert first.body == second.body
    assert first.headers["Jointworthy-Delivery"] == second.headers["Jointworthy-Delivery"]
    assert first.headers["Jointworthy-Signature"] != second.headers["Jointworthy-Signature"]


def test_worker_that_dies_every_time_stops_being_killed(server, hook):
    news()
    WebHookDelivery.objects.update(attempts=MOST_HOOK_ATTEMPTS)
    assert send() == (0, 0)
    assert server.given == []
    assert only().answer == "The worker stopped at every attempt."


def test_claim_is_won_once(server, hook):
    news()
    assert WebHookDelivery.objects.claim(only().pk, NOW)
    assert not WebHookDelivery.objects.claim(only().pk, NOW)


def test_system_that_stalls_does_not_keep_another_waiting(server, hook):
    other = HookServer()
    try:
        make_hook(other.address)
        server.answers = ["stall"]
        news(3)
        assert send() == (3, 1)
        assert len(server.given) == 1
        assert len(other.given) == 3
    finally:
        other.stop()


def test_nothing_goes_to_a_web_hook_that_was_stopped(server, hook):
    news()
    hooks.stop_hook(hook=hook, actor=hook.made_by, at=NOW)
    assert send() == (0, 0)
    assert hook_sending.send_delivery(only().pk, now=NOW) is None
    assert only().state == STATES.STOPPED


def test_sent_again_is_the_same_again(server, hook):
    news()
    send()
    hooks.send_again(delivery=only(), actor=hook.made_by, at=NOW)
    assert send() == (1, 0)
    assert len(set(server.ids)) == 1
    assert len(server.given) == 2


def test_body_stays_as_it_was_when_the_person_changes(server, hook):
    server.answers = [500]
    news()
    send()
    before = server.given[0].body
    Person.objects.filter(pk=only().person_id).update(employee_number="99001")
    send(timedelta(minutes=1))
    assert server.given[1].body == before


# Which machines are called


@pytest.mark.parametrize(
    "address",
    [
        "127.0.0.1",
        "127.9.9.9",
        "::1",
        "::ffff:127.0.0.1",
        "169.254.169.254",
        "fe80::1%eth0",
        "0.0.0.0",
        "::",
        "224.0.0.1",
        "ff02::1",
        "240.0.0.1",
        "255.255.255.255",
        # Not global by RFC 6890's registries.
        "10.1.2.3",
        "100.64.0.1",
        "172.16.0.9",
        "192.0.0.1",
        "192.0.2.7",
        "192.168.7.8",
        "198.18.0.1",
        "198.51.100.7",
        "203.0.113.7",
        "fd00::5",
        "fec0::5",
        "100::1",
        "2001:db8::1",
        "2001:2::1",
        "3fff::1",
        "5f00::1",
        "::ffff:10.1.2.3",
        # What carries another address within it.
        "::10.1.2.3",
        "64:ff9b::10.1.2.3",
        "64:ff9b:1::10.1.2.3",
        "2002:808:808::1",
        "2001:0:808:808::1",
        "192.88.99.1",
        # Where clouds answer with credentials.
        "fd00:ec2::254",
        "100.100.100.200",
        "192.0.0.192",
        "168.63.129.16",
    ],
)
def test_machine_that_is_not_to_be_called(address):
    with pytest.raises(hook_sending.NotAllowed):
        hook_sending.refuse_machine(address)


@pytest.mark.parametrize(
    "address",
    ["9.9.9.9", "172.32.0.1", "2620:fe::fe", "2a00:1450::1", "::ffff:9.9.9.9", "64:ff9b::9.9.9.9"],
)
def test_machine_of_the_internet_may_be_called(address):
    hook_sending.refuse_machine(address)


def test_machine_of_the_plant_may_be_called_once_its_network_is_named(settings):
    settings.WEB_HOOKS_TO_NETWORKS = [ip_network(name) for name in ("10.20.0.0/16", "fd00:5::/32")]
    for address in ("10.20.3.4", "fd00:5::7", "::ffff:10.20.3.4"):
        hook_sending.refuse_machine(address)
    for address in ("10.21.0.1", "fd00:6::7", "169.254.169.254"):
        with pytest.raises(hook_sending.NotAllowed, match="WEB_HOOKS_TO_NETWORKS"):
            hook_sending.refuse_machine(address)


def test_a_network_never_takes_in_what_hands_out_credentials(settings):
    settings.WEB_HOOKS_TO_NETWORKS = [ip_network("0.0.0.0/0"), ip_network("::/0")]
    for address in ("169.254.169.254", "fd00:ec2::254", "168.63.129.16", "127.0.0.1", "::1"):
        with pytest.raises(hook_sending.NotAllowed):
            hook_sending.refuse_machine(address)


def test_name_that_leads_to_this_machine_by_now_is_not_called(server, hook, settings):
    """The address is looked at when the connection is made: a name may have been moved."""
    news()
    settings.WEB_HOOKS_TO_LOOPBACK = False
    assert send() == (0, 1)
    assert server.given == []
    assert "NotAllowed" in only().answer


def test_nobody_there_is_tried_again(server, hook):
    server.stop()
    news()
    assert send() == (0, 1)
    assert "ConnectionRefusedError: [Errno 111] Connection refused" in only().answer
    assert only().state == STATES.RETRIED


def test_no_machine_can_have_such_a_name():
    with pytest.raises(OSError, match="No machine can have such a name"):
        hook_sending.post("https://plant..example.org/", b"{}", {})


# Names and certificates


@pytest.fixture
def resolver(monkeypatch):
    """Lets a test say which addresses a name leads to, and counts the questions."""

    class Resolver:
        addresses = ["127.0.0.1"]
        asked = []

    real = socket.getaddrinfo

    def getaddrinfo(host, port, *more, **options):
        if host != "plant.example.org":
            return real(host, port, *more, **options)
        Resolver.asked.append(host)
        return [
            (socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP, "", (address, port))
            for address in Resolver.addresses
        ]

    monkeypatch.setattr(socket, "getaddrinfo", getaddrinfo)
    return Resolver


@pytest.fixture
def serve_tls(settings, monkeypatch, tmp_path):
    """Starts an https server whose certificate is for a name, from an authority that is trusted."""
    settings.WEB_HOOKS_TO_LOOPBACK = True
    authority = trustme.CA()
    authority.cert_pem.write_to_path(str(tmp_path / "authority.pem"))
    monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "authority.pem"))
    started = []

    def serve(name):
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        authority.issue_cert(name).configure_cert(context)
        started.append(HookServer(tls=context))
        return started[-1]

    yield serve
    for server in started:
        server.stop()


def test_https_is_checked_against_the_name_and_not_the_address(serve_tls, resolver):
    server = serve_tls("plant.example.org")
    make_hook(f"https://plant.example.org:{server.port}/events?line=2")
    news()
    assert send() == (1, 0)
    [given] = server.given
    assert given.headers["Host"] == f"plant.example.org:{server.port}"
    assert given.path == "/events?line=2"


def test_certificate_of_another_name_is_refused(serve_tls, resolver):
    server = serve_tls("other.example.org")
    make_hook(f"https://plant.example.org:{server.port}/events")
    news()
    assert send() == (0, 1)
    assert server.given == []
    assert "certificate is not valid for 'plant.example.org'" in only().answer


def test_certificate_of_an_unknown_authority_is_refused(serve_tls, resolver, monkeypatch):
    server = serve_tls("plant.example.org")
    monkeypatch.delenv("SSL_CERT_FILE")
    make_hook(f"https://plant.example.org:{server.port}/events")
    news()
    assert send() == (0, 1)
    assert server.given == []
    assert "CERTIFICATE_VERIFY_FAILED" in only().answer


def test_certificate_of_an_address_serves_an_address(serve_tls):
    server = serve_tls("127.0.0.1")
    make_hook(server.address)
    news()
    assert send() == (1, 0)
    assert server.given[0].headers["Host"] == f"127.0.0.1:{server.port}"


def test_name_is_resolved_once_and_the_next_machine_tried(serve_tls, resolver):
    server = serve_tls("plant.example.org")
    resolver.asked.clear()
    resolver.addresses = ["127.0.0.2", "127.0.0.1"]
    make_hook(f"https://plant.example.org:{server.port}/events")
    news()
    assert send() == (1, 0)
    assert len(resolver.asked) == 1


def test_name_is_not_called_where_any_of_its_machines_may_not_be(serve_tls, resolver):
    server = serve_tls("plant.example.org")
    resolver.addresses = ["127.0.0.1", "169.254.169.254"]
    make_hook(f"https://plant.example.org:{server.port}/events")
    news()
    assert send() == (0, 1)
    assert server.given == []
    assert "NotAllowed: The address leads to 169.254.169.254" in only().answer


def test_name_that_nobody_has(resolver, settings):
    settings.WEB_HOOKS_TO_LOOPBACK = True
    resolver.addresses = []
    with pytest.raises(OSError, match="Nothing answers to that name"):
        hook_sending.post("http://plant.example.org/", b"{}", {})
