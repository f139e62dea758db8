"""Photos and clicks that are not what they should be, each with the sentence the person gets.

The survey is placed through the same door as always (`place_photos`). Photos are those of a camera by OpenCV's own
projection; a panorama is a picture on a cylinder. A photo of something else and a flipped one against a neighbour by
features: `tests/reference/test_links.py`; the eight turns of EXIF in pixels: `tests/unit/test_photos.py` and others.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pytest

from corromap.frames import DatumId, PanelId
from corromap.io.templates import load_template
from corromap.registration import Registration, RegistrationFailure, place_photos
from corromap.template import BodyTemplate
from tests.whole_car_scene import BODY, FOCAL, HEIGHT, MIDDLE, SEEN, WIDTH, Shot, in_frame, photo, survey

FLOOR = PanelId("floor-left")
Clicks = dict[DatumId, np.ndarray]


def answer(clicks: Clicks, noise_px: float = 1.0, body: BodyTemplate = BODY) -> Registration | RegistrationFailure:
    return place_photos(survey(clicks, noise_px=noise_px), body)[photo().id, FLOOR]


def sentences(found: Registration | RegistrationFailure) -> str:
    return " ".join(found.warnings) if isinstance(found, Registration) else found.message


def on_floor(clicks: Clicks, count: int | None = None) -> Clicks:
    own = {d: px for d, px in clicks.items() if BODY.datum_points[d][0].id == FLOOR}
    return dict(list(own.items())[:count])


def of_body(body: BodyTemplate, panels: Iterable[PanelId], shot: Shot) -> Clicks:
    """Points of another car, under the names the chosen template has for them."""
    found: Clicks = {}
    for panel in panels:
        positions = body.datum_positions(panel)
        px = shot.sees(body.panel(panel).place.to_car(np.array(list(positions.values()))))
        inside = ((px >= 0) & (px <= [WIDTH - 1, HEIGHT - 1])).all(axis=1)
        found |= {d: at for d, at, ok in zip(positions, px, inside, strict=True) if ok and d in BODY.datum_points}
    return found


@pytest.mark.parametrize("body", ["four-door-saloon", "small-hatchback"])
def test_wrong_template(body: str) -> None:
    """A photo of another body: what its points miss by is told, with what to look at."""
    clicks = of_body(load_template(body), SEEN, Shot())
    assert len(clicks) >= 20
    said = sentences(answer(clicks))
    assert "px where 2 px is expected" in said
    assert "this car is not the body that was chosen" in said
    assert "compare the car with the template on page 1" in said


def test_right_template_says_nothing_of_the_kind() -> None:
    assert "is expected" not in sentences(answer(in_frame(Shot()), noise_px=2.0))


def panorama(car_mm: np.ndarray, shot: Shot) -> np.ndarray:
    """Pixels of a picture on a cylinder about the camera's upright axis, as a phone joins one while it is turned."""
    x, y, z = ((car_mm - np.array(shot.eye_mm)) @ shot.rotation.T).T
    return MIDDLE + FOCAL * np.stack([np.arctan2(x, z), y / np.hypot(x, z)], axis=1)


def test_panorama() -> None:
    """No pinhole took it: the bend is too large for a lens, and the person is told so."""
    near = Shot(eye_mm=(0.0, 300.0, -420.0), at_mm=(0.0, 480.0, -20.0))
    clicks: Clicks = {}
    for panel in SEEN:
        positions = BODY.datum_positions(panel)
        px = panorama(BODY.panel(panel).place.to_car(np.array(list(positions.values()))), near)
        inside = ((px >= -400) & (px <= [WIDTH + 400, HEIGHT + 400])).all(axis=1)
        clicks |= {d: at for d, at, ok in zip(positions, px, inside, strict=True) if ok}
    found = answer(clicks)
    assert "px where 2 px is expected" in sentences(found)
    assert "the photo was joined from several" in sentences(found)


def test_a_photo_of_something_else() -> None:
    """Clicks at random, as somebody makes who sees parts of the car where there are none."""
    random = np.random.default_rng(4)
    found = answer({d: random.uniform(0, [WIDTH, HEIGHT]) for d in on_floor(in_frame(Shot()), 7)})
    assert isinstance(found, RegistrationFailure)
    assert found.message.startswith(f"Photo '{photo().name}' on panel 'Left floor': the points do not fit together")
    assert "check their names, beginning with" in found.message


def test_mirrored_photo() -> None:
    found = answer({d: np.array([WIDTH - 1 - at[0], at[1]]) for d, at in on_floor(in_frame(Shot())).items()})
    assert isinstance(found, RegistrationFailure)
    assert "left and right are swapped, as if it were seen from the other side" in found.message


@pytest.mark.parametrize("turn", ["upside down", "90 degrees left", "90 degrees right"])
def test_turned_photos_are_as_good(turn: str) -> None:
    """Upside down, or EXIF that tells the wrong way up: the same place on the panel, and nothing to say."""
    at = on_floor(in_frame(Shot()), 8)
    turned = {
        "upside down": {d: [WIDTH - 1, HEIGHT - 1] - px for d, px in at.items()},
        "90 degrees left": {d: np.array([px[1], WIDTH - 1 - px[0]]) for d, px in at.items()},
        "90 degrees right": {d: np.array([HEIGHT - 1 - px[1], px[0]]) for d, px in at.items()},
    }[turn]
    given = photo()
    if turn != "upside down":
        given = type(given)(given.id, given.name, given.sha256, HEIGHT, WIDTH, None, given.focal_px)
    upright = answer(at, noise_px=0.0)
    found = place_photos(survey(turned, given=given), BODY)[given.id, FLOOR]
    assert isinstance(upright, Registration)
    assert isinstance(found, Registration)
    assert found.warnings == upright.warnings
    there, back = list(at), np.array(list(turned.values()))
    np.testing.assert_allclose(found.to_mm(back)[0], upright.to_mm(np.array([at[d] for d in there]))[0], atol=1e-3)


def test_all_on_one_line() -> None:
    """Points named all over the floor, clicked along one edge of it."""
    names = list(on_floor(in_frame(Shot()), 5))
    found = answer({d: np.array([300.0 + 250 * i, 700.0 + 40 * i]) for i, d in enumerate(names)}, noise_px=0.3)
    assert isinstance(found, RegistrationFailure)
    assert "line" in found.message
    assert "click" in found.message


def test_two_swapped() -> None:
    clicks = on_floor(in_frame(Shot()), 6)
    one, *_, other = list(clicks)[:4]
    clicks[one], clicks[other] = clicks[other], clicks[one]
    found = answer(clicks, noise_px=0.5)
    names = [BODY.datum_points[d][1].name for d in (one, other)]
    assert all(name in sentences(found) for name in names)
    assert "swapped" in sentences(found) or "click it again" in sentences(found)


def test_two_points_clicked_at_one_place() -> None:
    clicks = on_floor(in_frame(Shot()), 6)
    one, other = list(clicks)[:2]
    clicks[other] = clicks[one] + 0.4
    found = answer(clicks, noise_px=0.0)
    assert isinstance(found, RegistrationFailure)
    assert "were clicked at the same place" in found.message
