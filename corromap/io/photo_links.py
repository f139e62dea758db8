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

from corromap.control import PhotoTie
from corromap.frames import PhotoId, TieId
from corromap.io.photos import decode
from corromap.io.survey_file import SurveyFile
from corromap.io.survey_record import new_id
from corromap.registration.body_size import fitted_template
from corromap.registration.links import Chained, ChainProposal, chain_photos

__all__ = ["accept_links", "find_links", "refuse_link"]

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
        picture = Image.fromarray(decode(file.photo_bytes(photo), names[photo])).convert("L")
        return np.asarray(picture, dtype=np.uint8)

    body = fitted_template(record.template, record.survey.lengths)
    return chain_photos(record.survey, body, grey, progress=progress, refused=_refused(file))


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
