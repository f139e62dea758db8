"""Which datum point to click next."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import combinations

import numpy as np

from corromap.frames import DatumId, FloatArray
from corromap.messages import joined, message
from corromap.registration.homography import homogeneous
from corromap.registration.lens import Lens
from corromap.registration.panel_fit import PanelFit, fit_panel
from corromap.registration.prior import prior_lens
from corromap.registration.sighted import LEAST_POINTS, Sighted, datum_positions, lone_point, point_name
from corromap.survey import Photo, Sighting
from corromap.template import BodyTemplate, Panel

__all__ = ["next_datum", "next_point", "suggestion"]

FARTHEST = 4.0
"""A point more than so many times as far from the camera as the farthest one
clicked is not asked for; the same limit as for marks (`by_camera.W_SHARE`)."""


def next_datum(photo: Photo, panel: Panel, sightings: Iterable[Sighting], template: BodyTemplate) -> DatumId | None:
    """Choose the datum point that would help the placing most.

    Parameters
    ----------
    photo : Photo
        The photo.
    panel : Panel
        The panel.
    sightings : iterable of Sighting
        What was clicked so far, any photo.
    template : BodyTemplate
        For the datum points on the panel, folds included.

    Returns
    -------
    DatumId or None
        While there is no fit, the point that adds most spread. With a fit, the
        one among those inside the photo whose click would shrink the volume of
        the fit's error most. None when no point is left inside the photo.

    Notes
    -----
    A click with Jacobian J by the eight parameters, whose covariance is
    C, multiplies ``det C`` by ``1 / det(I + J C J' / sigma**2)``: D-optimal design
    (Fedorov, Theory of Optimal Experiments, 1972).
    """
    return next_point(Sighted.collect(photo, panel, sightings, template), prior_lens(photo))


def next_point(sighted: Sighted, lens: Lens) -> DatumId | None:
    """As `next_datum`, for sightings already collected.

    Parameters
    ----------
    sighted : Sighted
        What was clicked so far.
    lens : Lens
        The photo's lens.

    Returns
    -------
    DatumId or None
        The point to click next.
    """
    positions = datum_positions(sighted.template, sighted.panel.id)
    free = [datum for datum in positions if datum not in sighted.ids]
    if not free:
        return None
    places = np.array([positions[datum] for datum in free])
    fit = _usable_fit(sighted, lens)
    gain = _spread_gain(sighted, places) if fit is None else _information_gain(sighted, fit, places)
    best = int(np.argmax(gain))
    return free[best] if gain[best] > -np.inf else None


def suggestion(sighted: Sighted, lens: Lens, *, ordinal: str = "", where: str = "") -> str:
    """Clause that names the next point to click.

    Parameters
    ----------
    sighted : Sighted
        What was clicked so far.
    lens : Lens
        The photo's lens.
    ordinal : str
        For example ``fifth``.
    where : str
        For example ``off that line``.

    Returns
    -------
    str
        Without a full stop.
    """
    datum = next_point(sighted, lens)
    if datum is None and len(set(sighted.ids)) == len(datum_positions(sighted.template, sighted.panel.id)):
        return message("every datum point of this panel is clicked already, so use a photo that shows them better")
    if datum is None:
        return message(
            "no further datum point of this panel lies inside the photo, so use a photo that shows more of it"
        )
    name = sighted.template.datum_points[datum][1].name
    role = message("as a {ordinal} point", ordinal=message(ordinal)) if ordinal else message("next")
    said = message("click {point} {role}", point=point_name(sighted.panel.name, name), role=role)
    return joined(" ", [said, where]) if where else said


def _usable_fit(sighted: Sighted, lens: Lens) -> PanelFit | None:
    """Fit what is clicked, or None while the next point must add spread."""
    if len(sighted.ids) < LEAST_POINTS or lone_point(sighted.datum_mm) is not None:
        return None
    fit = fit_panel(sighted.clicked_px, sighted.datum_mm, lens)
    return fit if fit.is_fixed else None


def _information_gain(sighted: Sighted, fit: PanelFit, places: FloatArray) -> FloatArray:
    predicted, w, jacobian = fit.at(places)
    covariance = np.linalg.inv(fit.jacobian.T @ fit.jacobian)
    added = np.eye(2) + jacobian @ covariance @ np.swapaxes(jacobian, 1, 2)
    gain = np.linalg.slogdet(added)[1]
    seen = _is_inside(sighted.photo, predicted) & (w > 0) & (w < FARTHEST * fit.w.max())
    return np.where(seen, gain, -np.inf)


def _spread_gain(sighted: Sighted, places: FloatArray) -> FloatArray:
    """Smallest triangle with two of the points clicked; points in the photo first."""
    known = sighted.datum_mm
    if len(known) == 0:
        return -np.arange(len(places), dtype=np.float64)  # the template lists the plainest first
    if len(known) == 1:
        return np.asarray(np.hypot(*(places - known[0]).T))
    triangles = [np.abs(_cross(q - p, places - p)) for p, q in combinations(known, 2)]
    gain = np.min(triangles, axis=0) if len(known) < LEAST_POINTS else np.median(triangles, axis=0)
    predicted = _rough_prediction(sighted, places)
    inside = _is_inside(sighted.photo, predicted)
    return np.where(inside, gain, gain - 2.0 * gain.max()) if inside.any() else gain


def _rough_prediction(sighted: Sighted, places: FloatArray) -> FloatArray:
    """Where points fall if the panel were square-on: a similarity from two, an affine map from more."""
    if len(sighted.ids) == 2:
        turned = np.array([1.0, -float(sighted.panel.facing)])
        here, there = sighted.datum_mm * turned, sighted.clicked_px
        scale = complex(*(there[1] - there[0])) / complex(*(here[1] - here[0]))
        moved = (places * turned - here[0]) @ np.array([1, 1j]) * scale
        return np.asarray(np.column_stack([moved.real, moved.imag]) + there[0], dtype=np.float64)
    affine = np.linalg.lstsq(homogeneous(sighted.datum_mm), sighted.clicked_px)[0]
    return np.asarray(homogeneous(places) @ affine, dtype=np.float64)


def _is_inside(photo: Photo, xy_px: FloatArray) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    size = np.array([photo.width_px - 1, photo.height_px - 1])
    return np.asarray(((xy_px >= 0) & (xy_px <= size)).all(axis=1))


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])
