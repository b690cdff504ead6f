"""`serve` listens where BIND says, and says in a sentence where it cannot."""

import pytest
from django.core.management.base import CommandError

from operations.management.commands.serve import address_of


@pytest.mark.parametrize(
    ("bind", "host", "port"),
    [
        ("127.0.0.1:8000", "127.0.0.1", 8000),
        ("10.1.2.3:80", "10.1.2.3", 80),
        ("[::1]:8080", "::1", 8080),
        ("[::]:65535", "::", 65535),
        (":8000", "0.0.0.0", 8000),
        ("localhost:8000", "localhost", 8000),
    ],
)
def test_address_is_read_as_gunicorn_reads_it(bind, host, port):
    assert address_of(bind) == (host, port)


@pytest.mark.parametrize(
    "bind",
    [
        "8000",
        "127.0.0.1",
        "unix:/run/site.sock",
        "/run/site:80",
        "x:0",
        "x:65536",
        "x:" + "9" * 5000,
    ],
)
def test_what_is_no_address_is_refused_in_a_sentence(bind):
    with pytest.raises(CommandError, match="needs an address and a port"):
        address_of(bind)
