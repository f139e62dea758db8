"""Taking in a survey somebody sent: a survey file, or photos and JSON in a zip."""

from __future__ import annotations

import io
import tempfile
import zipfile
from pathlib import Path, PurePosixPath

from corromap.errors import InputError, InterchangeError, OutputError
from corromap.io.foreign import open_foreign
from corromap.io.interchange import import_folder
from corromap.ui.surveys import SUFFIX, free_path

__all__ = ["SENT_SUFFIXES", "take_sent"]

SENT_SUFFIXES = (SUFFIX.removeprefix("."), "zip")
"""What the chooser offers; the content decides, not the ending."""

_DOCUMENT, _PHOTOS = "survey.json", "photos"
_MOST_FILES = 2_000
_MOST_BYTES = 4 * 1024**3
_CHUNK = 1024 * 1024


def take_sent(name: str, data: bytes, author: str) -> Path:
    """Check a survey somebody sent and copy it into the folder of surveys.

    Parameters
    ----------
    name : str
        File name as it came.
    data : bytes
        Its content; nothing of it is opened where it lies.
    author : str
        Who takes it in, for the log.

    Returns
    -------
    Path
        The new survey file.

    Raises
    ------
    InputError
        If it is not a survey, holds what no survey holds, or cannot be
        copied; nothing is left behind.
    """
    target = free_path(Path(name).stem)
    try:
        with tempfile.TemporaryDirectory() as scratch:
            if data[:4] == b"PK\x03\x04":
                folder = _unpacked(name, data, Path(scratch) / "survey")
                import_folder(folder, target, author=author)
            else:
                given = Path(scratch) / f"sent{SUFFIX}"
                given.write_bytes(data)
                open_foreign(given, target, author=author)
    except OSError as error:
        raise OutputError(f"'{name}' cannot be copied: {error.strerror or error}") from error
    return target


def _unpacked(name: str, data: bytes, folder: Path) -> Path:
    """Write a zip's survey.json and photos to a folder, and nothing else of it anywhere."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            wanted = _wanted(name, packed)
            (folder / _PHOTOS).mkdir(parents=True)
            left = _MOST_BYTES
            for info, place in wanted:
                left = _copy(packed, info, folder / place, left, name)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError) as error:
        raise InterchangeError(f"'{name}' is not a whole zip file, or is locked with a password") from error
    return folder


def _wanted(name: str, packed: zipfile.ZipFile) -> list[tuple[zipfile.ZipInfo, str]]:
    files = [info for info in packed.infolist() if not info.is_dir()]
    if len(files) > _MOST_FILES:
        raise InterchangeError(f"'{name}' holds {len(files)} files; a survey has at most {_MOST_FILES}")
    documents = [info.filename for info in files if PurePosixPath(info.filename).name == _DOCUMENT]
    if len(documents) != 1:
        raise InterchangeError(f"'{name}' holds {len(documents)} files named {_DOCUMENT}; a survey has exactly one")
    # packed as a folder or as the folder's content: both are common
    root = PurePosixPath(documents[0]).parent
    wanted = [(packed.getinfo(documents[0]), _DOCUMENT)]
    for info in files:
        path = PurePosixPath(info.filename)
        if path.parent == root / _PHOTOS and path.name not in {"", ".", ".."} and "\\" not in path.name:
            wanted.append((info, f"{_PHOTOS}/{path.name}"))
    return wanted


def _copy(packed: zipfile.ZipFile, info: zipfile.ZipInfo, target: Path, left: int, name: str) -> int:
    """Copy one member, counting what really comes out: a header may lie about it."""
    with packed.open(info) as source, target.open("xb") as out:
        while chunk := source.read(_CHUNK):
            left -= len(chunk)
            if left < 0:
                raise InputError(f"'{name}' unpacks to more than {_MOST_BYTES // 1024**3} GB: no survey is that large")
            out.write(chunk)
    return left
