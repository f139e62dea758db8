"""Proposals of places through other photos, for a survey file: pixels read, answers stored.

Pairs of photos that a person refused are kept in the file, so that they are
not proposed again; they are no part of the survey.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from corromap.control import PhotoTie, ScaleSighting
from corromap.frames import PanelId, PhotoId, ScaleId, TieId
from corromap.io.photos import decode
from corromap.io.survey_file import SurveyFile
from corromap.io.survey_record import new_id
from corromap.registration.board import find_board
from corromap.registration.body_size import fitted_template
from corromap.registration.links import Chained, ChainProposal, chain_photos

__all__ = ["accept_links", "find_links", "find_scale", "grey_pixels", "refuse_link"]

BOARD_SIGMA_MM = 0.2
"""Ours: paper that swells and a printer that is checked to half a millimetre in 150."""

_CACHE = "refused links"


def find_links(file: SurveyFile, *, progress: Callable[[int, int], object] | None = None) -> Chained:
    """Look for places of the photos that have none, through those that have one.

    Parameters
    ----------
    file : SurveyFile
        The survey.
    progress : callable, optional
        Called with steps done and steps in all.

    Returns
    -------
    Chained
        Proposals; nothing is stored.

    Raises
    ------
    InputError
        If a photo cannot be read.
    """
    record = file.load()
    names = {photo.id: photo.name for photo in record.survey.photos}

    def grey(photo: PhotoId) -> NDArray[np.uint8]:
        return grey_pixels(file.photo_bytes(photo), names[photo])

    body = fitted_template(record.template, record.survey.lengths)
    return chain_photos(record.survey, body, grey, progress=progress, refused=_refused(file))


def grey_pixels(data: bytes, name: str) -> NDArray[np.uint8]:
    """Decode a photo to grey.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name, for messages only.

    Returns
    -------
    ndarray of uint8, shape (H, W)
        Upright, full size.

    Raises
    ------
    PhotoError
        If it cannot be decoded.
    """
    return np.asarray(Image.fromarray(decode(data, name)).convert("L"), dtype=np.uint8)


def find_scale(file: SurveyFile, photo: PhotoId, panel: PanelId, name: str) -> ScaleSighting | None:
    """Find the printed board in a photo.

    Parameters
    ----------
    file : SurveyFile
        The survey.
    photo : PhotoId
        The photo.
    panel : PanelId
        The panel it lies on.
    name : str
        The photo's name, for messages only.

    Returns
    -------
    ScaleSighting or None
        Not stored yet; None when no board is seen.

    Raises
    ------
    PhotoError
        If the photo cannot be decoded.
    """
    found = find_board(grey_pixels(file.photo_bytes(photo), name))
    if found is None:
        return None
    return ScaleSighting(
        ScaleId(new_id("scale")), photo, panel, found.at_px, found.at_mm, BOARD_SIGMA_MM, "printed board"
    )


def accept_links(file: SurveyFile, proposals: Iterable[ChainProposal], *, author: str, at: datetime) -> int:
    """Store proposals as one change, which undo takes back.

    Parameters
    ----------
    file : SurveyFile
        The survey.
    proposals : iterable of ChainProposal
        What the person accepts.
    author : str
        Who.
    at : datetime
        When.

    Returns
    -------
    int
        The file's new revision.

    Raises
    ------
    SurveyFileError
        If nothing could be saved.
    """
    stamp = at.isoformat(timespec="seconds")
    ties: list[PhotoTie] = [
        replace(tie, id=TieId(new_id("tie")), author=author, at=stamp) for one in proposals for tie in one.ties
    ]
    return file.put_ties(ties, expected_revision=file.known_revision)


def refuse_link(file: SurveyFile, proposal: ChainProposal) -> None:
    """Remember that a person refused a proposal.

    Parameters
    ----------
    file : SurveyFile
        The survey.
    proposal : ChainProposal
        What was refused.
    """
    file.keep_worked_out(_CACHE, {f"{known}>{proposal.photo}": {"refused": True} for known in proposal.through})


def _refused(file: SurveyFile) -> frozenset[tuple[PhotoId, PhotoId]]:
    pairs = (str(key).partition(">") for key in file.worked_out(_CACHE))
    return frozenset((PhotoId(known), PhotoId(new)) for known, _, new in pairs)
