"""What a photo shows of the body, laid on the map: held against the renderer, which knows the truth."""

from __future__ import annotations

import io
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from PIL import Image

from corromap.frames import PhotoId
from corromap.io.photos import encode_jpeg
from corromap.io.rules import default_rules
from corromap.io.survey_file import SurveyFile
from corromap.registration import Registration
from corromap.registration.links import ChainProposal
from corromap.settings import Settings
from corromap.survey import Sighting
from corromap.template import Panel
from corromap.ui import state
from corromap.ui.canvas import Footprint
from corromap.ui.footprint import MM_PER_PX, placed_footprint, proposed_footprint
from tests.rendered_row import RenderedRow, row_cameras


@cache
def row() -> RenderedRow:
    return RenderedRow(row_cameras(1))


@pytest.fixture
def held(tmp_path: Path) -> state.OpenSurvey:
    """One rendered photo, placed by eight clicks with 1 px of noise."""
    file = SurveyFile.create(tmp_path / "car.corromap", row().body, default_rules(), author="one")
    photo = file.add_photo(encode_jpeg(row().rendered[0].image, 92), "a.jpg", "seller")
    for click in row().clicks(0, 8):
        file.put_sighting(Sighting(photo, click.datum, click.at_px))
    file.set_settings(Settings(coarsest_mm_per_px=10.0))
    return state.OpenSurvey("key", file, file.load(), "token")


def truly_shown(panel: Panel, count: int = 400) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Pixels that show a panel by the renderer's own index, and the places of the panel they show."""
    camera, number = row().cameras[0], row().body.panels.index(panel)
    index = row().rendered[0].panel == number
    away = cv2.erode(index.astype(np.uint8), np.ones((13, 13))).astype(bool)  # clear of edges: clicks are not exact
    ys, xs = np.nonzero(away)
    if len(xs) < count:
        return np.empty((0, 2), dtype=np.int64), np.empty((0, 2))
    rows = np.random.default_rng(3).choice(len(xs), count, replace=False)
    px = np.stack([xs[rows], ys[rows]], axis=1)
    straight = cv2.undistortPoints(px.reshape(-1, 1, 2).astype(float), camera.matrix, np.array(camera.dist))
    axes = (panel.place.u_axis, panel.place.v_axis)
    plane = np.stack([*(camera.rotation @ a for a in axes), camera.rotation @ panel.place.origin_mm + camera.tvec], 1)
    met = np.column_stack([straight.reshape(-1, 2), np.ones(count)]) @ np.linalg.inv(plane).T
    return px, met[:, :2] / met[:, 2:]


def shown_panels(footprint: Footprint) -> Iterator[tuple[Panel, NDArray[np.int64], NDArray[np.float64]]]:
    for seen in footprint.seen:
        panel = row().body.panel(seen.panel)
        px, at_mm = truly_shown(panel)
        if len(px):
            away_mm = shapely.distance(seen.area, shapely.points(at_mm))
            assert (away_mm == 0).mean() > 0.93, panel.name
            assert away_mm.max() < 40, panel.name  # the strip that a crossmember's web hides
            yield panel, px, at_mm


def test_the_outline_holds_what_the_photo_shows_and_the_picture_its_colours(held: state.OpenSurvey) -> None:
    footprint = placed_footprint(held, held.survey.photos[0], with_photo=True)
    assert footprint is not None
    assert footprint.draped is not None
    picture = np.asarray(Image.open(io.BytesIO(footprint.draped.png)), dtype=float)
    assert footprint.draped.width_mm == picture.shape[1] * MM_PER_PX
    photo = cv2.GaussianBlur(row().rendered[0].image, (0, 0), 2.0).astype(float)
    found = list(shown_panels(footprint))
    assert len(found) >= 3
    for panel, px, at_mm in found:
        at = (panel.map_frame.to_map(at_mm) - footprint.draped.corner_mm) / MM_PER_PX
        x, y = np.floor(at).astype(int).T
        there = picture[y, x, 3] > 0
        assert there.mean() > 0.97
        laid, true = picture[y, x, :3][there].mean(axis=1), photo[px[:, 1], px[:, 0]][there].mean(axis=1)
        assert np.corrcoef(laid, true)[0, 1] > 0.85, panel.name


def test_a_proposal_is_laid_there_too_and_an_unplaced_photo_is_not(held: state.OpenSurvey) -> None:
    photo = held.survey.photos[0]
    places = {panel: r for (_, panel), r in held.registrations.items() if isinstance(r, Registration)}
    proposal = ChainProposal(photo.id, (PhotoId("other"),), (), places, 40, 1.24, 3.36, "seems to show it")
    footprint = proposed_footprint(held, photo, proposal)
    assert proposed_footprint(held, photo, proposal) is footprint  # made once a proposal
    assert footprint.is_proposed
    assert footprint.label == "Proposed; residual 1.2 px, 3.4 mm"
    assert footprint.draped is not None
    assert len(list(shown_panels(footprint))) >= 3
    for sighting in held.survey.sightings:
        held.file.remove_sighting(photo.id, sighting.datum)
    held.refresh()
    assert placed_footprint(held, photo, with_photo=True) is None
