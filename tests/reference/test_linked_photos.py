"""Photos placed through one another, on rendered pixels with known cameras.

The renderer (`tools.truth_bench.render`) and OpenCV's ``projectPoints`` know
nothing of the program's fits.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from corromap.frames import PhotoId
from corromap.registration import Registration, place_photos
from corromap.registration.links import Chained, chain_photos
from corromap.survey import Survey
from tests.rendered_row import RenderedRow, camera_at, row_cameras

CLOSE_UP = camera_at((90.0, 430.0, -158.0), (70.0, 440.0, -3.0))
"""A quarter as far from the floor as the row: 9 photos in all."""


@cache
def row() -> RenderedRow:
    return RenderedRow([*row_cameras(8), CLOSE_UP])


@cache
def survey() -> Survey:
    """Ten clicks in all, on two of nine photos."""
    return Survey("row", photos=row().photos, sightings=(*row().clicks(2, 5), *row().clicks(5, 5)))


@cache
def chained() -> Chained:
    return chain_photos(survey(), row().body, row().grey)


def accepted() -> Survey:
    return replace(survey(), ties=tuple(tie for one in chained().proposals for tie in one.ties))


def test_ten_clicks_place_eight_photos_and_a_close_up_at_four_times_the_scale() -> None:
    """Issue 4: eight overlapping photos by ten clicks in all; a close-up whose scale differs four times."""
    assert len(survey().sightings) == 10
    assert chained().not_linked == ()
    placed = place_photos(accepted(), row().body)
    for number, photo in enumerate(row().photos):
        mine = [r for (key, _), r in placed.items() if key == photo.id and isinstance(r, Registration)]
        assert mine, photo.name
        errors = np.concatenate([row().errors_mm(number, one) for one in mine])
        assert np.nanmedian(errors) < 1.5, photo.name
        assert np.nanpercentile(errors, 95) < 5.0, photo.name


def test_proposals_say_what_they_stand_on_and_can_be_accepted_in_order() -> None:
    placed = {key for (key, _), r in place_photos(survey(), row().body).items() if isinstance(r, Registration)}
    for one in chained().proposals:
        assert set(one.through) <= placed
        placed.add(one.photo)
        assert one.rms_px < 3.0
        assert one.rms_mm < 3.0
        assert f"Photo '{one.photo}.jpg' seems to show " in one.sentence
        assert f"{one.points} points agree to" in one.sentence
        assert all(isinstance(r, Registration) and r.method == "linked" for r in one.places.values())
    close = next(one for one in chained().proposals if one.photo == "photo-9")
    assert min(tie.sigma_px for tie in close.ties) >= 0.5


def test_a_photo_of_something_else_and_a_mirrored_one_are_not_placed() -> None:
    noise = np.random.default_rng(1).integers(0, 255, (750, 1000), dtype=np.uint8)
    keep = {PhotoId("photo-3"), PhotoId("photo-4"), PhotoId("photo-5")}
    photos = tuple(p for p in survey().photos if p.id in keep)
    few = replace(survey(), photos=photos, sightings=tuple(row().clicks(2, 8)))

    def load(photo: PhotoId) -> np.ndarray:
        if photo == "photo-4":
            return noise
        return np.ascontiguousarray(row().grey(photo)[:, ::-1]) if photo == "photo-5" else row().grey(photo)

    found = chain_photos(few, row().body, load)
    assert found.proposals == ()
    assert {one.photo for one in found.not_linked} == {"photo-4", "photo-5"}
    for one in found.not_linked:
        assert one.message.startswith(f"No place is proposed for photo '{one.photo}.jpg': ")
        assert one.message.endswith("or take a photo that shows both its place and one already placed.")


@pytest.mark.parametrize("refused", [True, False])
def test_refused_pairs_are_not_proposed_again(refused: bool) -> None:
    keep = {PhotoId("photo-3"), PhotoId("photo-4")}
    few = replace(
        survey(), photos=tuple(p for p in survey().photos if p.id in keep), sightings=tuple(row().clicks(2, 8))
    )
    pairs = frozenset({(PhotoId("photo-3"), PhotoId("photo-4"))}) if refused else frozenset()
    steps: list[tuple[int, int]] = []
    found = chain_photos(few, row().body, row().grey, refused=pairs, progress=lambda *step: steps.append(step))
    assert bool(found.proposals) is not refused
    assert steps[-1][0] == steps[-1][1]


def test_without_a_placed_photo_nothing_can_be_linked() -> None:
    bare = replace(survey(), sightings=())
    found = chain_photos(bare, row().body, row().grey)
    assert found.proposals == ()
    assert len(found.not_linked) == 9
    assert "there is nothing to link it with; click four datum points on one of them." in found.not_linked[0].message
