"""A photo examined on arrival: how well it can be judged, what it looks like, where it comes from.

A photo is examined once. What was found lies in the survey file's cache under
the photo's SHA-256, and in this process; it depends on the bytes alone.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass

from corromap.errors import InterchangeError, InvalidValueError, PhotoError, SurveyFileError
from corromap.evidence.duplicates import look_hash
from corromap.evidence.quality import PhotoQuality, QualityMap, judge_photo, with_words
from corromap.evidence.quality_text import look_from_text, map_from_text, quality_text
from corromap.frames import PhotoId
from corromap.io.document_fields import Document, Fields
from corromap.io.photo_header import PhotoHeader
from corromap.io.photo_origin import PhotoOrigin, read_origin, remembered_hint
from corromap.io.photos import decode, read_header
from corromap.io.survey_file import SurveyFile
from corromap.messages import Sentence, message
from corromap.survey import Photo

__all__ = ["ExaminedPhoto", "examine_photo", "examined_before", "examined_photos", "keep_examined", "quality_maps"]

WORKING_PX = 1600
SMALLEST_PX = 32
_CACHE, _VERSION = "quality", 2
"""Name in the survey file; raised whenever the same bytes would be judged otherwise."""
_KEPT = 400
_KNOWN: OrderedDict[str, ExaminedPhoto] = OrderedDict()
_HELD: set[tuple[str, str]] = set()
"""Survey file and SHA-256: what this process has found or put in that file's cache, so that it is asked once."""
_LOCK = threading.Lock()


@dataclass(frozen=True, slots=True, eq=False)
class ExaminedPhoto:
    """What can be told of a photo before anything is clicked.

    Parameters
    ----------
    quality : PhotoQuality or None
        None for a picture too small to judge.
    look : int or None
        Hash of what it looks like; None for a picture too small.
    sha256 : str
        Of its bytes.
    origin : PhotoOrigin
        What the file tells of its history.
    """

    quality: PhotoQuality | None
    look: int | None
    sha256: str
    origin: PhotoOrigin

    @property
    def sentences(self) -> tuple[str, ...]:
        """Everything worth telling, a sentence each; empty when nothing stands out."""
        if self.quality is None:
            return (message("Too small to judge anything on it."), *self.origin.hints)
        return (*(Sentence("{words}.", {"words": words}) for words in self.quality.words), *self.origin.hints)


def examine_photo(data: bytes, name: str) -> ExaminedPhoto:
    """Examine a photo, or remember what was found of the same bytes.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name, for messages only.

    Returns
    -------
    ExaminedPhoto
        Figures, words, hash, origin.

    Raises
    ------
    PhotoError
        If the file cannot be decoded.
    """
    header = read_header(data, name)
    return _KNOWN.get(header.sha256) or _remembered(_examined(data, name, header))


def examined_before(photo: Photo) -> ExaminedPhoto | None:
    """Look up what was found of a photo, without reading its bytes.

    Parameters
    ----------
    photo : Photo
        By its SHA-256.

    Returns
    -------
    ExaminedPhoto or None
        None if it was not examined in this process.
    """
    return _KNOWN.get(photo.sha256)


def _remembered(found: ExaminedPhoto) -> ExaminedPhoto:
    with _LOCK:  # the app examines in several threads
        while len(_KNOWN) >= _KEPT:
            _KNOWN.popitem(last=False)
        return _KNOWN.setdefault(found.sha256, found)


def _examined(data: bytes, name: str, header: PhotoHeader) -> ExaminedPhoto:
    reduce = 1
    while max(header.width_px, header.height_px) >= 2 * reduce * WORKING_PX and reduce < 8:
        reduce *= 2
    rgb = decode(data, name, reduce=reduce)
    origin = read_origin(data, name)
    if min(rgb.shape[:2]) < SMALLEST_PX:
        return ExaminedPhoto(None, None, header.sha256, origin)
    judged, look = judge_photo(rgb, (header.width_px, header.height_px)), look_hash(rgb)
    # through the text, so that it makes no difference whether it was kept
    cells = map_from_text(quality_text(judged, look), header.width_px, header.height_px)
    return ExaminedPhoto(with_words(cells, judged.dark_share, judged.blown_share), look, header.sha256, origin)


def keep_examined(file: SurveyFile, found: ExaminedPhoto) -> None:
    """Keep what was found of a photo that has just arrived.

    Parameters
    ----------
    file : SurveyFile
        Where the photo was put.
    found : ExaminedPhoto
        From `examine_photo`.

    Raises
    ------
    SurveyFileError
        If it could not be saved.
    """
    file.keep_worked_out(_CACHE, {found.sha256: _document(found)})


def examined_photos(
    file: SurveyFile, photos: tuple[Photo, ...], progress: Callable[[int, int], None] = lambda _done, _total: None
) -> dict[PhotoId, ExaminedPhoto]:
    """Examine the photos of a survey file, those only that were not examined before.

    Parameters
    ----------
    file : SurveyFile
        Holds the photos and what was found of them.
    photos : tuple of Photo
        Which ones.
    progress : callable
        Called with photos done and photos in all, for those not known yet.

    Returns
    -------
    dict of PhotoId to ExaminedPhoto
        In their order; a photo that cannot be decoded is left out.

    Raises
    ------
    SurveyFileError
        If the file cannot be read.
    """
    asked = [p for p in photos if p.sha256 not in _KNOWN or (str(file.path), p.sha256) not in _HELD]
    kept = _kept(file, asked) if asked else {}
    found = {photo.sha256: _KNOWN[photo.sha256] for photo in photos if photo.sha256 in _KNOWN} | kept
    new = [photo for photo in photos if photo.sha256 not in found]
    for done, photo in enumerate(new, start=1):
        with suppress(PhotoError):
            found[photo.sha256] = examine_photo(file.photo_bytes(photo.id), photo.name)
        progress(done, len(new))
    # a photo known from another survey of this process is kept here too: the next process need not examine it
    documents = {p.sha256: _document(found[p.sha256]) for p in asked if p.sha256 in found and p.sha256 not in kept}
    if documents:
        with suppress(SurveyFileError):  # a file that may only be read is judged all the same
            file.keep_worked_out(_CACHE, documents)
    _HELD.update((str(file.path), photo.sha256) for photo in asked)
    return {photo.id: found[photo.sha256] for photo in photos if photo.sha256 in found}


def quality_maps(examined: Mapping[PhotoId, ExaminedPhoto]) -> dict[PhotoId, QualityMap]:
    """Pick what `corromap.evaluation.evaluate` asks for.

    Parameters
    ----------
    examined : mapping of PhotoId to ExaminedPhoto
        From `examined_photos`.

    Returns
    -------
    dict of PhotoId to QualityMap
        Photos too small to judge are left out.
    """
    return {key: one.quality.map for key, one in examined.items() if one.quality is not None}


def _kept(file: SurveyFile, photos: Sequence[Photo]) -> dict[str, ExaminedPhoto]:
    kept, found = file.worked_out(_CACHE), dict[str, ExaminedPhoto]()
    for photo in photos:
        if photo.sha256 in kept:
            with suppress(InterchangeError, InvalidValueError):  # written otherwise: it is examined anew
                found[photo.sha256] = _remembered(_parsed(kept[photo.sha256], photo))
    return found


def _document(found: ExaminedPhoto) -> Document:
    quality, origin = found.quality, found.origin
    return {
        "version": _VERSION,
        "cells": quality_text(quality, found.look) if quality else "",
        "dark_share": quality.dark_share if quality else 0.0,
        "blown_share": quality.blown_share if quality else 0.0,
        "software": origin.software,
        "changed_at": origin.changed_at,
        "jpeg_quality": origin.jpeg_quality or 0,
        "hints": "\n".join(origin.hints),
        "orientation": origin.orientation,
    }


def _parsed(value: object, photo: Photo) -> ExaminedPhoto:
    given = Fields(value, f"worked out, {_CACHE}")
    if given.integer("version") != _VERSION:
        raise InvalidValueError(f"photo '{photo.name}' was judged by another version of this program")
    text, dark, blown = given.text("cells", ""), given.number("dark_share"), given.number("blown_share")
    hints = given.text("hints", "")
    origin = PhotoOrigin(
        given.text("software", ""), given.text("changed_at", ""), given.integer("jpeg_quality") or None,
        tuple(map(remembered_hint, hints.split("\n"))) if hints else (),
        given.integer("orientation"),
    )  # fmt: skip
    given.done()
    if not text:
        return ExaminedPhoto(None, None, photo.sha256, origin)
    cells = map_from_text(text, photo.width_px, photo.height_px)
    return ExaminedPhoto(with_words(cells, dark, blown), look_from_text(text), photo.sha256, origin)
