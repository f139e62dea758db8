"""Photos decoded for the report: once each, every level aligned, failures told to whoever ordered."""

from __future__ import annotations

import io
import threading
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from corromap.errors import PhotoError
from corromap.frames import PhotoId
from corromap.report.pictures import Pictures
from tests import report_scene


def _png(seed: int) -> bytes:
    pixels = np.random.default_rng(seed).integers(0, 256, (90, 121, 3), dtype=np.uint8)
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "PNG")
    return file.getvalue()


def _pictures(data: dict[PhotoId, bytes]) -> tuple[Pictures, list[PhotoId], PhotoId]:
    survey = report_scene.evaluation().survey
    photo = replace(survey.photos[0], width_px=121, height_px=90)
    read: list[PhotoId] = []

    def photo_bytes(wanted: PhotoId) -> bytes:
        read.append(wanted)
        return data.get(wanted, _png(1))

    return Pictures(replace(survey, photos=(photo,), marks=(), sightings=()), photo_bytes), read, photo.id


def test_a_photo_is_read_once_for_everything_ordered() -> None:
    pictures, read, photo = _pictures({})
    with pictures:
        orders = [pictures.order(photo, reduce, np.array) for reduce in (4, 1, 2, 8)]
        orders.append(pictures.order(photo, 2, lambda rgb: rgb + np.uint8(0)))
        pictures.begin()
        made = [order() for order in orders]
    assert read == [photo]
    assert [level.shape[:2] for level in made] == [(23, 31), (90, 121), (45, 61), (12, 16), (45, 61)]


@pytest.mark.parametrize("reduce", [2, 4])
def test_a_coarser_level_is_the_mean_of_the_pixels_it_stands_for(reduce: int) -> None:
    """Closed form: the mean of reduce x reduce pixels, so pixel centres keep their place."""
    pictures, _, photo = _pictures({})
    with pictures:
        full, coarse = pictures.order(photo, 1, np.array), pictures.order(photo, reduce, np.array)
        rows, columns = 90 // reduce, 121 // reduce
        whole = full()[: rows * reduce, : columns * reduce].astype(float)
        blocks = whole.reshape(rows, reduce, columns, reduce, 3).mean(axis=(1, 3))
        # a level made from a level rounds twice
        np.testing.assert_allclose(coarse()[:rows, :columns], blocks, atol=1.01)


def test_nothing_is_decoded_before_it_is_wanted_and_later_orders_are_met() -> None:
    pictures, read, photo = _pictures({})
    with pictures:
        first = pictures.order(photo, 1, lambda rgb: threading.current_thread().name)
        assert read == []
        assert first() != threading.current_thread().name
        second = pictures.order(photo, 1, lambda rgb: int(rgb.shape[1]))
        assert second() == 121
    assert read == [photo, photo]


def test_everyone_who_ordered_is_told_of_a_damaged_photo() -> None:
    photo = report_scene.evaluation().survey.photos[0].id
    pictures, _, _ = _pictures({photo: _png(1)[:900]})
    with pictures:
        orders = [pictures.order(photo, reduce, np.array) for reduce in (1, 2)]
        pictures.begin()
        for order in orders:
            with pytest.raises(PhotoError, match="damaged or cut short"):
                order()
