"""Photo to photo, on OpenCV's own picture pair of a wall (Debian's opencv-doc), read and not redistributed."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import pytest
import shapely

from corromap.frames import PanelId, PhotoId
from corromap.registration import Lens, Registration
from corromap.registration.homography import apply
from corromap.registration.links import (
    LinkFailure,
    PhotoLink,
    broken_links,
    closing_error_px,
    find_features,
    link_photos,
    propose,
)
from corromap.uncertainty import ErrorSource
from tests.opencv_pictures import opencv_sample

WIDTH, HEIGHT = 800, 640
SQUARE = np.array([[200, 200], [400, 200], [400, 400], [200, 400]], dtype=float)


def plain_lens(width: int = WIDTH, height: int = HEIGHT) -> Lens:
    return Lens(None, [(width - 1) / 2, (height - 1) / 2], 800.0, 0.0, 0.0, "known to the test")


@cache
def picture(name: str) -> np.ndarray:
    return cv2.imread(str(opencv_sample(name)), cv2.IMREAD_GRAYSCALE)


@cache
def published() -> np.ndarray:
    storage = cv2.FileStorage(str(opencv_sample("H1to3p.xml")), cv2.FILE_STORAGE_READ)
    return np.array(storage.getNode("H13").mat())


@cache
def features(name: str):
    return find_features(PhotoId(name), picture(name))


def linked(a, b, seed: int = 0, **options) -> PhotoLink:
    found = link_photos(a, b, (plain_lens(), plain_lens()), seed=seed, **options)
    if isinstance(found, LinkFailure):
        raise TypeError(found.message)
    return found


@pytest.mark.parametrize("seed", range(30))
def test_graffiti_pair(seed):
    """Median transfer error under 2 px, 95th percentile under 6 px, a 200 px square's area within 1 %."""
    link = linked(features("graf1.png"), features("graf3.png"), seed)
    grid = np.stack(np.meshgrid(np.arange(0, 800, 20.0), np.arange(0, 640, 20.0)), axis=-1).reshape(-1, 2)
    true = apply(published(), grid)[0]
    inside = ((true >= 0) & (true <= [WIDTH - 1, HEIGHT - 1])).all(axis=1)
    error = np.hypot(*(apply(link.matrix, grid)[0] - true)[inside].T)
    assert np.median(error) < 2.0
    assert np.percentile(error, 95) < 6.0
    area = shapely.Polygon(apply(link.matrix, SQUARE)[0]).area
    assert area == pytest.approx(24129.66, rel=0.01)


def test_a_close_up_at_four_times_the_scale():
    wall = picture("graf1.png")
    far = cv2.resize(wall, (200, 160), interpolation=cv2.INTER_AREA)
    near = wall[180:480, 200:600]
    link = link_photos(
        find_features(PhotoId("far"), far), find_features(PhotoId("near"), near), (plain_lens(200, 160), plain_lens())
    )
    assert isinstance(link, PhotoLink), link.message
    corners = np.array([[60.0, 60.0], [140.0, 60.0], [140.0, 110.0], [60.0, 110.0]])
    # pixel centres: 4 small ones to one, the cut begins at (200, 180)
    expected = (corners + 0.5) * 4 - 0.5 - [200, 180]
    assert np.hypot(*(apply(link.matrix, corners)[0] - expected).T).max() < 2.0


def test_a_photo_of_something_else_is_not_placed():
    found = link_photos(features("graf1.png"), features("box.png"), (plain_lens(), plain_lens()))
    assert isinstance(found, LinkFailure)
    assert "is not placed by" in found.message
    assert "click datum points" in found.message


def test_a_flipped_photo_is_not_placed():
    """SIFT does not find mirrored points again: there is no consensus to refuse."""
    flipped = find_features(PhotoId("flipped"), np.ascontiguousarray(picture("graf1.png")[:, ::-1]))
    assert isinstance(link_photos(features("graf1.png"), flipped, (plain_lens(), plain_lens())), LinkFailure)


def test_only_what_lies_on_the_panel_is_matched():
    left = shapely.box(0, 0, 380, 640)
    link = linked(features("graf1.png"), features("graf3.png"), inside_px=left)
    assert link.known_px[:, 0].max() <= 380


def placed() -> Registration:
    """The wall as a panel of 1 mm a pixel, known to 1 mm in every direction."""
    source = ErrorSource("clicks:graf1.png", np.eye(2))
    by = np.zeros((3, 3, 2))
    by[0, 2, 0] = by[1, 2, 1] = 1.0
    corners = np.array([[0, 0], [799, 0], [799, 639], [0, 639]], dtype=float)
    nothing = np.empty((0, 2))
    return Registration(
        PhotoId("graf1.png"), PanelId("wall"), plain_lens(), np.eye(3), 0.1, (), nothing, nothing, nothing, nothing,
        0.0, 0.0, 2.0, corners, "panel", (source,), {source.label: by},
    )  # fmt: skip


def test_a_proposal_carries_the_error_of_the_whole_chain():
    link = linked(features("graf1.png"), features("graf3.png"))
    proposal = propose(link, placed(), plain_lens())
    at = apply(published(), SQUARE)[0]
    found, _ = proposal.registration.to_mm(at)
    assert np.hypot(*(found - SQUARE).T).max() < 3.0
    assert proposal.through == ("graf1.png",)
    assert f"{proposal.matches} points agree" in proposal.sentence
    moved = proposal.registration.sensitivities(at)
    np.testing.assert_allclose(moved["clicks:graf1.png"], np.broadcast_to(np.eye(2), (4, 2, 2)), atol=1e-6)
    own = next(s for s in proposal.registration.sources if s.label == "link:graf1.png-graf3.png/wall")
    further = moved[own.label] @ own.covariance @ np.swapaxes(moved[own.label], 1, 2)
    assert (np.linalg.eigvalsh(further) > 0).all()


def test_chained_error_grows():
    first = propose(linked(features("graf1.png"), features("graf3.png")), placed(), plain_lens())
    back = linked(features("graf3.png"), features("graf1.png"))
    second = propose(back, first.registration, plain_lens(), through=first.through)
    assert second.through == ("graf1.png", "graf3.png")
    assert "by way of 2 photos" in second.sentence

    def spread(registration: Registration, at: np.ndarray) -> float:
        moved = registration.sensitivities(at)
        return sum(np.trace(moved[s.label][0] @ s.covariance @ moved[s.label][0].T) for s in registration.sources)

    place = np.array([[300.0, 300.0]])
    one = spread(first.registration, apply(published(), place)[0])
    assert spread(placed(), place) < one < spread(second.registration, place)


def test_a_wrong_link_does_not_close():
    wall = picture("graf1.png")
    cut = find_features(PhotoId("cut"), wall[100:600, 100:700])
    links = [
        linked(features("graf1.png"), features("graf3.png")),
        linked(features("graf3.png"), cut),
        linked(features("graf1.png"), cut),
    ]
    assert closing_error_px(*links) < 5.0
    assert broken_links(links) == ()
    wrong = links[2].matrix + np.array([[0, 0, 60.0], [0, 0, 0], [0, 0, 0]])
    bent = PhotoLink(
        links[2].known, links[2].new, links[2].known_px, links[2].new_px, wrong, links[2].residual_px, 0.5, 100
    )
    assert closing_error_px(links[0], links[1], bent) > 30.0
    assert bent in broken_links([links[0], links[1], bent])
