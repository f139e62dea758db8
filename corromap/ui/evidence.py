"""What the app says of the evidence: how well a photo can be judged, what to ask for, the whole picture."""

from __future__ import annotations

import tempfile
from collections.abc import MutableMapping
from pathlib import Path

import streamlit as st

from corromap.io.photo_quality import ExaminedPhoto, examine_photo
from corromap.report.evidence_page import examine_all, judged_photos, requests_of
from corromap.report.shot_list import shot_list_html
from corromap.report.whole_picture_file import write_whole_picture
from corromap.survey import Photo
from corromap.ui import state

__all__ = ["photo_words", "request_page", "whole_picture_jpeg"]

_KEPT = 200
"""Photos remembered in a session; the map of one is a few kilobytes."""


def photo_words(held: state.OpenSurvey, photo: Photo) -> tuple[str, ...]:
    """Say how well a photo can be judged, and whether it repeats another one looked at.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    photo : Photo
        One of its photos.

    Returns
    -------
    tuple of str
        Sentences; empty when nothing stands out.

    Raises
    ------
    PhotoError
        If its bytes cannot be decoded.
    """
    kept: MutableMapping[str, ExaminedPhoto] = st.session_state.setdefault("examined", {})
    if photo.sha256 not in kept:
        with st.spinner("Looking at it"):
            if len(kept) >= _KEPT:
                kept.clear()
            kept[photo.sha256] = examine_photo(held.file.photo_bytes(photo.id), photo.name)
    known = {p.id: kept[p.sha256] for p in held.survey.photos if p.sha256 in kept}
    return judged_photos(held.evaluation, known)[photo.id]


def request_page(held: state.OpenSurvey) -> bytes:
    """Make the list of photos to take, as a page to print.

    Parameters
    ----------
    held : OpenSurvey
        The open survey; without photos the standard list of its body.

    Returns
    -------
    bytes
        HTML.

    Raises
    ------
    PhotoError
        If a photo's bytes cannot be decoded.
    """
    examined = examine_all(held.evaluation, held.file.photo_bytes)
    return shot_list_html(requests_of(held.evaluation, examined), held.template).encode()


def whole_picture_jpeg(held: state.OpenSurvey) -> bytes:
    """Make the whole picture at 1 mm per pixel.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.

    Returns
    -------
    bytes
        JPEG with its scale in the metadata.

    Raises
    ------
    InputError
        If a photo cannot be decoded or the disk is full.
    """
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "picture.jpg"
        write_whole_picture(held.evaluation, held.file.photo_bytes, target)
        return target.read_bytes()
