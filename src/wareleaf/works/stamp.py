"""Time stamps of checkpoints by an outside authority (RFC 3161): when a book was signed at latest.

A checkpoint orders events and has no clock. A stamp says that the signed checkpoint existed at a
time, in the words of a third party; it is asked for by file or over HTTP, kept with the seal, and
checked offline with the authority's root certificate.
"""

from __future__ import annotations

import base64
import binascii
import urllib.error
import urllib.request
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from cryptography import x509
from rfc3161_client import (
    HashAlgorithm,
    TimestampRequestBuilder,
    VerificationError,
    VerifierBuilder,
    decode_timestamp_response,
)

from wareleaf.measure.errors import BadInput, require
from wareleaf.works.house import Works
from wareleaf.works.seal_book import require_signed, state_of

SETTING = "stamps"
WAIT_S = 30.0
MOST_BYTES = 1_000_000


@dataclass(frozen=True)
class Stamp:
    """When a checkpoint existed at latest, and who says so."""

    size: int
    at: datetime
    by: str


def note_of(works: Works, size: int = 0) -> tuple[int, str]:
    """A signed checkpoint by its number of events; the last by default.

    Raises
    ------
    BadInput
        When there is none of that size.
    """
    known = dict(state_of(works).checkpoints)
    size = size or max(known, default=0)
    require_signed(known, size)
    return size, known[size]


def request_for(note: str) -> bytes:
    """A request for a stamp on a signed checkpoint, DER, with SHA-512 and the certificates."""
    builder = TimestampRequestBuilder().data(note.encode()).hash_algorithm(HashAlgorithm.SHA512)
    return builder.cert_request(cert_request=True).nonce(nonce=False).build().as_bytes()


def ask(url: str, note: str) -> bytes:
    """Ask an authority over HTTP; its answer, unchecked.

    Raises
    ------
    BadInput
        When it cannot be reached or answers with something else.
    """
    require(url.startswith(("http://", "https://")), "url", url, "url must begin with https://.")
    request = urllib.request.Request(
        url, request_for(note), {"Content-Type": "application/timestamp-query"}
    )
    try:
        with urllib.request.urlopen(request, timeout=WAIT_S) as answer:
            data: bytes = answer.read(MOST_BYTES)
    except (urllib.error.URLError, OSError) as error:
        raise BadInput(
            "url", url, f"{url} does not answer ({error}); nothing was kept. Try again later."
        ) from error
    return data


def check_stamp(note: str, answer: bytes, roots_pem: bytes) -> tuple[datetime, str]:
    """Check a stamp on a checkpoint with the authority's certificates: when, and by whom.

    Raises
    ------
    BadInput
        Saying what does not hold.
    """
    try:
        roots = x509.load_pem_x509_certificates(roots_pem)
    except ValueError as error:
        raise BadInput("ca", None, "The certificates cannot be read as PEM.") from error
    try:
        response = decode_timestamp_response(answer)
    except ValueError as error:
        raise BadInput(
            "stamp", None, f"The answer is no time stamp of RFC 3161 that can be read: {error}."
        ) from error
    builder = VerifierBuilder()
    for root in roots:
        self_signed = root.issuer == root.subject
        builder = (
            builder.add_root_certificate(root)
            if self_signed
            else builder.add_intermediate_certificate(root)
        )
    try:
        builder.build().verify_message(response, note.encode())
    except (VerificationError, ValueError) as error:
        raise BadInput("stamp", None, f"The time stamp does not hold: {error}.") from error
    return response.tst_info.gen_time, _authority(response)


def _authority(response: Any) -> str:
    for raw in response.signed_data.certificates:
        certificate = x509.load_der_x509_certificate(bytes(raw))
        try:
            usage = certificate.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
        except x509.ExtensionNotFound:
            continue
        if x509.oid.ExtendedKeyUsageOID.TIME_STAMPING in usage:
            return certificate.subject.rfc4514_string()
    return "an authority that does not name itself"


def keep(works: Works, answer: bytes, roots_pem: bytes, size: int = 0) -> Stamp:
    """Check a stamp and keep it with its checkpoint.

    Raises
    ------
    BadInput
        When it does not hold; nothing is kept then.
    """
    size, note = note_of(works, size)
    at, by = check_stamp(note, answer, roots_pem)
    kept = dict(works.book.settings_get(SETTING) or {})
    kept[str(size)] = {"answer": base64.b64encode(answer).decode(), "at": at.isoformat(), "by": by}
    works.book.settings_put(SETTING, kept)
    return Stamp(size, at, by)


def stamps(works: Works) -> list[Stamp]:
    """All stamps that were kept, oldest checkpoint first."""
    kept = works.book.settings_get(SETTING) or {}
    found = [Stamp(int(n), datetime.fromisoformat(s["at"]), s["by"]) for n, s in kept.items()]
    return sorted(found, key=lambda s: s.size)


def with_stamp(works: Works, receipt: Mapping[str, Any]) -> dict[str, Any]:
    """A receipt with the stamp of its checkpoint, when one was kept."""
    kept = works.book.settings_get(SETTING) or {}
    for size, note in state_of(works).checkpoints:
        if note == receipt["checkpoint"] and str(size) in kept:
            return {**receipt, "stamp": kept[str(size)]["answer"]}
    return dict(receipt)


def stamp_in(receipt: Mapping[str, Any], roots_pem: bytes) -> tuple[datetime, str]:
    """Check the stamp that a receipt carries: when, and by whom.

    Raises
    ------
    BadInput
        When it carries none, or it does not hold.
    """
    raw = receipt.get("stamp")
    require(isinstance(raw, str), "stamp", None, "The receipt carries no time stamp.")
    try:
        answer = base64.b64decode(str(raw), validate=True)
    except binascii.Error as error:
        raise BadInput("stamp", None, "The time stamp in the receipt cannot be read.") from error
    return check_stamp(str(receipt.get("checkpoint", "")), answer, roots_pem)
