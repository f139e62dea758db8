"""First-order errors of camera placings against refitting the camera for every draw of its clicks.

Source: Monte Carlo as the check of the law of propagation of uncertainty, JCGM 101:2008. Lens and focal length are
held, as the source ``clicks:<photo>`` says; what they add are sources of their own (`tests/unit/test_whole_car.py`
checks all of them together against 60 photos).
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from corromap.frames import PanelId
from corromap.registration import Registration, place_photos
from corromap.registration.camera import CameraFit, CameraPose, CameraProblem
from corromap.registration.camera_fit import refined
from corromap.registration.cameras import PlacedCamera, solve_cameras
from corromap.registration.homography import apply
from corromap.registration.result import camera_label
from tests.whole_car_scene import BODY, Shot, in_frame, photo, survey

DRAWS = 450
HELD = np.full(4, 1e-7)
OBLIQUE = Shot(eye_mm=(-200.0, -250.0, -700.0), at_mm=(150.0, 450.0, -40.0))
OUTLINES = {
    "floor-left": [[500, 150], [760, 160], [740, 330], [520, 300]],
    "sill-left-underside": [[600, 20], [800, 20], [800, 90], [600, 90]],
    "sill-left-inner": [[500, 10], [900, 10], [900, 60], [500, 60]],
}


def placed(shot: Shot, count: int) -> tuple[dict[PanelId, Registration], CameraFit]:
    """The panels by one camera, and the fit of its clicks with lens and focal length held."""
    every = in_frame(shot)
    kept = dict(list(every.items())[:: max(1, len(every) // count)])
    given = survey(kept, noise_px=1.5, seed=3)
    found = {
        panel: r
        for (_, panel), r in place_photos(given, BODY).items()
        if isinstance(r, Registration) and r.method == "camera"
    }
    camera = solve_cameras(given, BODY).cameras[photo().id]
    assert isinstance(camera, PlacedCamera)
    return found, camera.found.fit


def drawn_again(fit: CameraFit, sigma_px: float, random: np.random.Generator) -> CameraPose:
    """The pose that other clicks of the same points would have given; those that count less err more."""
    problem = fit.problem
    exact = problem.clicked_px - fit.residual_px
    clicks = exact + random.normal(0.0, sigma_px, exact.shape) / np.sqrt(problem.weight)[:, None]
    moved = CameraProblem(fit.lens, clicks, problem.car_mm, problem.weight)
    start = moved.at(fit.pose)
    return refined(start, fit.lens, sigma_px, HELD).pose


def matrix_of(pose: CameraPose, registration: Registration) -> np.ndarray:
    panel = BODY.panel(registration.panel)
    return np.linalg.inv(pose.lens_matrix(registration.lens.centre_px) @ pose.plane(panel.place))


@pytest.mark.parametrize(("shot", "count"), [(Shot(), 12), (Shot(), 24), (OBLIQUE, 16)])
def test_first_order_agrees_with_refits(shot: Shot, count: int) -> None:
    """Standard deviation of areas and places on three panels within 10 % (450 draws: 3.3 % of it is chance)."""
    found, fit = placed(shot, count)
    random = np.random.default_rng(7)
    sigma = next(iter(found.values())).sigma_px
    poses = [drawn_again(fit, sigma, random) for _ in range(DRAWS)]
    checked = 0
    for name, ring in OUTLINES.items():
        registration = found.get(PanelId(name))
        if registration is None:
            continue
        straight = registration.lens.undistort(registration.to_px(np.array(ring, dtype=float)))
        drawn = np.array([apply(matrix_of(pose, registration), straight)[0] for pose in poses])
        _same_spread(registration, np.array(ring, dtype=float), drawn)
        checked += 1
    assert checked >= 2


def _same_spread(registration: Registration, ring: np.ndarray, drawn: np.ndarray) -> None:
    label = camera_label(photo().id)
    source = next(s for s in registration.sources if s.label == label)
    by_corner = registration.sensitivities(registration.to_px(ring))[label]
    across = (np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)) / 2
    outward = np.column_stack([across[:, 1], -across[:, 0]])
    gradient = np.einsum("ni,nip->p", outward, by_corner)
    areas = shapely.area(shapely.polygons(drawn))
    assert np.sqrt(gradient @ source.covariance @ gradient) == pytest.approx(areas.std(), rel=0.10)
    middle = by_corner.mean(axis=0)
    stated = np.sqrt(np.diag(middle @ source.covariance @ middle.T))
    assert stated == pytest.approx(drawn.mean(axis=1).std(axis=0), rel=0.10)


def test_errors_of_two_panels_of_a_photo_go_together() -> None:
    """One camera's error moves both panels: their correlation as stated is that of the draws."""
    found, fit = placed(Shot(), 16)
    label = camera_label(photo().id)
    panels = [PanelId("floor-left"), PanelId("sill-left-underside")]
    at = {p: np.array([OUTLINES[p][0]], dtype=float) for p in panels}
    by = [found[p].sensitivities(found[p].to_px(at[p]))[label][0, 0] for p in panels]
    source = next(s for s in found[panels[0]].sources if s.label == label)
    cross = by[0] @ source.covariance @ by[1]
    stated = cross / np.sqrt((by[0] @ source.covariance @ by[0]) * (by[1] @ source.covariance @ by[1]))
    random, moved = np.random.default_rng(8), []
    px = [found[p].lens.undistort(found[p].to_px(at[p])) for p in panels]
    for _ in range(300):
        pose = drawn_again(fit, found[panels[0]].sigma_px, random)
        moved.append([apply(matrix_of(pose, found[p]), xy)[0][0, 0] for p, xy in zip(panels, px, strict=True)])
    assert stated == pytest.approx(np.corrcoef(np.array(moved).T)[0, 1], abs=0.1)
