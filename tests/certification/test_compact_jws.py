"""Signatures of credentials: the vectors of the specifications, and other libraries' word."""

import gzip
import json
import tracemalloc
from base64 import urlsafe_b64decode

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from jwcrypto.jwk import JWK
from jwcrypto.jws import JWS, InvalidJWSSignature

from certification.domain.compact_jws import base64url, public_jwk, sign_compact, thumbprint
from certification.domain.status_list import BITS, LONGEST, encode_bits, read_bit

# RFC 8037, appendix A.1 (key), A.3 (thumbprint) and A.4 (signature).
D = "nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A"
X = "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"
THUMBPRINT = "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k"
PAYLOAD = b"Example of Ed25519 signing"
SIGNED = (
    "eyJhbGciOiJFZERTQSJ9.RXhhbXBsZSBvZiBFZDI1NTE5IHNpZ25pbmc.hgyY0il_MGCjP0JzlnLWG1PPOt7-09PGcvMg3"
    "AIbQR6dWbhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg"
)

# Fixture single-purpose-ok of the W3C's test suite for Bitstring Status List, whose README says
# that the bits 201, 57444 and 94023 are set. It goes without the prefix that came later.
W3C_LIST = (
    "H4sIACbOo2YC_-3QMREAMAgEsGerLPyrQgFjB-4SCUkWHQAAAAAAAOCwpwAAAADgrFIAAAAAAAAAAAAAAAAA3wxvOeOvqGEA"
    "AA"
)


def key():
    return Ed25519PrivateKey.from_private_bytes(urlsafe_b64decode(D + "="))


def test_signature_is_that_of_rfc_8037():
    assert public_jwk(key()) == {"kty": "OKP", "crv": "Ed25519", "x": X}
    assert thumbprint(public_jwk(key())) == THUMBPRINT
    assert sign_compact({}, PAYLOAD, key()) == SIGNED


def test_other_library_reads_what_was_signed():
    text = sign_compact({"typ": "vc+jwt", "kid": "1"}, b'{"a":"\xc3\xa9"}', key())
    public = JWK(**public_jwk(key()))

    read = JWS()
    read.deserialize(text, public)

    assert json.loads(read.payload) == {"a": "é"}
    assert read.jose_header == {"alg": "EdDSA", "typ": "vc+jwt", "kid": "1"}
    with pytest.raises(InvalidJWSSignature):
        JWS().deserialize(text.replace(".eyJhIjoi", ".eyJiIjoi"), public)


def test_bits_are_where_the_w3cs_list_has_them():
    listed = f"u{W3C_LIST}"

    assert [read_bit(listed, index) for index in (201, 57444, 94023)] == [True] * 3
    assert not any(read_bit(listed, index) for index in (0, 200, 202, 57443, 94024, 199_999))


def test_list_is_as_long_as_the_specification_asks_and_holds_what_was_set():
    listed = encode_bits([0, 7, 8, BITS - 1])

    assert [read_bit(listed, index) for index in (0, 7, 8, BITS - 1)] == [True] * 4
    assert not any(read_bit(listed, index) for index in (1, 6, 9, BITS - 2))
    assert BITS // 8 >= 16 * 1024
    with pytest.raises(IndexError):
        read_bit(listed, BITS)
    assert encode_bits([8, 7, BITS - 1, 0]) == listed  # The order, or the hour, tells nothing.


@pytest.mark.parametrize("index", [-1, BITS])
def test_bit_outside_the_list_is_refused(index):
    with pytest.raises(IndexError):
        encode_bits([index])


CUT = encode_bits([201])[:-40]
DAMAGED = f"u{base64url(gzip.compress(bytes(100))[:10] + bytes([255] * 40))}"


@pytest.mark.parametrize(
    "text",
    [W3C_LIST, "uAAAA", "u", CUT, DAMAGED],
    ids=["prefix", "compression", "empty", "cut", "damaged"],
)
def test_text_that_is_no_list_is_refused(text):
    with pytest.raises(ValueError, match="The list is not"):
        read_bit(text, 0)


def test_list_that_unpacks_without_end_is_refused_before_it_fills_the_memory():
    assert read_bit(f"u{base64url(gzip.compress(bytes(LONGEST // 8)))}", LONGEST - 1) is False
    text = f"u{base64url(gzip.compress(bytes(50_000_000)))}"
    assert len(text) < 100_000
    tracemalloc.start()
    try:
        with pytest.raises(ValueError, match="it has more than 8,388,608 bits"):
            read_bit(text, 0)
        assert tracemalloc.get_traced_memory()[1] < 10_000_000
    finally:
        tracemalloc.stop()
