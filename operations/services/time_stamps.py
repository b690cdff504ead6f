"""Time stamps of the trail's end, from a server that is somebody else's (RFC 3161).

Whoever runs the site can write the whole trail anew, and the file of its ends with it. They cannot
have the server say that what they write now was there on an earlier day.
"""

from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

import urllib3
from cryptography import x509
from django.conf import settings
from rfc3161_client import (
    TimeStampRequest,
    TimestampRequestBuilder,
    TimeStampResponse,
    VerificationError,
    Verifier,
    VerifierBuilder,
    decode_timestamp_response,
)

from operations.exceptions import TimeStampRefused
from operations.queries.time_stamps import ENDING, FOLDER, stamp_names, stamps_folder
from records.queries.heads import Head

ANSWERS_WITHIN_S = 30.0
LONGEST_ANSWER_BYTES = 64 * 1024
CERTIFICATES = 0xA0
"""Tag of the certificates in SignedData, RFC 5652, 5.1."""


def stamped_text(number: int, entry_hash: str) -> bytes:
    """What a stamp is over: ``1234 0123…`` with the whole hash, and a line's end."""
    return f"{number} {entry_hash}\n".encode()


def stamp_head(head: Head) -> str | None:
    """Have an end of the trail stamped, and keep the answer as it came; None where no server is.

    Returns the name under which it is kept.

    An end that has a stamp gets no second one.

    Raises
    ------
    TimeStampRefused
        If the server does not answer, or what it answers is no stamp of this end by it.
    """
    if not settings.TIME_STAMP_URL:
        return None
    folder, name = stamps_folder(), f"{head.number}-{head.entry_hash}{ENDING}"
    if name in folder.names():
        return name
    text = stamped_text(head.number, head.entry_hash)
    request = (
        TimestampRequestBuilder()
        .data(text)
        .nonce(nonce=True)
        .cert_request(cert_request=True)
        .build()
    )
    answer = _asked(request.as_bytes())
    _refuse_unless_it_fits(answer, text, request)
    with suppress(FileExistsError):  # Another worker was first, and its stamp is as good.
        folder.add(name, answer)
    return name


def _asked(query: bytes) -> bytes:
    try:
        with urllib3.PoolManager() as pool:
            answer = pool.request(
                "POST",
                settings.TIME_STAMP_URL,
                body=query,
                headers={"Content-Type": "application/timestamp-query"},
                timeout=ANSWERS_WITHIN_S,
                retries=False,
                preload_content=False,
            )
            content = answer.read(LONGEST_ANSWER_BYTES + 1)
            answer.release_conn()
    except urllib3.exceptions.HTTPError as error:
        raise TimeStampRefused(f"The time-stamp server does not answer: {error}") from error
    if answer.status != 200 or len(content) > LONGEST_ANSWER_BYTES:
        raise TimeStampRefused(
            f"The time-stamp server answered by {answer.status} and {len(content)} bytes: see "
            "whether TIME_STAMP_URL is its address."
        )
    return content


def _refuse_unless_it_fits(
    answer: bytes, text: bytes, request: TimeStampRequest | None = None
) -> TimeStampResponse:
    try:
        response = decode_timestamp_response(_in_order(answer))
        _verifier(request).verify_message(response, text)
    except (VerificationError, ValueError) as error:
        raise TimeStampRefused(f"It is no stamp by the server of this end: {error}.") from error
    return response


def _in_order(answer: bytes) -> bytes:
    """The answer with its certificates in the order that DER asks for (X.690, 11.6).

    OpenSSL gives them as they come, which the decoder refuses. They are no part of what is signed
    (RFC 5652, 5.1), so nothing else changes, no length either.
    """
    try:
        [whole] = _elements(answer, 0, len(answer))
        _status, token = _elements(answer, *whole.inside)
        _kind, content = _elements(answer, *token.inside)
        [signed] = _elements(answer, *content.inside)
        for part in _elements(answer, *signed.inside):
            if part.tag == CERTIFICATES:
                first, last = part.inside
                each = [
                    answer[one.begins : one.inside[1]] for one in _elements(answer, first, last)
                ]
                return answer[:first] + b"".join(sorted(each)) + answer[last:]
    except (ValueError, IndexError):
        pass  # The decoder says what is wrong with it.
    return answer


class _Element(NamedTuple):
    """One element of DER: where it begins, and where its contents begin and end."""

    tag: int
    begins: int
    inside: tuple[int, int]


def _elements(data: bytes, begins: int, ends: int) -> list[_Element]:
    """The elements that follow each other in a piece of DER (X.690, 8.1), of tags of one byte."""
    found = []
    while begins < ends:
        length, inside = data[begins + 1], begins + 2
        if length & 0x80:
            inside += length & 0x7F
            length = int.from_bytes(data[begins + 2 : inside])
        if inside + length > ends:
            raise ValueError("An element is longer than what holds it.")
        found.append(_Element(data[begins], begins, (inside, inside + length)))
        begins = inside + length
    return found


def _verifier(request: TimeStampRequest | None) -> Verifier:
    """By the certificates of TIME_STAMP_CERTIFICATES: roots, and those between them and it."""
    builder = VerifierBuilder.from_request(request) if request else VerifierBuilder()
    pem = Path(settings.TIME_STAMP_CERTIFICATES).read_bytes()
    for certificate in x509.load_pem_x509_certificates(pem):
        if certificate.issuer == certificate.subject:
            builder = builder.add_root_certificate(certificate)
        else:
            builder = builder.add_intermediate_certificate(certificate)
    return builder.build()


def stamped_heads() -> Iterator[tuple[str, str]]:
    """Every end that was stamped, for the verification; a stamp that does not fit says why."""
    if not settings.TIME_STAMP_CERTIFICATES:
        return
    folder = stamps_folder()
    for name in stamp_names():
        where = f"{FOLDER}/{name}"
        number, _dash, entry_hash = name.removesuffix(ENDING).partition("-")
        try:
            _refuse_unless_it_fits(folder.read(name), stamped_text(int(number), entry_hash))
        except (TimeStampRefused, ValueError, OSError) as error:
            yield f"{where} ({error})", ""
        else:
            yield where, name.removesuffix(ENDING)
