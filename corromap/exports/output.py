"""Output files that appear whole or not at all, and leave an older one alone when they cannot."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from corromap.errors import OutputError

__all__ = ["made_folder", "replaced_file", "write_file"]


@contextmanager
def replaced_file(target: Path) -> Iterator[Path]:
    """Give a path beside the target to write to; it takes the target's name at the end.

    Parameters
    ----------
    target : Path
        The file to be.

    Yields
    ------
    Path
        With the target's suffix; not there yet.

    Raises
    ------
    OutputError
        If it cannot be written; what stood there before is untouched.
    """
    fresh = target.with_name(f".{secrets.token_hex(6)}{target.suffix}")
    try:
        yield fresh
        with fresh.open("rb+") as stream:
            os.fsync(stream.fileno())
        fresh.replace(target)
    except OSError as error:
        raise OutputError(
            f"'{target.name}' could not be written: {error.strerror or error}; what stood there before is untouched: "
            "close it if another program has it open, choose another folder, or make room"
        ) from error
    finally:
        fresh.unlink(missing_ok=True)


def write_file(target: Path, data: bytes) -> None:
    """Write a file whole or not at all; see `replaced_file`."""
    with replaced_file(target) as fresh:
        fresh.write_bytes(data)


def made_folder(folder: Path) -> None:
    """Make a folder, unless it is there.

    Raises
    ------
    OutputError
        If it cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"folder '{folder.name}' could not be made: {error.strerror}") from error
