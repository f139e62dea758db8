"""A photo placed through another: proposals, with the error of the whole chain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.frames import FloatArray, PanelId, PhotoId
from corromap.registration.by_camera import W_SHARE, root_mean_square
from corromap.registration.lens import Lens
from corromap.registration.links.pair import PhotoLink
from corromap.registration.panel_fit import PanelFit, fit_panel, least_squares
from corromap.registration.result import Registration, lens_label
from corromap.uncertainty import ErrorSource

__all__ = ["LinkProposal", "propose"]

EFFECTIVE_MATCHES = 30
"""Ours: what is wrong with matches (a bent panel, a smear of underseal) is wrong
with neighbours alike, so that a thousand of them are worth no more than this many."""

LARGEST_RMS_MM = 8.0
"""A proposal whose matches miss by more on the panel is not made."""


@dataclass(frozen=True, slots=True, eq=False)
class LinkProposal:
    """A place proposed for a photo; nothing counts until a person accepts it.

    Parameters
    ----------
    photo, panel : PhotoId, PanelId
        What is placed, and where.
    through : tuple of PhotoId
        Photos the chain goes through, the one with sightings first.
    registration : Registration
        The place, of method ``link``, with the chain's error.
    matches : int
        Points in agreement.
    rms_px, rms_mm : float
        Root mean square residual of them in this photo and on the panel.
    sentence : str
        For the person who accepts or refuses.
    """

    photo: PhotoId
    panel: PanelId
    through: tuple[PhotoId, ...]
    registration: Registration
    matches: int
    rms_px: float
    rms_mm: float
    sentence: str


def propose(
    link: PhotoLink, known: Registration, lens: Lens, *, through: tuple[PhotoId, ...] = ()
) -> LinkProposal | None:
    """Place a photo on a panel through another.

    Parameters
    ----------
    link : PhotoLink
        What both photos share on the panel.
    known : Registration
        Place of `link.known` on the panel; itself from a link when a chain is built.
    lens : Lens
        Of `link.new`.
    through : tuple of PhotoId
        The chain so far, without `link.known`.

    Returns
    -------
    LinkProposal or None
        None when the matches do not lie on the panel as `known` has it.

    Notes
    -----
    The matches, carried to the panel by `known`, serve as datum points. Their
    common error (clicks, lens and all else `known` stands on) goes through the
    fit to first order; the scatter of the matches adds a source of its own.
    """
    place_mm = known.to_mm(link.known_px)[0]
    good: NDArray[np.bool_] = np.asarray(np.isfinite(place_mm).all(axis=1))
    if good.sum() < 0.9 * len(good):
        return None
    place_mm, known_px, new_px = place_mm[good], link.known_px[good], link.new_px[good]
    fit = fit_panel(new_px, place_mm, lens)
    if not fit.is_fixed:
        return None
    registration = _registration(link, known, fit, place_mm, known_px)
    rms_px, rms_mm = registration.rms_px, registration.rms_mm
    if rms_mm > LARGEST_RMS_MM:
        return None
    chain = (*through, link.known)
    sentence = (
        f"Photo '{link.new}' seems to show '{known.panel}' as photo '{link.known}' does: {len(new_px)} points agree "
        f"to {rms_px:.1f} px ({rms_mm:.1f} mm){_by_way_of(chain)}. Look at the outline over the photo before you "
        "accept it."
    )
    return LinkProposal(link.new, known.panel, chain, registration, len(new_px), rms_px, rms_mm, sentence)


def _by_way_of(chain: tuple[PhotoId, ...]) -> str:
    return f", by way of {len(chain)} photos" if len(chain) > 1 else ""


def _registration(
    link: PhotoLink, known: Registration, fit: PanelFit, place_mm: FloatArray, known_px: FloatArray
) -> Registration:
    matrix = fit.px_to_mm()
    lens, new_px = fit.lens, fit.problem.clicked_px
    w = lens.undistort(new_px) @ matrix[2, :2] + matrix[2, 2]
    scale = 1.0 / float(w.mean())
    sources, moved = _sources(link, known, fit, place_mm, known_px)
    residual_mm = _carried(matrix, lens.undistort(new_px)) - place_mm
    hull = shapely.get_coordinates(shapely.MultiPoint(new_px).convex_hull)[:-1]
    nothing = np.empty((0, 2))
    return Registration(
        photo=link.new,
        panel=known.panel,
        lens=lens,
        matrix=matrix * scale,
        w_min=W_SHARE * scale * float(w.min()),
        datum_ids=(),
        datum_mm=nothing,
        sighted_px=nothing,
        residual_px=nothing,
        residual_mm=nothing,
        rms_px=root_mean_square(fit.residual_px),
        rms_mm=root_mean_square(residual_mm),
        sigma_px=link.sigma_px,
        hull_px=np.asarray(hull, dtype=np.float64),
        method="link",
        sources=sources,
        matrix_by_source={label: value * scale for label, value in moved.items()},
        reason=f"Placed through photo '{link.known}': {len(new_px)} points of both agree.",
    )


def _carried(matrix: FloatArray, xy: FloatArray) -> FloatArray:
    q = xy @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(q[:, :2] / q[:, 2:])


def _sources(
    link: PhotoLink, known: Registration, fit: PanelFit, place_mm: FloatArray, known_px: FloatArray
) -> tuple[tuple[ErrorSource, ...], dict[str, FloatArray]]:
    count = len(place_mm)
    by_parameter = fit.px_to_mm_by_parameter()
    normal: FloatArray = np.asarray(np.linalg.inv(fit.jacobian.T @ fit.jacobian), dtype=np.float64)
    label = f"link:{link.known}-{link.new}/{known.panel}"
    spread = link.sigma_px**2 * max(1.0, count / EFFECTIVE_MATCHES)
    sources = {label: ErrorSource(label, spread * normal)}
    moved = {label: by_parameter}
    # where a match moves on the panel, its place in the photo as predicted moves too: the fit follows
    by_place = np.linalg.inv(_jacobian(fit, place_mm))
    carried = known.sensitivities(known_px)
    for source in known.sources:
        shift = (by_place @ carried[source.label]).reshape(2 * count, -1)
        sources[source.label] = source
        moved[source.label] = -by_parameter @ least_squares(fit.jacobian, shift)
    own = lens_label(fit.lens, link.new)
    followed = -by_parameter @ least_squares(fit.jacobian, fit.by_lens)
    sources.setdefault(own, ErrorSource(own, fit.lens.covariance))
    moved[own] = moved[own] + followed if own in moved else followed
    return tuple(sources.values()), moved


def _jacobian(fit: PanelFit, place_mm: FloatArray) -> FloatArray:
    """Differentiate panel millimetres by photo pixels where the matches are, lens included, shape (N, 2, 2)."""
    matrix, lens = fit.px_to_mm(), fit.lens
    predicted = fit.at(place_mm)[0]
    straight = lens.undistort(predicted)
    w = straight @ matrix[2, :2] + matrix[2, 2]
    top = matrix[:2, :2] - place_mm[:, :, None] * matrix[2, :2]
    return np.asarray((top / w[:, None, None]) @ lens.undistort_jacobian_at(straight))
