"""A survey to hand on: its photos without metadata and with blur marks carried out, its log left out."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path, PurePath

from corromap.frames import PhotoId
from corromap.io.interchange import write_folder
from corromap.io.photo_sharing import SharedPhotos
from corromap.io.photos import read_header
from corromap.io.survey_bundle import Progress, SurveyBundle, opened_bundle, write_bundle
from corromap.io.survey_db import with_suffix

__all__ = ["shared_bundle", "write_shared_file", "write_shared_folder"]


def shared_bundle(bundle: SurveyBundle) -> SurveyBundle:
    """Exchange a survey's photos for the ones to give away.

    Parameters
    ----------
    bundle : SurveyBundle
        As it is.

    Returns
    -------
    SurveyBundle
        Marks, sightings and all else the same; photos have other bytes and so
        another SHA-256; no log and no removed photos. The photos are made anew
        each time their bytes are asked for: none is kept in memory.
    """
    survey = bundle.record.survey
    shared = SharedPhotos(survey, bundle.photo_bytes)
    photos, source = [], {}
    for photo in survey.photos:
        data = shared.to_give(photo.id)
        sha256 = hashlib.sha256(data).hexdigest()
        suffix = ".png" if read_header(data, photo.name).format == "PNG" else ".jpg"
        right = PurePath(photo.name).suffix.lower() in ({".png"} if suffix == ".png" else {".jpg", ".jpeg"})
        photos.append(replace(photo, sha256=sha256, name=photo.name if right else photo.name + suffix))
        source[sha256] = photo.id

    def blob(sha256: str) -> bytes:
        return shared.to_give(PhotoId(source[sha256]))

    record = replace(bundle.record, survey=replace(survey, photos=tuple(photos)))
    return replace(bundle, record=record, log=(), removed=(), blob=blob)


def write_shared_folder(survey_path: Path, folder: Path, progress: Progress | None = None) -> Path:
    """Write a survey as an interchange folder to give away.

    Parameters
    ----------
    survey_path : Path
        The survey file.
    folder : Path
        As for `corromap.io.interchange.export_folder`.
    progress : callable, optional
        Called with (photos done, photos in all).

    Returns
    -------
    Path
        The folder.
    """
    with opened_bundle(survey_path, history=False) as bundle:
        return write_folder(shared_bundle(bundle), folder, progress=progress)


def write_shared_file(survey_path: Path, target: Path, author: str, progress: Progress | None = None) -> Path:
    """Write a survey as a survey file to give away.

    Parameters
    ----------
    survey_path : Path
        The survey file.
    target : Path
        The file to be; must not be there yet.
    author : str
        Who hands it on.
    progress : callable, optional
        Called with (photos done, photos in all).

    Returns
    -------
    Path
        The file.
    """
    path = with_suffix(target)
    with opened_bundle(survey_path, history=False) as bundle:
        write_bundle(path, shared_bundle(bundle), author, "copy to hand on: photos without metadata", progress)
    return path
