"""Sealed records against programs the project did not write.

The bag is checked by ``sha512sum`` (GNU coreutils) and by the Library of
Congress' ``bagit`` (RFC 8493); the signature by ``openssl``; time stamps come
from a time-stamping authority that ``openssl ts`` plays (RFC 3161).
"""

from __future__ import annotations

import base64
import json
import shutil
import subprocess
from pathlib import Path

import bagit
import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from corromap.errors import InputError, OutputError
from corromap.exports.seal import SEALED_LIST, file_faults, make_bag, record_hash
from corromap.exports.signature import make_key, public_key_text, read_key, sign, signature_view
from corromap.exports.timestamp import attach_response, timestamp_view, write_request

NAMES = ("report.html", "survey/photos/001 a%20b.jpg", "survey/\u00e9t\u00e9 \U0001f697.json")


def fill(folder: Path) -> None:
    for number, name in enumerate(NAMES):
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(bytes([number]) * (1000 + number))


@pytest.fixture
def bag(tmp_path: Path) -> Path:
    target = tmp_path / "record"
    record = make_bag(target, fill, {"External-Identifier": "s-1", "Contact-Name": "two\nlines: x"})
    assert record == record_hash(target)
    return target


def run(*command: object, cwd: Path) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run([str(part) for part in command], cwd=cwd, capture_output=True, check=False)


# Files


def test_other_programs_find_the_bag_whole(bag: Path) -> None:
    assert bagit.Bag(str(bag)).validate(processes=1)
    for name in ("manifest-sha512.txt", SEALED_LIST):
        assert run("sha512sum", "--check", "--quiet", name, cwd=bag).returncode == 0
    assert run("sha256sum", "--check", "--quiet", "manifest-sha256.txt", cwd=bag).returncode == 0
    assert file_faults(bag).is_whole
    assert bagit.Bag(str(bag)).info["Contact-Name"] == "two lines: x"


@pytest.mark.parametrize("name", NAMES)
def test_a_changed_bit_is_named(bag: Path, name: str) -> None:
    path = bag / "data" / name
    data = bytearray(path.read_bytes())
    data[500] ^= 1
    path.write_bytes(data)
    faults = file_faults(bag)
    assert (faults.changed, faults.missing, faults.added) == ((f"data/{name}",), (), ())
    with pytest.raises(bagit.BagValidationError):
        bagit.Bag(str(bag)).validate(processes=1)


def test_everything_that_differs_is_named_at_once(bag: Path) -> None:
    (bag / "data" / NAMES[0]).write_text("other")
    (bag / "data" / NAMES[1]).unlink()
    (bag / "data" / "more.txt").write_text("x")
    (bag / "loose.txt").write_text("x")
    faults = file_faults(bag)
    assert faults.changed == (f"data/{NAMES[0]}",)
    assert faults.missing == (f"data/{NAMES[1]}",)
    assert faults.added == ("data/more.txt", "loose.txt")


def test_a_list_made_anew_over_changed_files_changes_the_record_hash(bag: Path) -> None:
    before = record_hash(bag)
    (bag / "data" / NAMES[0]).write_text("other")
    bagit.Bag(str(bag)).save(processes=1, manifests=True)
    assert file_faults(bag).is_whole  # the lists fit again: only who keeps the hash can tell
    assert record_hash(bag) != before


@pytest.mark.parametrize("path", ["../outside", "/etc/passwd", "data/../../outside", "~root/x", "data\\..\\x"])
def test_a_list_cannot_lead_outside_the_record(bag: Path, path: str) -> None:
    with (bag / "manifest-sha256.txt").open("a", encoding="utf-8") as stream:
        stream.write(f"{'0' * 64}  {path}\n")
    faults = file_faults(bag)
    assert any("is no path inside the record" in sentence for sentence in faults.unreadable)
    assert not any("outside" in name or "passwd" in name for name in faults.missing)


def test_links_count_as_changed(bag: Path, tmp_path: Path) -> None:
    path = bag / "data" / NAMES[0]
    shutil.move(path, tmp_path / "same")
    path.symlink_to(tmp_path / "same")
    assert file_faults(bag).changed == (f"data/{NAMES[0]}",)


def test_what_is_no_record_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"holds no bagit\.txt; give the folder of a sealed record"):
        file_faults(tmp_path)
    with pytest.raises(InputError, match="is not a folder"):
        file_faults(tmp_path / "nowhere")


def test_nothing_is_left_behind_when_filling_fails(tmp_path: Path) -> None:
    def fails(folder: Path) -> None:
        (folder / "half").write_text("x")
        raise OSError(28, "No space left on device")

    with pytest.raises(OutputError, match="could not be written: No space left on device"):
        make_bag(tmp_path / "record", fails, {})
    assert list(tmp_path.iterdir()) == []


def test_a_record_is_never_written_over(bag: Path) -> None:
    with pytest.raises(OutputError, match="is there already"):
        make_bag(bag, fill, {})
    assert file_faults(bag).is_whole


# Signatures


def test_openssl_finds_the_signature_good(bag: Path, tmp_path: Path) -> None:
    make_key(tmp_path / "key.pem")
    public = sign(bag, read_key(tmp_path / "key.pem"), "I. \u00c9crou")
    said = json.loads((bag / "signature.json").read_text("ascii"))
    claim = {name: said[name] for name in ("file", "signer", "says_signed_at")}
    head = json.dumps(claim, sort_keys=True, separators=(",", ":"), ensure_ascii=True).encode()
    (tmp_path / "signed").write_bytes(head + b"\n" + (bag / SEALED_LIST).read_bytes())
    (tmp_path / "sig").write_bytes(base64.b64decode(said["signature"]))
    key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public))
    pem = key.public_bytes(serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo)
    (tmp_path / "public.pem").write_bytes(pem)
    checked = run(
        "openssl", "pkeyutl", "-verify", "-pubin", "-inkey", "public.pem", "-rawin", "-in", "signed", "-sigfile", "sig",
        cwd=tmp_path,
    )  # fmt: skip
    assert checked.returncode == 0, checked.stderr
    view = signature_view(bag, public)
    assert (view.is_there, view.fits, view.signer, view.fault) == (True, True, "I. \u00c9crou", "")
    assert file_faults(bag).is_whole  # the signature is no addition


def test_rfc_8032_test_vector() -> None:
    # RFC 8032, 7.1, TEST 1: secret key and its public key
    secret = bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
    public = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"
    assert public_key_text(Ed25519PrivateKey.from_private_bytes(secret).public_key()) == public


def test_a_change_after_signing_shows_in_the_signature(bag: Path) -> None:
    sign(bag, Ed25519PrivateKey.generate(), "me")
    (bag / "data" / NAMES[0]).write_text("other")
    bagit.Bag(str(bag)).save(processes=1, manifests=True)
    view = signature_view(bag)
    assert not view.fits
    assert view.fault == "the lists or the signature changed after it was signed"


@pytest.mark.parametrize("name", ["signer", "says_signed_at"])
def test_who_and_when_as_said_are_covered_by_the_signature(bag: Path, name: str) -> None:
    sign(bag, Ed25519PrivateKey.generate(), "me")
    said = json.loads((bag / "signature.json").read_text())
    (bag / "signature.json").write_text(json.dumps(said | {name: "2001-01-01T00:00:00Z"}))
    assert not signature_view(bag).fits


def test_another_key_than_the_one_expected_is_told(bag: Path) -> None:
    sign(bag, Ed25519PrivateKey.generate(), "me")
    view = signature_view(bag, "00" * 32)
    assert (view.fits, view.fault) == (False, "it is signed with another key than the one expected")


@pytest.mark.parametrize("text", ["", "{}", '{"file": 1}', "[1, 2]", '{"public_key": "zz", "signature": "?"}'])
def test_a_broken_signature_is_a_finding(bag: Path, text: str) -> None:
    (bag / "signature.json").write_text(text)
    view = signature_view(bag)
    assert (view.is_there, view.fits) == (True, False)
    assert "signature.json cannot be read" in view.fault


def test_keys_with_and_without_a_passphrase(tmp_path: Path) -> None:
    public = make_key(tmp_path / "locked.pem", "open sesame")
    assert public_key_text(read_key(tmp_path / "locked.pem", "open sesame").public_key()) == public
    for wrong in ("", "wrong"):
        with pytest.raises(InputError, match="passphrase is missing or wrong"):
            read_key(tmp_path / "locked.pem", wrong)
    with pytest.raises(OutputError, match="a key is never written over"):
        make_key(tmp_path / "locked.pem")
    assert (tmp_path / "locked.pem").stat().st_mode & 0o077 == 0


# Time stamps


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a time-stamping authority: a self-made root and a signing certificate under it."""
    folder = tmp_path_factory.mktemp("authority")
    (folder / "tsa.cnf").write_text(
        "[tsa]\ndefault_tsa=one\n[one]\nserial=serial\ncrypto_device=builtin\nsigner_cert=tsa.pem\n"
        "signer_key=tsa.key\nsigner_digest=sha256\ndefault_policy=1.2.3.4.1\ndigests=sha256,sha512\n"
        "accuracy=secs:1\nordering=no\ntsa_name=no\ness_cert_id_chain=no\ness_cert_id_alg=sha256\n"
        "[leaf]\nkeyUsage=critical,digitalSignature\nextendedKeyUsage=critical,timeStamping\n"
        "subjectKeyIdentifier=hash\nauthorityKeyIdentifier=keyid\n"
    )
    (folder / "serial").write_text("01\n")
    ca = "-addext basicConstraints=critical,CA:TRUE -addext keyUsage=critical,keyCertSign,cRLSign"
    leaf = "-CAcreateserial -days 30 -out tsa.pem -extfile tsa.cnf -extensions leaf"
    commands = (
        f"req -x509 -newkey rsa:2048 -nodes -keyout root.key -out root.pem -days 30 -subj /CN=Root {ca}",
        "req -newkey rsa:2048 -nodes -keyout tsa.key -out tsa.csr -subj /CN=Clock",
        f"x509 -req -in tsa.csr -CA root.pem -CAkey root.key {leaf}",
    )
    for command in commands:
        done = run("openssl", *command.split(), cwd=folder)
        assert done.returncode == 0, done.stderr
    return folder


def answer(authority: Path, request: Path) -> bytes:
    done = run("openssl", "ts", "-reply", "-config", "tsa.cnf", "-queryfile", request, "-out", "a.tsr", cwd=authority)
    assert done.returncode == 0, done.stderr
    return (authority / "a.tsr").read_bytes()


def test_a_time_stamp_is_asked_for_attached_and_checked(bag: Path, authority: Path) -> None:
    reply = answer(authority, write_request(bag))
    assert attach_response(bag, reply).fits
    root = (authority / "root.pem").read_bytes()
    view = timestamp_view(bag, root)
    assert (view.is_there, view.fits, view.is_by_authority, view.fault) == (True, True, True, "")
    checked = run(
        "openssl", "ts", "-verify", "-in", bag / "timestamp.tsr", "-data", bag / SEALED_LIST, "-CAfile", "root.pem",
        cwd=authority,
    )  # fmt: skip
    assert checked.returncode == 0, checked.stderr
    assert file_faults(bag).is_whole


def test_without_a_root_it_says_that_nobody_vouches_for_it(bag: Path, authority: Path) -> None:
    attach_response(bag, answer(authority, write_request(bag)))
    view = timestamp_view(bag)
    assert (view.fits, view.is_by_authority) == (True, False)
    assert "who made it was not checked" in view.fault


def test_another_root_is_told(bag: Path, authority: Path, tmp_path: Path) -> None:
    attach_response(bag, answer(authority, write_request(bag)))
    command = "req -x509 -newkey rsa:2048 -nodes -keyout o.key -out o.pem -days 30 -subj /CN=Other"
    assert run("openssl", *command.split(), cwd=tmp_path).returncode == 0
    view = timestamp_view(bag, (tmp_path / "o.pem").read_bytes())
    assert (view.fits, view.is_by_authority) == (True, False)
    assert "not made under the root certificate given" in view.fault


def test_a_stamp_of_another_state_is_not_taken(bag: Path, authority: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    make_bag(other, fill, {"External-Identifier": "s-2"})
    reply = answer(authority, write_request(other))
    with pytest.raises(InputError, match="about another state than the lists of this record"):
        attach_response(bag, reply)
    assert not (bag / "timestamp.tsr").exists()
    shutil.copy(authority / "a.tsr", bag / "timestamp.tsr")
    assert "another state" in timestamp_view(bag).fault


@pytest.mark.parametrize("reply", [b"", b"not a stamp", b"\x30\x03\x02\x01\x05"])
def test_what_is_no_time_stamp_is_not_taken(bag: Path, reply: bytes) -> None:
    with pytest.raises(InputError, match="the time stamp is not taken: it is not an answer under RFC 3161"):
        attach_response(bag, reply)
