"""Two photos of one place that tell different things."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from corromap.evidence.disagreement import crop_of, crop_reduce, find_disagreements
from corromap.evidence.seen_well import Showing
from corromap.frames import MarkId, PanelId, PhotoId
from corromap.projection import MovingEdges, ProjectedMark, Projection, SeenArea
from corromap.survey import MarkKind
from tests.picture_scene import BODY, PANEL, loader, photograph, texture
from tests.registration_scene import DATUM_MM, Camera, fitted, lens, turned
from tests.unit.surveys import mark_at

A, B = PhotoId("a"), PhotoId("b")


def box(u: float, v: float, side: float = 100.0) -> shapely.MultiPolygon:
    return shapely.MultiPolygon([shapely.box(u, v, u + side, v + side)])


def mark(name: str, photo: PhotoId, area: shapely.MultiPolygon, kind: MarkKind = MarkKind.RUST) -> ProjectedMark:
    drawn = replace(mark_at(name, PanelId("floor-left"), [[0, 0], [9, 0], [9, 9]], kind), photo=photo)
    return ProjectedMark(
        drawn, PANEL.id, area, 0.0, was_repaired=False, edges=MovingEdges(np.zeros((0, 2)), np.zeros((0, 2)), {})
    )


def showing(
    marks: list[ProjectedMark], seen_b: shapely.MultiPolygon, hidden_b: shapely.MultiPolygon | None = None
) -> Showing:
    nothing = shapely.MultiPolygon()
    everything = shapely.MultiPolygon([PANEL.outline.polygon])
    seen = (SeenArea(A, PANEL.id, everything, nothing), SeenArea(B, PANEL.id, seen_b, hidden_b or nothing))
    return Showing(Projection(tuple(marks), (), seen), {})


ALL = shapely.MultiPolygon([PANEL.outline.polygon])


def test_a_mark_on_one_photo_only_is_listed() -> None:
    (found,) = find_disagreements(showing([mark("m", A, box(200, 200))], ALL))
    assert (found.mark, found.photo, found.other, found.says_sound) == (MarkId("m"), A, B, False)
    assert found.area.area == pytest.approx(10_000)


@pytest.mark.parametrize(
    ("other", "seen", "hidden"),
    [
        (mark("n", B, box(205, 195)), ALL, None),  # marked there too, a little off
        (mark("n", B, box(190, 190, 130), MarkKind.PATCH), ALL, None),  # whatever the kind
        (None, box(0, 0, 150), None),  # not shown
        (None, box(0, 0, 250), None),  # a quarter of it shown
        (None, ALL, box(180, 180, 140)),  # hidden there
    ],
)
def test_agreement_and_places_not_shown_are_not_listed(
    other: ProjectedMark | None, seen: shapely.MultiPolygon, hidden: shapely.MultiPolygon | None
) -> None:
    marks = [mark("m", A, box(200, 200)), *([other] if other else [])]
    assert find_disagreements(showing(marks, seen, hidden)) == ()


def test_sound_on_the_other_photo_is_said() -> None:
    marks = [mark("m", A, box(200, 200)), mark("s", B, box(150, 150, 200), MarkKind.SOUND)]
    (found,) = find_disagreements(showing(marks, ALL))
    assert found.says_sound


def test_largest_first_and_tiny_ones_not_at_all() -> None:
    marks = [mark("m", A, box(200, 200)), mark("k", A, box(500, 200, 150)), mark("t", A, box(700, 300, 15))]
    assert [d.mark for d in find_disagreements(showing(marks, ALL))] == ["k", "m"]


def test_a_mark_that_only_touches_what_the_other_photo_shows() -> None:
    """The common edge is a line, not ground; overlays of lines and polygons mixed fail in GEOS."""
    parts = shapely.MultiPolygon([shapely.box(200, 200, 300, 300), shapely.box(400, 200, 410, 300)])
    (found,) = find_disagreements(showing([mark("m", A, parts)], box(0, 0, 400)))
    assert {part.geom_type for part in found.area.geoms} == {"Polygon"}
    assert found.area.area == pytest.approx(10_000)


@pytest.mark.parametrize("side_mm", [60.0, 900.0])
def test_the_pixels_a_crop_asks_for_are_told_beforehand(side_mm: float) -> None:
    placed = replace(fitted(Camera(turned(0.3, 0.1, 0.2), 400.0, lens()).sees(DATUM_MM)), photo=A)
    asked: list[int] = []

    def load(_photo: PhotoId, reduce: int) -> np.ndarray:
        asked.append(reduce)
        return np.zeros((10, 10, 3), dtype=np.uint8)

    (found,) = find_disagreements(showing([mark("m", A, box(20, 20, side_mm))], ALL.union(box(0, 0, 2000))))
    crop_of(A, found, PANEL, {(A, PANEL.id): placed}, load)
    assert asked == [crop_reduce(A, found, PANEL, {(A, PANEL.id): placed})]
    assert crop_reduce(A, found, PANEL, {}) is None


def test_crops_lie_over_each_other() -> None:
    """Two exact cameras, one turned upside down: the crops show the same pixels."""
    paint = texture()
    cameras = {A: Camera(turned(0.3, 0.1, 0.2), 900.0, lens()), B: Camera(turned(-0.2, 0.2, 3.1), 950.0, lens())}
    places = {(key, PANEL.id): replace(fitted(camera.sees(DATUM_MM)), photo=key) for key, camera in cameras.items()}
    photos = {str(key): photograph(places[key, PANEL.id], paint) for key in cameras}
    (found,) = find_disagreements(showing([mark("m", A, box(450, 250))], ALL))
    first, second = (crop_of(key, found, BODY.panel(PANEL.id), places, loader(photos)) for key in cameras)
    assert first is not None
    assert second is not None
    assert first.rgb.shape == second.rgb.shape
    assert np.abs(first.rgb.astype(int) - second.rgb).mean() < 3.0
    at = first.to_px(PANEL, np.array([[500.0, 300.0]]))[0]
    u, v = (first.rgb.shape[1] - 1) / 2, (first.rgb.shape[0] - 1) / 2
    np.testing.assert_allclose(at, [u, v], atol=1.0)


def test_photo_without_a_place_has_no_crop() -> None:
    (found,) = find_disagreements(showing([mark("m", A, box(200, 200))], ALL))
    assert crop_of(B, found, PANEL, {}, loader({})) is None
