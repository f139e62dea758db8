"""A template stretched to lengths taken on the car.

Three factors, along x, y and z of the car frame, held by what is known of the
template's dimensions beforehand. Everything computed afterwards is computed on
the stretched template, so that its millimetres are the car's. All limits here
are ours.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy.stats import chi2

from corromap.control import BodyFit, MeasuredLength
from corromap.frames import DatumId, FloatArray, LengthId, PanelId, PanelOutline
from corromap.messages import message
from corromap.sections import BoxSection
from corromap.template import BodyTemplate, Fold, Frame2D, Panel, Place

__all__ = ["fit_body", "fitted_template"]

SHARED_SHARE = 0.5
"""Share of the variance that the three factors have in common: a body that is longer than
the template is rather wider too. Common practice, not measured."""

POINT_SIGMA_MM = 2.0
"""How far a point of a real body lies from where its dimensions put it, per end of a length."""

OUTLIER_LEVEL = 0.001
"""Chance of leaving a length out although it is right."""

FAR_SIGMAS = 3.0
"""A body farther from the template than this is told: it may be another body."""

STEPS = 6
REMEMBERED = 8


def fitted_template(template: BodyTemplate, lengths: Sequence[MeasuredLength]) -> BodyTemplate:
    """Stretch a template to lengths taken on the car.

    Parameters
    ----------
    template : BodyTemplate
        As published, or fitted already: then it is returned as it is.
    lengths : sequence of MeasuredLength
        Between its datum points; others are passed over.

    Returns
    -------
    BodyTemplate
        The template itself without lengths. Otherwise with every place and
        outline stretched, with less `scale_sigma`, and with `fit` telling how.
        The same arguments give the same object.
    """
    known = tuple(one for one in lengths if {one.first, one.second} <= template.datum_points.keys())
    if template.fit is not None or not known:
        return template
    return _fitted(template, known)


@lru_cache(maxsize=REMEMBERED)
def _fitted(template: BodyTemplate, lengths: tuple[MeasuredLength, ...]) -> BodyTemplate:
    fit = fit_body(template, lengths)
    maps = {panel.id: _plane_map(panel.place, fit.factors)[1] for panel in template.panels}
    panels = tuple(_stretched_panel(panel, fit.factors, maps) for panel in template.panels)
    sections = tuple(_stretched_section(section, fit.factors) for section in template.sections)
    sigma = _scale_sigma(template, fit)
    return replace(template, panels=panels, sections=sections, scale_sigma=sigma, fit=fit, published=template)


@dataclass(frozen=True, slots=True, eq=False)
class _Measured:
    """Lengths as arrays."""

    across_mm: FloatArray
    length_mm: FloatArray
    variance_mm2: FloatArray

    @classmethod
    def of(cls, template: BodyTemplate, lengths: Sequence[MeasuredLength]) -> _Measured:
        across = np.array([_car_mm(template, one.first) - _car_mm(template, one.second) for one in lengths])
        measured = np.array([one.length_mm for one in lengths])
        variance = np.array([one.sigma_mm**2 + 2 * POINT_SIGMA_MM**2 for one in lengths])
        return cls(across.reshape(-1, 3), measured, variance)

    def missed(self, factors: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Measured minus stretched, and the derivative of the stretched."""
        stretched = self.across_mm * factors
        length = np.linalg.norm(stretched, axis=1)
        return self.length_mm - length, stretched * self.across_mm / length[:, None]


def fit_body(template: BodyTemplate, lengths: Sequence[MeasuredLength]) -> BodyFit:
    """Fit the body's factors to lengths.

    Parameters
    ----------
    template : BodyTemplate
        As published.
    lengths : sequence of MeasuredLength
        Between its datum points.

    Returns
    -------
    BodyFit
        A length that the template and the other lengths contradict is left out,
        one by one, and named.
    """
    prior = max(template.scale_sigma, 1e-6) ** 2 * (SHARED_SHARE * np.ones((3, 3)) + (1 - SHARED_SHARE) * np.eye(3))
    kept, out, texts = list(lengths), list[LengthId](), list[str]()
    while True:
        factors, covariance = _solve(_Measured.of(template, kept), prior)
        worst = _worst(template, kept, prior)
        if worst is None:
            break
        bad = kept.pop(worst)
        out.append(bad.id)
        others = _solve(_Measured.of(template, kept), prior)[0]
        texts.append(_contradicted(template, bad, others, alone=not kept))
    texts += _far(template, factors, bool(kept))
    return BodyFit(factors, covariance, tuple(one.id for one in kept), tuple(out), tuple(texts))


def _solve(measured: _Measured, prior: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Gauss-Newton, held by what is known beforehand."""
    factors, held = np.ones(3), np.linalg.inv(prior)
    for _ in range(STEPS):
        missed, design = measured.missed(factors)
        weighted = design.T / measured.variance_mm2
        information = held + weighted @ design
        factors = factors + np.linalg.solve(information, weighted @ missed - held @ (factors - 1.0))
    return factors, np.asarray(np.linalg.inv(information), dtype=np.float64)


def _worst(template: BodyTemplate, lengths: Sequence[MeasuredLength], prior: FloatArray) -> int | None:
    """Find the length without which the others fit best, if that is more than chance."""
    if not lengths:
        return None
    without = [_square(template, [*lengths[:i], *lengths[i + 1 :]], prior) for i in range(len(lengths))]
    gain = _square(template, lengths, prior) - min(without)
    return int(np.argmin(without)) if gain > chi2.isf(OUTLIER_LEVEL, 1) else None


def _square(template: BodyTemplate, lengths: Sequence[MeasuredLength], prior: FloatArray) -> float:
    """Sum of squares, in standard errors, of lengths and of what is known beforehand."""
    measured = _Measured.of(template, lengths)
    factors = _solve(measured, prior)[0]
    missed, strayed = measured.missed(factors)[0], factors - 1.0
    return float((missed**2 / measured.variance_mm2).sum() + strayed @ np.linalg.solve(prior, strayed))


def _contradicted(template: BodyTemplate, bad: MeasuredLength, factors: FloatArray, *, alone: bool) -> str:
    across = _car_mm(template, bad.first) - _car_mm(template, bad.second)
    values = {
        "first": template.datum_points[bad.first][1].name,
        "second": template.datum_points[bad.second][1].name,
        "length": bad.length_mm,
        "expected": float(np.linalg.norm(across * factors)),
    }
    if alone:
        return message(
            "The length from '{first}' to '{second}' was left out: {length:.0f} mm were measured where the template "
            "has {expected:.0f} mm. Measure it again, check which points it goes between, and that this is the right "
            "body.",
            **values,
        )
    return message(
        "The length from '{first}' to '{second}' was left out: {length:.0f} mm were measured where the template and "
        "the other lengths make it {expected:.0f} mm. Measure it again and check which points it goes between.",
        **values,
    )


def _far(template: BodyTemplate, factors: FloatArray, is_measured: bool) -> list[str]:  # noqa: FBT001 - one call
    strayed = float(np.abs(factors - 1.0).max())
    if not is_measured or strayed <= FAR_SIGMAS * template.scale_sigma:
        return []
    return [
        message(
            "The lengths make this car {percent:.1f} % larger or smaller than the template in one direction: check "
            "that '{body}' is the right body.",
            percent=100 * strayed,
            body=template.name,
        )
    ]


def _car_mm(template: BodyTemplate, datum: DatumId) -> FloatArray:
    panel, point = template.datum_points[datum]
    return np.asarray(panel.place.to_car(point.at_mm)[0])


def _scale_sigma(template: BodyTemplate, fit: BodyFit) -> float:
    """Uncertainty of a length left over, by the panel whose area it leaves least known."""
    left = []
    for panel in template.panels:
        place = panel.place
        # an area grows by the product of two stretches: by the share of each axis in the panel's plane
        by_factor = place.u_axis**2 + place.v_axis**2
        left.append(float(by_factor @ fit.covariance @ by_factor))
    return float(np.sqrt(max(left))) / 2.0


def _plane_map(place: Place, factors: FloatArray) -> tuple[Place, FloatArray]:
    """Stretch a panel's place, and find what that does to its millimetres: a 2 x 2 matrix."""
    u, v = factors * place.u_axis, factors * place.v_axis
    along = float(np.linalg.norm(u))
    new_u = u / along
    lean = float(v @ new_u)
    across = v - lean * new_u
    height = float(np.linalg.norm(across))
    moved = Place(factors * place.origin_mm, new_u, across / height)
    return moved, np.array([[along, lean], [0.0, height]])


def _stretched_panel(panel: Panel, factors: FloatArray, maps: Mapping[PanelId, FloatArray]) -> Panel:
    matrix = maps[panel.id]

    def moved(xy: FloatArray) -> FloatArray:
        return np.asarray(xy @ matrix.T)

    def outline(one: PanelOutline) -> PanelOutline:
        return PanelOutline(one.panel, moved(one.exterior_mm), tuple(moved(hole) for hole in one.holes_mm))

    frame = panel.map_frame
    # on the map the car's length runs down and its width across
    map_frame = Frame2D(frame.origin_mm * [factors[1], factors[0]], frame.u_axis, frame.v_axis)
    return replace(
        panel,
        outline=outline(panel.outline),
        place=_plane_map(panel.place, factors)[0],
        map_frame=map_frame,
        zones=tuple(replace(zone, outline=outline(zone.outline)) for zone in panel.zones),
        datum_points=tuple(replace(one, at_mm=moved(one.at_mm)) for one in panel.datum_points),
        mountings=tuple(replace(one, at_mm=moved(one.at_mm)) for one in panel.mountings),
        features=tuple(replace(one, line_mm=moved(one.line_mm)) for one in panel.features),
        folds=tuple(
            Fold(fold.other, moved(fold.edge_mm), fold.other_edge_mm @ maps[fold.other].T) for fold in panel.folds
        ),
    )


def _stretched_section(section: BoxSection, factors: FloatArray) -> BoxSection:
    across = factors[1:]
    walls = tuple(replace(w, from_mm=w.from_mm * across, to_mm=w.to_mm * across) for w in section.walls)
    ends = float(section.from_x_mm * factors[0]), float(section.to_x_mm * factors[0])
    return replace(section, from_x_mm=ends[0], to_x_mm=ends[1], walls=walls)
