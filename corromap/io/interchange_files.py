"""Files of an interchange folder: safe names in, whole folders out."""

from __future__ import annotations

import os
import re
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from corromap.errors import InterchangeError, OutputError
from corromap.io.json_text import parse
from corromap.io.survey_editor import MAX_PHOTO_BYTES

__all__ = ["FolderReader", "FolderWriter", "file_name", "fresh_folder"]

MAX_DOCUMENT_BYTES = 256 * 1024 * 1024
"""Largest ``survey.json`` taken. Ours: a hundred times a large survey's."""

_PHOTOS = "photos"
_OTHERS = frozenset({"thumbs.db", "desktop.ini"})
_DEVICES = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)
_SUFFIX = re.compile(r"[A-Za-z0-9]{1,8}")
_UNSAFE = re.compile(r"[^A-Za-z0-9._-]+")


def file_name(number: int, name: str) -> str:
    """Name for a photo's file that every system can keep.

    Parameters
    ----------
    number : int
        Position of the photo; makes the name unique.
    name : str
        Name as recorded, any script.

    Returns
    -------
    str
        For example ``003-sill_left.jpg``.
    """
    stem, dot, suffix = name.rpartition(".")
    if not (dot and stem and _SUFFIX.fullmatch(suffix)):
        stem, suffix = name, ""
    safe = _UNSAFE.sub("_", stem)[:60].strip("._") or "photo"
    return f"{number:03d}-{safe}.{suffix}" if suffix else f"{number:03d}-{safe}"


class FolderReader:
    """Read the files of an interchange folder, and nothing outside it.

    Parameters
    ----------
    folder : Path
        Holds ``survey.json`` and ``photos/``.

    Raises
    ------
    InterchangeError
        If it is not a folder.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        if not folder.is_dir():
            what = "a file" if folder.exists() else "not there"
            raise InterchangeError(f"'{folder.name}' is {what}; give the folder that holds survey.json")

    def document(self, name: str) -> bytes:
        """Bytes of the survey document."""
        if not (self.folder / name).is_file():
            raise InterchangeError(f"folder '{self.folder.name}' holds no {name}")
        return self._bytes(self.folder / name, name, MAX_DOCUMENT_BYTES)

    def photo(self, name: str) -> bytes:
        """Bytes of a photo's file."""
        return self._bytes(self.folder / _PHOTOS / name, name, MAX_PHOTO_BYTES)

    def _bytes(self, path: Path, name: str, most: int) -> bytes:
        if path.is_symlink() or path.parent.is_symlink() or not path.is_file():
            what = "a link, which is not followed" if path.is_symlink() or path.parent.is_symlink() else "not there"
            raise InterchangeError(f"'{name}' is {what}")
        try:
            if path.stat().st_size > most:
                raise InterchangeError(f"'{name}' has {path.stat().st_size} bytes; at most {most} are taken")
            return path.read_bytes()
        except OSError as error:
            raise InterchangeError(f"'{name}' cannot be read: {error.strerror}") from error

    def checked_name(self, value: object, where: str) -> str:
        """Return a file name that stays inside ``photos``, or say why it does not."""
        if not isinstance(value, str):
            raise InterchangeError(f"{where}: expected a file name in the folder '{_PHOTOS}'")
        stays = value.isprintable() and not any(letter in '/\\:*?"<>|' for letter in value)
        plain = 0 < len(value) <= 200 and value.strip(" .") == value and not _DEVICES.fullmatch(value)
        if not (stays and plain):
            raise InterchangeError(
                f"{where}: {value[:60]!a} is not a plain file name; put the file into '{_PHOTOS}' and give its name"
            )
        return value

    def refuse_others(self, named: set[str]) -> None:
        """Raise when a file lies in ``photos`` that the document does not name."""
        folder = self.folder / _PHOTOS
        found = sorted(path.name for path in folder.iterdir()) if folder.is_dir() else []
        others = [n for n in found if n not in named and n.lower() not in _OTHERS and not n.startswith(".")]
        if others:
            more = f" (and {len(others) - 1} more)" if len(others) > 1 else ""
            raise InterchangeError(
                f"survey.photos: does not name '{others[0]:.80}'{more}, which lies in '{_PHOTOS}'; "
                "add it to survey.json or take it out of the folder"
            )


class FolderWriter:
    """Write files into a folder that is not yet in its place.

    Parameters
    ----------
    folder : Path
        An empty folder of ours.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def write(self, name: str, data: bytes) -> None:
        """Write one file and wait until it is on the disk."""
        path = self.folder / name
        path.parent.mkdir(exist_ok=True)
        with path.open("xb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())


@contextmanager
def fresh_folder(target: Path, survey_id: str) -> Iterator[FolderWriter]:
    """Fill a folder beside the target, which takes its place at the end.

    Parameters
    ----------
    target : Path
        The folder to be.
    survey_id : str
        An earlier export of this survey may be replaced.

    Yields
    ------
    FolderWriter
        For the files.

    Raises
    ------
    OutputError
        If it cannot be written, or something else is there already. What
        stood there is untouched.
    """
    _refuse_foreign(target, survey_id)
    fresh = target.parent / f".{target.name}.new-{secrets.token_hex(4)}"
    try:
        fresh.mkdir()
        (fresh / _PHOTOS).mkdir()
        yield FolderWriter(fresh)
        _take_place(fresh, target)
    except OSError as error:
        raise OutputError(
            f"folder '{target.name}' could not be written: {error.strerror}; what stood there before is untouched"
        ) from error
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def _refuse_foreign(target: Path, survey_id: str) -> None:
    if not target.exists() and not target.is_symlink():
        return
    if not target.is_dir() or target.is_symlink():
        raise OutputError(f"'{target.name}' is there already and is not a folder; choose another name")
    names = {path.name for path in target.iterdir()}
    if names and not (names <= {"survey.json", _PHOTOS} and _survey_id(target) == survey_id):
        raise OutputError(
            f"folder '{target.name}' holds other things than an earlier export of this survey; choose another name"
        )


def _survey_id(folder: Path) -> object:
    with suppress(InterchangeError):
        document = parse(FolderReader(folder).document("survey.json"))
        return document.get("id") if isinstance(document, dict) else None
    return None


def _take_place(fresh: Path, target: Path) -> None:
    if not target.exists():
        fresh.rename(target)
        return
    old = target.parent / f".{target.name}.old-{secrets.token_hex(4)}"
    target.rename(old)
    try:
        fresh.rename(target)
    except OSError:
        old.rename(target)
        raise
    shutil.rmtree(old, ignore_errors=True)
