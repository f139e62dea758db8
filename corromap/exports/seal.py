"""The sealed record: a BagIt bag whose every later change shows.

A bag (RFC 8493) lists the SHA-256 and SHA-512 of every file in it. A key of
one's own signs that list (`corromap.exports.signature`), and an outside
authority may put a time on it (`corromap.exports.timestamp`). What each of the
three shows, and what it does not, is said in `WHAT_IT_SHOWS`.
"""

from __future__ import annotations

import hashlib
import logging
import re
import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from urllib.parse import unquote

import bagit

from corromap import __version__
from corromap.errors import InputError, OutputError

__all__ = [
    "SEALED_LIST",
    "SIGNATURE_FILE",
    "TIMESTAMP_FILES",
    "WHAT_IT_SHOWS",
    "FileFaults",
    "file_faults",
    "list_bytes",
    "make_bag",
    "record_hash",
]

SEALED_LIST = "tagmanifest-sha512.txt"
"""The list that stands for everything: it lists the manifests, which list the files."""

SIGNATURE_FILE = "signature.json"
TIMESTAMP_FILES = ("timestamp.tsq", "timestamp.tsr")

LOOSE_FILES = frozenset({SIGNATURE_FILE, *TIMESTAMP_FILES, "tagmanifest-sha256.txt", SEALED_LIST})
"""Files that no list can hold: they are made from the list."""

WHAT_IT_SHOWS = (
    "The lists of SHA-256 and SHA-512 show that no file changed since the bag was made, as long as the lists "
    "themselves were not made anew. The signature shows that the holder of the key made or approved these lists; "
    "whose key it is has to be known from elsewhere. Neither shows when: only a time stamp of an outside authority "
    "does. None of them shows that what is recorded is true."
)

_ENCODED = re.compile("%(?:0[AaDd]|25)")
"""What a path in a list must have encoded, and nothing else is: RFC 8493, 2.1.3."""

MAX_LIST_BYTES = 64 * 1024 * 1024
_BLOCK = 1024 * 1024


def make_bag(target: Path, fill: Callable[[Path], None], info: Mapping[str, str]) -> str:
    """Make a bag that appears whole or not at all.

    Parameters
    ----------
    target : Path
        The folder to be; must not be there yet.
    fill : callable
        Is given an empty folder and writes into it what becomes the payload.
    info : mapping of str to str
        For ``bag-info.txt``; line breaks become spaces.

    Returns
    -------
    str
        `record_hash` of the bag.

    Raises
    ------
    OutputError
        If it is there already or cannot be written; nothing is left behind.
    """
    if target.exists():
        raise OutputError(f"'{target.name}' is there already; choose another name")
    fresh = target.with_name(f".{target.name}.new")
    try:
        fresh.mkdir()
        fill(fresh)
        said = {key: " ".join(value.split()) for key, value in info.items()}
        said["Bag-Software-Agent"] = f"corromap {__version__}"
        with _quiet_bagit():
            bagit.make_bag(str(fresh), said, checksums=["sha256", "sha512"], encoding="utf-8")
        fresh.rename(target)
    except bagit.BagError as error:
        raise OutputError(f"record '{target.name}' could not be made: {error}") from error
    except OSError as error:
        raise OutputError(f"record '{target.name}' could not be written: {error.strerror or error}") from error
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
    return record_hash(target)


@contextmanager
def _quiet_bagit() -> Iterator[None]:
    """Keep the library from logging each file: a person wants one sentence."""
    log = logging.getLogger("bagit")
    before, log.disabled = log.disabled, True
    try:
        yield
    finally:
        log.disabled = before


def record_hash(bag: Path) -> str:
    """SHA-256 by which a later survey points to a sealed record.

    Parameters
    ----------
    bag : Path
        The bag.

    Returns
    -------
    str
        Of its list of lists; 64 hex digits.

    Raises
    ------
    InputError
        If there is no such list.
    """
    return hashlib.sha256(list_bytes(bag, SEALED_LIST)).hexdigest()


def list_bytes(bag: Path, name: str) -> bytes:
    """Read one of a bag's lists.

    Raises
    ------
    InputError
        If it is not there, a link, or too large to be one.
    """
    path = bag / name
    if path.is_symlink() or not path.is_file():
        raise InputError(f"'{bag.name}' holds no {name}; give the folder of a sealed record")
    if path.stat().st_size > MAX_LIST_BYTES:
        raise InputError(f"'{bag.name}': {name} has {path.stat().st_size} bytes; at most {MAX_LIST_BYTES} are read")
    return path.read_bytes()


@dataclass(frozen=True, slots=True)
class FileFaults:
    """Files that are not as the lists say.

    Parameters
    ----------
    changed, missing, added : tuple of str
        Paths inside the bag.
    unreadable : tuple of str
        Sentences on lists that cannot be read.
    """

    changed: tuple[str, ...]
    missing: tuple[str, ...]
    added: tuple[str, ...]
    unreadable: tuple[str, ...]

    @property
    def is_whole(self) -> bool:
        """Whether every file is there and as it was, and nothing else."""
        return not (self.changed or self.missing or self.added or self.unreadable)


def file_faults(bag: Path, progress: Callable[[int, int], None] | None = None) -> FileFaults:
    """Compare every file with every list of the bag.

    Parameters
    ----------
    bag : Path
        The bag.
    progress : callable, optional
        Called with (files done, files in all).

    Returns
    -------
    FileFaults
        Everything that differs, not only the first thing.

    Raises
    ------
    InputError
        If it is not a bag.
    """
    if not bag.is_dir():
        raise InputError(f"'{bag.name}' is not a folder; give the folder of a sealed record")
    list_bytes(bag, "bagit.txt")
    unreadable: list[str] = []
    listed: dict[str, dict[str, str]] = {}
    for kind in ("manifest", "tagmanifest"):
        for algorithm in ("sha256", "sha512"):
            for path, digest in _read_list(bag, f"{kind}-{algorithm}.txt", unreadable):
                listed.setdefault(path, {})[algorithm] = digest
    here = {path.relative_to(bag).as_posix() for path in bag.rglob("*") if path.is_symlink() or not path.is_dir()}
    changed = []
    for done, path in enumerate(sorted(listed), start=1):
        if path in here and not _is_as_listed(bag / path, listed[path]):
            changed.append(path)
        if progress:
            progress(done, len(listed))
    missing = sorted(listed.keys() - here)
    added = sorted(here - listed.keys() - LOOSE_FILES)
    return FileFaults(tuple(changed), tuple(missing), tuple(added), tuple(unreadable))


def _read_list(bag: Path, name: str, unreadable: list[str]) -> Iterator[tuple[str, str]]:
    try:
        text = list_bytes(bag, name).decode("utf-8")
    except (InputError, UnicodeDecodeError) as error:
        unreadable.append(f"{name}: {error}")
        return
    for number, line in enumerate(text.splitlines(), start=1):
        digest, _, path = line.strip("\r\n").partition(" ")
        path = _ENCODED.sub(lambda code: unquote(code.group()), path.strip().removeprefix("*"))
        parts = PurePosixPath(path).parts
        if not path or path.startswith(("/", "~")) or ".." in parts or "\\" in path:
            unreadable.append(f"{name}, line {number}: '{path:.60}' is no path inside the record")
        else:
            yield path, digest.lower()


def _is_as_listed(path: Path, digests: Mapping[str, str]) -> bool:
    if path.is_symlink():
        return False
    hashes = {algorithm: hashlib.new(algorithm) for algorithm in digests}
    with path.open("rb") as stream:
        while block := stream.read(_BLOCK):
            for made in hashes.values():
                made.update(block)
    return all(made.hexdigest() == digests[algorithm] for algorithm, made in hashes.items())
