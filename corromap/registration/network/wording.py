"""What is said of links that are not used, photos they leave without a place, and sightings they contradict."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from corromap.control import PhotoTie
from corromap.frames import FloatArray, PanelId, PhotoId, TieId
from corromap.messages import message
from corromap.registration.camera_place import left_out_sentences
from corromap.registration.cameras import PlacedCamera, SurveyCameras
from corromap.registration.network.growth import Growth
from corromap.registration.network.solve import Adjusted
from corromap.registration.result import FailureReason, Registration, RegistrationFailure
from corromap.survey import Photo, Settings, Sighting
from corromap.template import BodyTemplate

__all__ = ["Given", "doubts", "failures_of", "named_sightings"]

NAMED_SIGMAS = 5.0
"""A sighting that misses by more is named."""


@dataclass(frozen=True, slots=True, eq=False)
class Given:
    """What the network starts from.

    Parameters
    ----------
    photos, sightings : mapping
        Of the survey, by photo.
    ties : tuple of PhotoTie
        Between photos and on panels that are there.
    solved : SurveyCameras
        Cameras from sightings alone.
    found : mapping
        Placings from sightings alone, by photo and panel.
    settings : Settings
        For the error of a click.
    template : BodyTemplate
        The body.
    """

    photos: Mapping[PhotoId, Photo]
    sightings: Mapping[PhotoId, tuple[Sighting, ...]]
    ties: tuple[PhotoTie, ...]
    solved: SurveyCameras
    found: Mapping[PhotoId, Mapping[PanelId, Registration | RegistrationFailure]]
    settings: Settings
    template: BodyTemplate

    def car_mm(self, sightings: Iterable[Sighting]) -> FloatArray:
        """Look up where the template has clicked points.

        Parameters
        ----------
        sightings : iterable of Sighting
            Of points that the template knows.

        Returns
        -------
        ndarray of float64, shape (N, 3)
            Car frame, mm.
        """
        places = [self.template.datum_points[s.datum] for s in sightings]
        return np.array([panel.place.to_car(point.at_mm)[0] for panel, point in places]).reshape(-1, 3)


def named_sightings(given: Given, network: Adjusted, index: int) -> list[str]:
    """Name sightings that the photo's own camera left out, and those that the linked photos contradict.

    Parameters
    ----------
    given : Given
        For names.
    network : Adjusted
        The adjusted photos.
    index : int
        Which view.

    Returns
    -------
    list of str
        One sentence each.
    """
    view = network.problem.views[index]
    own = given.solved.cameras[view.photo.id]
    texts = list(left_out_sentences(own, given.template)) if isinstance(own, PlacedCamera) else []
    for datum, miss, weight in zip(view.ids, np.hypot(*network.missed_px(index).T), view.weight, strict=True):
        if miss * np.sqrt(weight) > NAMED_SIGMAS * network.problem.click_sigma_px:
            name = given.template.datum_points[datum][1].name
            texts.append(
                message(
                    "The point '{name}' lies {miss:.1f} px from where the linked photos and the other points put it "
                    "and counts for little: click it again or remove it.",
                    name=name,
                    miss=float(miss),
                )
            )
    return texts


def doubts(given: Given, key: PhotoId, broken: Mapping[TieId, float]) -> Iterable[str]:
    """Name ties of a photo that are not used.

    Parameters
    ----------
    given : Given
        For names.
    key : PhotoId
        The photo.
    broken : mapping of TieId to float
        By how many pixels each misses.

    Yields
    ------
    str
        One sentence each.
    """
    for tie in given.ties:
        if tie.id in broken and key in {tie.known, tie.new}:
            other = given.photos[tie.new if tie.known == key else tie.known]
            yield message(
                "The link between '{photo}' and '{other}' is not used: it misses what the other points and links say "
                "by {miss}. Look at both photos and remove the link.",
                photo=given.photos[key].name,
                other=other.name,
                miss=_pixels(broken[tie.id]),
            )


def failures_of(
    given: Given, growth: Growth, broken: Mapping[TieId, float], placed: set[PhotoId], anchors: set[PhotoId]
) -> dict[tuple[PhotoId, PanelId], RegistrationFailure]:
    """Say of every tied photo that has no place why not.

    Parameters
    ----------
    given : Given
        Ties and names.
    growth : Growth
        What the ties were worth.
    broken : mapping of TieId to float
        Those that are not used.
    placed, anchors : set of PhotoId
        Photos of the network, and those with points of their own.

    Returns
    -------
    dict of (PhotoId, PanelId) to RegistrationFailure
        For the panels of their ties.
    """
    failures = {}
    for tie in given.ties:
        for key in (tie.known, tie.new):
            if key in placed or key in anchors:
                continue
            text = _why_not(given, key, growth, broken)
            for panel in [tie.panel] if tie.panel is not None else _likely(given, key):
                failures[key, panel] = RegistrationFailure(key, panel, FailureReason.LINKS, text)
    return failures


def _likely(given: Given, key: PhotoId) -> list[PanelId]:
    """Panel to tell a failure of when the tie names none."""
    return list(given.found[key])[:1] or [given.template.panels[0].id]


def _why_not(given: Given, key: PhotoId, growth: Growth, broken: Mapping[TieId, float]) -> str:
    name = given.photos[key].name
    if key in growth.narrow:
        others, wide = growth.narrow[key]
        return message(
            "Photo '{name}' is not placed: all it shares with {others} lies in a strip {wide} wide on it, which does "
            "not fix from where it was taken when the focal length is not known; click datum points on it, or link it "
            "with a photo that shows more of the same ground.",
            name=name,
            others=_names(given, others),
            wide=_pixels(wide),
        )
    if key in growth.refused:
        others, miss = growth.refused[key]
        return message(
            "Photo '{name}' is not placed: its links with {others} put it at different places, {miss} apart; click "
            "datum points on it, or remove the link that is wrong.",
            name=name,
            others=_names(given, others),
            miss=_pixels(miss),
        )
    mine = [tie for tie in given.ties if key in {tie.known, tie.new}]
    if all(tie.id in broken for tie in mine):
        return message(
            "Photo '{name}' is not placed: its links contradict what the other photos say; click datum points on it, "
            "or remove the link that is wrong.",
            name=name,
        )
    return message(
        "Photo '{name}' is not placed: no link leads from it to a photo with four points of its own; click four datum "
        "points on it or on a photo it is linked with.",
        name=name,
    )


def _names(given: Given, photos: Iterable[PhotoId]) -> str:
    return " and ".join(f"'{given.photos[photo].name}'" for photo in dict.fromkeys(photos))


def _pixels(miss: float) -> str:
    if not np.isfinite(miss):
        return message("so much that it cannot be seen at all")
    return message("{count:.0f} px", count=miss)
