"""Hints of re-encoding and editing, on files made here."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from corromap.errors import PhotoError
from corromap.io.photo_origin import read_origin


def picture(width: int = 640, height: int = 480) -> Image.Image:
    ramp = np.linspace(0, 255, width)[None, :, None] * np.ones((height, 1, 3))
    return Image.fromarray(ramp.astype(np.uint8))


def file_of(image: Image.Image, form: str = "JPEG", *, tags: dict[int, str] | None = None, taken: str = "",
            **options: object) -> bytes:  # fmt: skip
    exif = Image.Exif()
    for tag, value in (tags or {}).items():
        exif[tag] = value
    if taken:
        exif.get_ifd(0x8769)[0x9003] = taken
    target = io.BytesIO()
    image.save(target, form, exif=exif, **options)
    return target.getvalue()


@pytest.mark.parametrize("quality", [30, 50, 75, 92, 100])
def test_jpeg_quality_is_the_one_it_was_written_with(quality: int) -> None:
    """Outside check: the encoder (IJG's, in Pillow) was told the quality."""
    assert read_origin(file_of(picture(), quality=quality), "a").jpeg_quality == pytest.approx(quality, abs=1)


def test_camera_file_without_anything_odd() -> None:
    data = file_of(picture(), tags={0x010F: "Trial"}, taken="2024:05:01 10:00:00", quality=92)
    assert read_origin(data, "a.jpg").hints == ()


def test_shrunk_without_metadata() -> None:
    hints = read_origin(file_of(picture(1600, 1200), quality=60), "a.jpg").hints
    assert "No camera data" in hints[0]
    assert "1600 px" in hints[1]
    assert "quality about 60 of 100" in hints[2]


def test_program_and_later_change() -> None:
    tags = {0x0131: "Trial paint 3", 0x0132: "2024:06:01 09:00:00", 0x010F: "Trial"}
    origin = read_origin(file_of(picture(), tags=tags, taken="2024:05:01 10:00:00", quality=95), "a")
    assert (origin.software, origin.changed_at) == ("Trial paint 3", "2024:06:01 09:00:00")
    assert "'Trial paint 3'" in origin.hints[0]
    assert origin.hints[1] == "Changed after it was taken: taken 2024:05:01 10:00:00, changed 2024:06:01 09:00:00."


def test_no_time() -> None:
    assert read_origin(file_of(picture(), tags={0x010F: "Trial"}, quality=95), "a").hints == (
        "The file does not say when it was taken.",
    )


def test_other_formats_have_no_jpeg_quality() -> None:
    assert read_origin(file_of(picture(), "PNG"), "a.png").jpeg_quality is None


def test_what_is_no_picture_is_refused() -> None:
    with pytest.raises(PhotoError, match="is not a picture"):
        read_origin(b"no picture at all", "a.jpg")
