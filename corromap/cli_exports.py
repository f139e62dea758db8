"""Commands for what leaves the tool: hand over, seal, sign, stamp, verify."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click

from corromap.cli_progress import progress_bar
from corromap.cli_tables import CLI_AUTHOR
from corromap.errors import InputError
from corromap.exports import seal, signature, timestamp
from corromap.exports.handover import IN_ORDER, HandOver, seal_survey, write_parts
from corromap.exports.seal import FileFaults
from corromap.io.opened import evaluated
from corromap.io.rates import rates_from
from corromap.io.survey_file import SurveyFile

__all__ = [
    "earlier_record_from",
    "make_key_file",
    "seal_file",
    "stamp_record",
    "verify_record",
    "write_handover",
]

MOST_NAMED = 200
"""Most files named one by one; more are counted."""


def _opened(survey: Path) -> HandOver:
    file, evaluation = evaluated(survey, CLI_AUTHOR)
    return HandOver(evaluation, file.photo_bytes, datetime.now(UTC), rates_from(file.load().rates_document))


def write_handover(survey: Path, folder: Path, only: tuple[str, ...]) -> None:
    """Write reports, tables, map, annotations and marked photos into a folder."""
    parts = tuple(part for part in IN_ORDER if not only or part.value in only)
    given = _opened(survey)
    with progress_bar() as bar:
        task = bar.add_task("parts", total=len(parts))
        write_parts(given, folder, parts, lambda done, total: bar.update(task, completed=done, total=total))
    click.echo(f"wrote {folder}: {', '.join(part.value for part in parts)}")


def seal_file(survey: Path, folder: Path, *, key: Path | None, signer: str, originals: bool) -> None:
    """Seal a survey and say what that shows."""
    private = None
    if key is not None:  # a wrong passphrase is found before a minute's work
        private = signature.read_key(key, _passphrase(key))
    given = _opened(survey)
    with progress_bar() as bar:
        task = bar.add_task("record", total=None)
        record = seal_survey(
            given,
            survey,
            folder,
            originals=originals,
            progress=lambda done, total: bar.update(task, completed=done, total=total),
        )
    click.echo(f"sealed {folder}\nrecord {record}")
    if private is not None:
        name = signer or given.evaluation.survey.car.inspector or "not named"
        click.echo(f"signed by '{name}' with the public key {signature.sign(folder, private, name)}")
    if originals:
        click.echo("It holds the photos as they were given, with all that their files say (place, camera, time).")
    click.echo(seal.WHAT_IT_SHOWS)


def _passphrase(key: Path) -> str:
    """Ask for the passphrase of a key that is locked."""
    if not key.is_file() or b"ENCRYPTED" not in key.read_bytes()[:100]:
        return ""
    return str(click.prompt("passphrase of the key", hide_input=True))


def make_key_file(target: Path, *, locked: bool) -> None:
    """Make a signing key."""
    passphrase = str(click.prompt("passphrase", hide_input=True, confirmation_prompt=True)) if locked else ""
    public = signature.make_key(target, passphrase)
    click.echo(
        f"wrote {target}: keep it to yourself and keep a copy; who has it can sign as you\n"
        f"public key {public}: give this to whoever is to check your records"
    )


def stamp_record(folder: Path, response: Path | None) -> None:
    """Write a request to a time-stamping authority, or attach its answer."""
    if response is None:
        written = timestamp.write_request(folder)
        click.echo(
            f"wrote {written}\nSend it to a time-stamping authority of your choice (RFC 3161, content type "
            "application/timestamp-query); it holds a digest and nothing else. Then attach the answer with: "
            f"corromap stamp {folder} ANSWER"
        )
        return
    try:
        answer = response.read_bytes()
    except OSError as error:
        raise InputError(f"time stamp '{response.name}' cannot be read: {error.strerror}") from error
    view = timestamp.attach_response(folder, answer)
    click.echo(f"attached: the authority says the record was there at {view.at}")


def verify_record(folder: Path, *, public_key: str, authority: Path | None) -> bool:
    """Check a sealed record, say all that differs, and whether it is whole."""
    with progress_bar() as bar:
        task = bar.add_task("files", total=None)
        faults = seal.file_faults(folder, lambda done, total: bar.update(task, completed=done, total=total))
    _print_faults(faults)
    signed = signature.signature_view(folder, public_key)
    if not signed.is_there:
        click.echo("signature: none")
    elif signed.fits:
        click.echo(
            f"signature: fits; signed as '{signed.signer}', by their own word at {signed.says_signed_at}, with the "
            f"public key {signed.public_key}" + ("" if public_key else "; compare it with the one you were given")
        )
    else:
        click.echo(f"signature: DOES NOT FIT: {signed.fault}")
    stamped = timestamp.timestamp_view(folder, _root(authority))
    if not stamped.is_there:
        click.echo("time stamp: none; nothing here shows when it was made")
    elif stamped.fits:
        who = "by the authority whose certificate was given" if stamped.is_by_authority else stamped.fault
        click.echo(f"time stamp: {stamped.at}; {who}")
    else:
        click.echo(f"time stamp: DOES NOT FIT: {stamped.fault}")
    click.echo(f"record {seal.record_hash(folder)}\n{seal.WHAT_IT_SHOWS}")
    wrong_stamp = stamped.is_there and not (stamped.fits and (authority is None or stamped.is_by_authority))
    missing = bool(public_key) and not signed.is_there
    return faults.is_whole and not wrong_stamp and not missing and (signed.fits or not signed.is_there)


def _root(authority: Path | None) -> bytes | None:
    try:
        return authority.read_bytes() if authority else None
    except OSError as error:
        raise InputError(f"certificate cannot be read: {error.strerror}") from error


def _print_faults(faults: FileFaults) -> None:
    if faults.is_whole:
        click.echo("files: all there, none changed, none added")
        return
    for word, paths in (("changed", faults.changed), ("missing", faults.missing), ("added", faults.added)):
        for path in paths[:MOST_NAMED]:
            click.echo(f"{word}: {click.unstyle(path)}")
        if len(paths) > MOST_NAMED:
            click.echo(f"{word}: {len(paths) - MOST_NAMED} more")
    for sentence in faults.unreadable:
        click.echo(f"cannot be read: {sentence}")


def earlier_record_from(survey: Path, record: str) -> None:
    """Say which sealed record a survey follows: by its folder or its hash."""
    folder = Path(record)
    sha256 = seal.record_hash(folder) if folder.is_dir() else record.strip().lower()
    file = SurveyFile.open(survey, author=CLI_AUTHOR)
    file.set_earlier_record(sha256)
    click.echo(f"{survey} follows record {sha256}" if sha256 else f"{survey} follows no record")
