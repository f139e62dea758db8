"""When a sealed record was there: a time stamp of an outside authority (RFC 3161).

The tool asks nobody by itself: it writes the request, which holds a digest and
nothing else, and checks and attaches the answer.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from rfc3161_client import (
    HashAlgorithm,
    PKIStatus,
    TimestampRequestBuilder,
    TimeStampResponse,
    VerificationError,
    VerifierBuilder,
    decode_timestamp_response,
)

from corromap.errors import InputError
from corromap.exports.output import write_file
from corromap.exports.seal import SEALED_LIST, TIMESTAMP_FILES, list_bytes

__all__ = ["TimestampView", "attach_response", "timestamp_view", "write_request"]

REQUEST_FILE, RESPONSE_FILE = TIMESTAMP_FILES

SHA512_OID = "2.16.840.1.101.3.4.2.3"


@dataclass(frozen=True, slots=True)
class TimestampView:
    """What a bag's time stamp comes to.

    Parameters
    ----------
    is_there, fits : bool
        Whether there is one, and whether it is about this record's lists.
    is_by_authority : bool
        Whether it is signed under the root certificate that was given.
    at : str
        The time it states, ISO 8601.
    fault : str
        What is wrong or was not checked, one sentence; empty for nothing.
    """

    is_there: bool
    fits: bool = False
    is_by_authority: bool = False
    at: str = ""
    fault: str = ""


def write_request(bag: Path) -> Path:
    """Write the request to send to a time-stamping authority.

    Parameters
    ----------
    bag : Path
        The sealed record.

    Returns
    -------
    Path
        ``timestamp.tsq`` in it, DER.

    Raises
    ------
    InputError
        If it is not a bag.
    OutputError
        If it cannot be written.
    """
    request = TimestampRequestBuilder(data=list_bytes(bag, SEALED_LIST), hash_algorithm=HashAlgorithm.SHA512).build()
    target = bag / REQUEST_FILE
    write_file(target, request.as_bytes())
    return target


def attach_response(bag: Path, response: bytes) -> TimestampView:
    """Keep an authority's answer with the record, once it is known to be about it.

    Parameters
    ----------
    bag : Path
        The sealed record.
    response : bytes
        As the authority sent it, DER.

    Returns
    -------
    TimestampView
        As `timestamp_view` without a root certificate.

    Raises
    ------
    InputError
        If it is no time stamp, was refused, or is about something else.
    OutputError
        If it cannot be written.
    """
    view = _view(bag, response)
    if not view.fits:
        raise InputError(f"the time stamp is not taken: {view.fault}")
    write_file(bag / RESPONSE_FILE, response)
    return view


def timestamp_view(bag: Path, root_pem: bytes | None = None) -> TimestampView:
    """Check the time stamp of a record.

    Parameters
    ----------
    bag : Path
        The sealed record.
    root_pem : bytes, optional
        Root certificates of the authority, PEM; without them only what the
        time stamp is about is checked, not who made it.

    Returns
    -------
    TimestampView
        A bad one is a finding, not an error.

    Raises
    ------
    InputError
        If the root certificates cannot be read.
    """
    if not (bag / RESPONSE_FILE).exists():
        return TimestampView(is_there=False)
    response = list_bytes(bag, RESPONSE_FILE)
    view = _view(bag, response)
    if not view.fits:
        return view
    if root_pem is None:
        left = "who made it was not checked: give the authority's root certificate"
        return TimestampView(True, True, False, view.at, left)
    fault = _authority_fault(bag, response, root_pem)
    return TimestampView(True, True, not fault, view.at, fault)


def _view(bag: Path, response: bytes) -> TimestampView:
    try:
        answer = decode_timestamp_response(response)
        if PKIStatus(answer.status) not in {PKIStatus.GRANTED, PKIStatus.GRANTED_WITH_MODS}:
            return TimestampView(True, fault="the authority refused it")
        imprint = answer.tst_info.message_imprint
        at = answer.tst_info.gen_time.isoformat()
    except ValueError as error:
        return TimestampView(True, fault=f"it is not an answer under RFC 3161 ({error})")
    if imprint.hash_algorithm.dotted_string != SHA512_OID:
        return TimestampView(True, fault="it is not about a SHA-512 digest, as was asked for")
    if imprint.message != hashlib.sha512(list_bytes(bag, SEALED_LIST)).digest():
        return TimestampView(True, at=at, fault="it is about another state than the lists of this record")
    return TimestampView(True, fits=True, at=at)


def _authority_fault(bag: Path, response: bytes, root_pem: bytes) -> str:
    try:
        roots = x509.load_pem_x509_certificates(root_pem)
    except ValueError as error:
        raise InputError("the root certificate is not a certificate in PEM") from error
    answer: TimeStampResponse = decode_timestamp_response(response)
    builder = VerifierBuilder()
    for root in roots:
        builder = builder.add_root_certificate(root)
    try:
        builder.build().verify(answer, hashlib.sha512(list_bytes(bag, SEALED_LIST)).digest())
    except VerificationError as error:
        return f"it was not made under the root certificate given ({error})"
    return ""
