"""Who stands by a sealed record: an Ed25519 signature (RFC 8032) over its list of lists."""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from corromap.errors import InputError, OutputError
from corromap.exports.output import write_file
from corromap.exports.seal import SEALED_LIST, SIGNATURE_FILE, list_bytes

__all__ = ["SignatureView", "make_key", "public_key_text", "read_key", "sign", "signature_view"]


def make_key(target: Path, passphrase: str = "") -> str:
    """Make a private key and keep it in a file.

    Parameters
    ----------
    target : Path
        The file to be (PEM, PKCS #8); must not be there yet.
    passphrase : str
        Empty for none.

    Returns
    -------
    str
        `public_key_text` of the public half.

    Raises
    ------
    OutputError
        If it is there already or cannot be written.
    """
    if target.exists():
        raise OutputError(f"key '{target.name}' is there already; a key is never written over")
    key = Ed25519PrivateKey.generate()
    locked: serialization.KeySerializationEncryption = serialization.NoEncryption()
    if passphrase:
        locked = serialization.BestAvailableEncryption(passphrase.encode())
    pem = key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, locked)
    write_file(target, pem)
    try:
        target.chmod(0o600)
    except OSError as error:
        raise OutputError(f"key '{target.name}' cannot be kept from other users: {error.strerror}") from error
    return public_key_text(key.public_key())


def read_key(path: Path, passphrase: str = "") -> Ed25519PrivateKey:
    """Read a private key made by `make_key`, or any Ed25519 key in PEM.

    Raises
    ------
    InputError
        If it is not one, or the passphrase is wrong or missing.
    """
    try:
        key = serialization.load_pem_private_key(path.read_bytes(), passphrase.encode() or None)
    except OSError as error:
        raise InputError(f"key '{path.name}' cannot be read: {error.strerror}") from error
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise InputError(
            f"key '{path.name}' is not a private key in PEM, or its passphrase is missing or wrong"
        ) from error
    if not isinstance(key, Ed25519PrivateKey):
        raise InputError(f"key '{path.name}' is of another kind; make an Ed25519 key with 'corromap key'")
    return key


def public_key_text(key: Ed25519PublicKey) -> str:
    """Public key as 64 hex digits: short enough to be read out, and all of it."""
    return key.public_bytes(serialization.Encoding.Raw, serialization.PublicFormat.Raw).hex()


def sign(bag: Path, key: Ed25519PrivateKey, signer: str) -> str:
    """Sign a bag's list of lists.

    Parameters
    ----------
    bag : Path
        The bag.
    key : Ed25519PrivateKey
        The signer's.
    signer : str
        As the record names them; the signature covers it.

    Returns
    -------
    str
        The public key, 64 hex digits.

    Raises
    ------
    InputError
        If it is not a bag.
    OutputError
        If the signature cannot be written.
    """
    at = datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    claim = {"file": SEALED_LIST, "signer": signer, "says_signed_at": at}
    signature = key.sign(_signed_bytes(bag, claim))
    public = public_key_text(key.public_key())
    document = claim | {
        "algorithm": "Ed25519 (RFC 8032)",
        "public_key": public,
        "signature": base64.b64encode(signature).decode(),
    }
    write_file(bag / SIGNATURE_FILE, json.dumps(document, indent=1, ensure_ascii=True).encode() + b"\n")
    return public


def _signed_bytes(bag: Path, claim: Mapping[str, str]) -> bytes:
    """Bytes a signature covers: who and when as said, then the list."""
    head = json.dumps(dict(claim), sort_keys=True, separators=(",", ":"), ensure_ascii=True).encode()
    return head + b"\n" + list_bytes(bag, SEALED_LIST)


@dataclass(frozen=True, slots=True)
class SignatureView:
    """What a bag's signature comes to.

    Parameters
    ----------
    is_there, fits : bool
        Whether there is one, and whether it fits the list and its key.
    public_key, signer, says_signed_at : str
        As the signature says; the time is the signer's own word.
    fault : str
        Why it does not fit, one sentence; empty when it does.
    """

    is_there: bool
    fits: bool
    public_key: str = ""
    signer: str = ""
    says_signed_at: str = ""
    fault: str = ""


def signature_view(bag: Path, expected_key: str = "") -> SignatureView:
    """Check a bag's signature.

    Parameters
    ----------
    bag : Path
        The bag.
    expected_key : str
        The public key it must be by, 64 hex digits; empty for any.

    Returns
    -------
    SignatureView
        Never raises for a bad signature: that is a finding.

    Raises
    ------
    InputError
        If it is not a bag.
    """
    if not (bag / SIGNATURE_FILE).exists():
        return SignatureView(is_there=False, fits=False)
    try:
        said = json.loads(list_bytes(bag, SIGNATURE_FILE))
        claim = {name: str(said[name]) for name in ("file", "signer", "says_signed_at")}
        public = str(said["public_key"])
        signature = base64.b64decode(str(said["signature"]), validate=True)
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public))
    except (ValueError, KeyError, TypeError, binascii.Error, InputError) as error:
        return SignatureView(is_there=True, fits=False, fault=f"{SIGNATURE_FILE} cannot be read ({error})")
    fault = ""
    try:
        key.verify(signature, _signed_bytes(bag, claim))
    except InvalidSignature:
        fault = "the lists or the signature changed after it was signed"
    if not fault and expected_key and expected_key.strip().lower() != public.lower():
        fault = "it is signed with another key than the one expected"
    return SignatureView(True, not fault, public, claim["signer"], claim["says_signed_at"], fault)
