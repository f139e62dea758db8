"""The folder where surveys lie, and the names under which the app finds them.

An address in the browser never carries a path: only the key of a file in this
folder, or of the one file the command line was given. So a link can show a
survey of this folder and nothing else of the computer.
"""

from __future__ import annotations

import hashlib
import os
import re
import unicodedata
from collections.abc import Mapping
from pathlib import Path

from corromap.errors import OutputError
from corromap.io.survey_db import SUFFIX

__all__ = [
    "OPEN_AT_START",
    "SUFFIX",
    "file_name_for",
    "folder",
    "free_path",
    "key_of",
    "known_surveys",
    "opened_at_start",
]

FOLDER = "CORROMAP_SURVEYS"
"""Environment variable: another folder for the surveys."""
OPEN_AT_START = "CORROMAP_OPEN"
"""Environment variable: the survey file a fresh window shows, as the command line was given it."""
_NAME_CHARS = 60


def folder() -> Path:
    """Folder of the surveys; made when it is not there.

    Returns
    -------
    Path
        ``corromap-surveys`` in the person's home folder, or what the
        environment variable ``CORROMAP_SURVEYS`` says.

    Raises
    ------
    OutputError
        If it can be neither found nor made.
    """
    place = Path(os.environ.get(FOLDER) or Path.home() / "corromap-surveys").expanduser()
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"the folder for surveys '{place}' cannot be made ({error.strerror}): "
            f"set {FOLDER} to a folder you may write to"
        ) from error
    return place


def opened_at_start() -> Path | None:
    """Return the survey file the command line was given, if any.

    Returns
    -------
    Path or None
        An existing file.
    """
    given = os.environ.get(OPEN_AT_START)
    return Path(given) if given and Path(given).is_file() else None


def key_of(path: Path) -> str:
    """Key of a survey file in the address.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    str
        Readable beginning and eight hex digits of the whole path's SHA-256.
    """
    digest = hashlib.sha256(str(path.resolve()).encode("utf-8", "surrogatepass")).hexdigest()
    return f"{_plain(path.stem)[:24]}-{digest[:8]}"


def known_surveys() -> Mapping[str, Path]:
    """Surveys the app may open, the one changed last first.

    Returns
    -------
    mapping of str to Path
        Key to file.

    Raises
    ------
    OutputError
        If the folder can be neither found nor made.
    """
    files = [file for file in folder().glob(f"*{SUFFIX}") if file.is_file()]
    given = opened_at_start()
    if given is not None and given.resolve() not in {file.resolve() for file in files}:
        files.append(given)
    files.sort(key=lambda file: file.stat().st_mtime, reverse=True)
    return {key_of(file): file for file in files}


def file_name_for(label: str) -> str:
    """Make a file name from the car's name.

    Parameters
    ----------
    label : str
        As typed; may hold anything.

    Returns
    -------
    str
        Letters, digits and dashes, at most 60, never empty, without suffix.
    """
    return _plain(label)[:_NAME_CHARS].strip("-") or "survey"


def free_path(label: str) -> Path:
    """Find a name in the folder that is not taken.

    Parameters
    ----------
    label : str
        The car's name.

    Returns
    -------
    Path
        Not there yet.

    Raises
    ------
    OutputError
        If the folder can be neither found nor made.
    """
    place, stem = folder(), file_name_for(label)
    path, number = place / f"{stem}{SUFFIX}", 2
    while path.exists():
        path, number = place / f"{stem}-{number}{SUFFIX}", number + 1
    return path


def _plain(text: str) -> str:
    base = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", base).strip("-") or "survey"
