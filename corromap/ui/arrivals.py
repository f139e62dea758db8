"""Taking photos in: many at once, each on its own merits, none lost without a word."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from corromap.errors import CorromapError, InputError
from corromap.io.photo_quality import examine_photo, keep_examined
from corromap.io.photos import check_photo
from corromap.io.survey_file import SurveyFile

__all__ = ["PHOTO_SUFFIXES", "Arrival", "Incoming", "photos_in_folder", "take_in"]

PHOTO_SUFFIXES = ("jpg", "jpeg", "png", "heic", "heif", "webp", "tif", "tiff", "bmp", "gif", "mpo")
"""Endings the chooser offers; the content decides, not the ending."""
_MOST_IN_FOLDER = 500


@dataclass(frozen=True, slots=True)
class Incoming:
    """A photo about to be taken in.

    Parameters
    ----------
    name : str
        File name.
    read : callable
        Returns its bytes; may raise OSError.
    """

    name: str
    read: Callable[[], bytes]


@dataclass(frozen=True, slots=True)
class Arrival:
    """What became of one photo.

    Parameters
    ----------
    name : str
        File name.
    fault : str
        Why it was not taken in; empty when it was.
    was_known : bool
        The same picture was in the survey already.
    remarks : tuple of str
        How well it can be judged and what its file tells; empty when nothing
        stands out.
    """

    name: str
    fault: str = ""
    was_known: bool = False
    remarks: tuple[str, ...] = ()


def take_in(file: SurveyFile, incoming: Sequence[Incoming], source: str) -> Iterator[Arrival]:
    """Take photos in one by one; a bad one does not stop the others.

    Each photo is decoded whole before it is kept, so that damage is found now
    and not when it is needed, and examined, so that the person hears at the
    car, not at home, that one is too dark.

    Parameters
    ----------
    file : SurveyFile
        Where to keep them. Photos only add to a survey, so another window's
        change in between is no obstacle.
    incoming : sequence of Incoming
        In order.
    source : str
        Whose photos they are.

    Yields
    ------
    Arrival
        One for each, as soon as it is saved or refused.
    """
    for item in incoming:
        before = file.revision
        try:
            data = item.read()
            check_photo(data, item.name)
            file.add_photo(data, item.name, source)
            found = examine_photo(data, item.name)
            keep_examined(file, found)
        except CorromapError as error:
            yield Arrival(item.name, str(error))
        except OSError as error:
            yield Arrival(item.name, f"cannot be read: {error.strerror or error}")
        else:
            yield Arrival(item.name, was_known=file.revision == before, remarks=found.sentences)


def photos_in_folder(folder: str) -> list[Incoming]:
    """List the pictures of a folder on this computer, by name.

    Parameters
    ----------
    folder : str
        As typed.

    Returns
    -------
    list of Incoming
        Files with a picture's ending, not those of folders inside.

    Raises
    ------
    InputError
        If it is not a folder, cannot be read, or holds no picture or too many.
    """
    place = Path(folder.strip().strip('"')).expanduser()
    if not folder.strip() or not place.is_dir():
        raise InputError(f"'{place}' is not a folder on this computer: check the path")
    try:
        files = sorted(f for f in place.iterdir() if f.suffix.lower().lstrip(".") in PHOTO_SUFFIXES and f.is_file())
    except OSError as error:
        raise InputError(f"folder '{place}' cannot be read: {error.strerror}") from error
    if not files:
        raise InputError(f"folder '{place}' holds no pictures ({', '.join(PHOTO_SUFFIXES)})")
    if len(files) > _MOST_IN_FOLDER:
        raise InputError(f"folder '{place}' holds {len(files)} pictures; at most {_MOST_IN_FOLDER} are taken at once")
    return [Incoming(file.name, file.read_bytes) for file in files]
