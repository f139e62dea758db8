"""Commands for what is handed over and kept: handover folder, sealed record, keys, time stamps."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from corromap.cli_options import EXIT_FAULTS, speaks, survey_argument

__all__ = ["RECORD_COMMANDS"]


@click.command()
@survey_argument
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@click.option(
    "--only",
    multiple=True,
    type=click.Choice(["report", "pdf", "tables", "map", "annotations", "photos", "plan"]),
    help="Only this part; may be given again.",
)
@speaks
def handover(survey: Path, folder: Path, only: tuple[str, ...]) -> None:
    """Write reports, repair plan, tables (CSV, XLSX), map (GeoPackage), annotations and marked photos into FOLDER."""
    from corromap.cli_exports import write_handover  # noqa: PLC0415

    write_handover(survey, folder, only)


@click.command()
@survey_argument
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@click.option("--key", type=click.Path(dir_okay=False, path_type=Path), help="Sign with this key; see 'corromap key'.")
@click.option("--signer", default="", help="As the signature names you (default: the survey's inspector).")
@click.option("--shareable", is_flag=True, help="Photos without metadata, faces and plates blurred; no log.")
@speaks
def seal(survey: Path, folder: Path, *, key: Path | None, signer: str, shareable: bool) -> None:
    """Seal a survey as FOLDER, a BagIt bag: photos, survey document, reports and exports with their hashes."""
    from corromap.cli_exports import seal_file  # noqa: PLC0415

    seal_file(survey, folder, key=key, signer=signer, originals=not shareable)


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--no-passphrase", is_flag=True, help="Leave the key unlocked.")
@speaks
def key(file: Path, *, no_passphrase: bool) -> None:
    """Make a key to sign sealed records with, and keep it in FILE."""
    from corromap.cli_exports import make_key_file  # noqa: PLC0415

    make_key_file(file, locked=not no_passphrase)


@click.command()
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@click.argument("answer", type=click.Path(dir_okay=False, path_type=Path), required=False)
@speaks
def stamp(folder: Path, answer: Path | None) -> None:
    """Write the request for a time stamp (RFC 3161) on a sealed record, or attach the authority's ANSWER."""
    from corromap.cli_exports import stamp_record  # noqa: PLC0415

    stamp_record(folder, answer)


@click.command()
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@click.option("--public-key", default="", help="It must be signed with this key (64 hex digits).")
@click.option(
    "--authority", type=click.Path(dir_okay=False, path_type=Path), help="Root certificate (PEM) of the time stamp."
)
@speaks
def verify(folder: Path, *, public_key: str, authority: Path | None) -> None:
    """Check a sealed record: name every file that changed, is missing or was added. Exits with 3 if any is."""
    from corromap.cli_exports import verify_record  # noqa: PLC0415

    if not verify_record(folder, public_key=public_key, authority=authority):
        sys.exit(EXIT_FAULTS)


@click.command()
@survey_argument
@click.argument("record")
@speaks
def follow(survey: Path, record: str) -> None:
    """Say that a survey follows a sealed RECORD: the folder of it, or its hash."""
    from corromap.cli_exports import earlier_record_from  # noqa: PLC0415

    earlier_record_from(survey, record)


RECORD_COMMANDS = (handover, seal, key, stamp, verify, follow)
