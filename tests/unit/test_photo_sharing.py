"""Photos to give away: no word of where and by whom; faces and plates gone; the picture itself untouched.

The files are made by Pillow with every kind of metadata it can write, and read
back by Pillow and by tifffile's own TIFF/EXIF parser.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from corromap.errors import PhotoError
from corromap.exports.shared_survey import write_shared_file, write_shared_folder
from corromap.frames import MarkId, PhotoId, PhotoOutline
from corromap.io.foreign import open_foreign
from corromap.io.interchange import read_folder
from corromap.io.photo_sharing import SharedPhotos, blurred, without_metadata
from corromap.io.photos import decode, read_header
from corromap.survey import Mark, MarkKind, Photo, Survey
from tests.store_scene import full_file

SECRETS = (b"SERIAL-4711", b"Somebody Quillfeather", b"a comment", b"http://ns.adobe.com", b"Ducky", b"GPS-AREA")
GPS_IFD, EXIF_IFD = 0x8825, 0x8769


def scene(width: int = 160, height: int = 120) -> Image.Image:
    rng = np.random.default_rng(4)
    smooth = np.linspace(0, 200, width)[None, :, None] + rng.integers(0, 40, (height, width, 3))
    return Image.fromarray(smooth.astype(np.uint8))


def exif(orientation: int) -> Image.Exif:
    tags = Image.Exif()
    tags[0x0112] = orientation
    tags[0x013B] = SECRETS[1].decode()
    details = tags.get_ifd(EXIF_IFD)
    details[0xA431] = SECRETS[0].decode()  # BodySerialNumber
    details[0x9003] = "2024:05:02 10:11:12"
    place = tags.get_ifd(GPS_IFD)
    place[0x001C] = SECRETS[5]
    place[2] = (51.0, 30.0, 12.5)
    return tags


def jpeg(orientation: int = 1, *, progressive: bool = False) -> bytes:
    stream = io.BytesIO()
    xmp = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>" + SECRETS[1] + b"</x:xmpmeta>"
    scene().save(
        stream, "JPEG", quality=90, exif=exif(orientation), comment=SECRETS[2], xmp=xmp, progressive=progressive,
        icc_profile=b"\0" * 128, extra=_segment(0xEC, SECRETS[4]),
    )  # fmt: skip
    return stream.getvalue() + b"\xff\xd8" + SECRETS[0] + b"\xff\xd9"  # a second picture behind the end


def _segment(marker: int, body: bytes) -> bytes:
    return struct.pack(">BBH", 0xFF, marker, len(body) + 2) + body


def png(orientation: int = 1) -> bytes:
    stream, info = io.BytesIO(), PngInfo()
    info.add_text("Author", SECRETS[1].decode())
    info.add_itxt("XML:com.adobe.xmp", "http://ns.adobe.com")
    scene().save(stream, "PNG", exif=exif(orientation), pnginfo=info)
    return stream.getvalue()


def webp(orientation: int = 1) -> bytes:
    stream = io.BytesIO()
    scene().save(stream, "WEBP", lossless=True, exif=exif(orientation))
    return stream.getvalue()


def tags_of(data: bytes) -> dict[int, object]:
    with Image.open(io.BytesIO(data)) as image:
        found = image.getexif()
        return dict(found) | dict(found.get_ifd(EXIF_IFD)) | dict(found.get_ifd(GPS_IFD))


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("make", [jpeg, png], ids=["jpeg", "png"])
def test_only_the_way_up_is_left_and_no_pixel_changes(make: Callable[..., bytes], orientation: int) -> None:
    data = make(orientation)
    assert any(secret in data for secret in SECRETS)
    shared = without_metadata(data, "a")
    assert not any(secret in shared for secret in SECRETS)
    assert tags_of(shared) == ({} if orientation == 1 else {0x0112: orientation})
    assert np.array_equal(decode(shared, "a"), decode(data, "a"))
    before, after = read_header(data, "a"), read_header(shared, "a")
    assert (after.width_px, after.height_px) == (before.width_px, before.height_px)


def test_a_progressive_jpeg_keeps_all_its_scans() -> None:
    data = jpeg(progressive=True)
    shared = without_metadata(data, "a")
    assert np.array_equal(decode(shared, "a"), decode(data, "a"))
    assert not any(secret in shared for secret in SECRETS)


def test_another_format_becomes_a_jpeg_the_right_way_up() -> None:
    data = webp(6)
    shared = without_metadata(data, "a.webp")
    assert read_header(shared, "a").format == "JPEG"
    assert tags_of(shared) == {}
    difference = decode(shared, "a").astype(int) - decode(data, "a").astype(int)
    assert decode(shared, "a").shape == decode(data, "a").shape
    assert np.abs(difference).mean() < 12


def test_a_colour_profile_stays_because_it_says_how_pixels_look() -> None:
    stream = io.BytesIO()
    from PIL import ImageCms  # noqa: PLC0415

    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    scene().save(stream, "JPEG", icc_profile=profile)
    with Image.open(io.BytesIO(without_metadata(stream.getvalue(), "a"))) as image:
        assert image.info["icc_profile"] == profile


def test_damage_is_told() -> None:
    with pytest.raises(PhotoError, match="photo 'a'"):
        without_metadata(jpeg()[:40] + b"\0" * 50, "a")


# Blurring


def test_inside_a_blur_mark_only_sixteen_colours_of_it_are_left_and_outside_nothing_changes() -> None:
    stripes = np.zeros((200, 300, 3), dtype=np.uint8)
    stripes[:, ::4] = 255  # a plate's strokes
    outline = PhotoOutline([[60, 50], [180, 50], [180, 130], [60, 130]])
    after = blurred(stripes, [outline])
    inside = after[52:129, 62:179]
    assert np.ptp(inside.astype(int)) < 40  # nothing of 0 and 255 is left
    outside = np.ones((200, 300), dtype=bool)
    outside[50:131, 60:181] = False
    assert np.array_equal(after[outside], stripes[outside])
    assert np.array_equal(stripes[:, 0], np.full((200, 3), 255))  # the original is not written to


def test_a_blur_mark_may_reach_over_the_edge() -> None:
    outline = PhotoOutline([[-50, -50], [40, -50], [40, 30], [-50, 30]])
    assert blurred(np.full((20, 30, 3), 7, dtype=np.uint8), [outline]).shape == (20, 30, 3)


def test_shared_photos_blur_what_is_marked_and_leave_the_rest_as_it_is() -> None:
    data = jpeg()
    header = read_header(data, "a.jpg")
    photos = tuple(Photo(PhotoId(name), f"{name}.jpg", header.sha256, 160, 120) for name in ("a", "b"))
    plate = Mark(MarkId("m"), PhotoId("a"), MarkKind.BLUR, PhotoOutline([[20, 20], [80, 20], [80, 60], [20, 60]]))
    shared = SharedPhotos(Survey("s", photos=photos, marks=(plate,)), lambda _: data)
    assert shared.to_show(PhotoId("b")) == data
    assert shared.to_give(PhotoId("b")) == without_metadata(data, "b")
    for made in (shared.to_show(PhotoId("a")), shared.to_give(PhotoId("a"))):
        assert not any(secret in made for secret in SECRETS)
        difference = np.abs(decode(made, "a").astype(int) - decode(data, "a").astype(int))
        assert difference[24:56, 24:76].mean() > 3 * difference[70:].mean()


# Whole surveys


def test_a_shared_folder_and_file_hold_the_same_survey_without_its_log(tmp_path: Path) -> None:
    file = full_file(tmp_path)
    first = file.load().survey.photos[0]
    file.put_mark(Mark(MarkId("plate"), first.id, MarkKind.BLUR, PhotoOutline([[2, 2], [20, 2], [20, 20], [2, 20]])))
    survey = file.load().survey
    given = write_shared_file(file.path, tmp_path / "given", "me")
    bundle = read_folder(write_shared_folder(file.path, tmp_path / "folder"))
    for other in (open_foreign(given, tmp_path / "mine").load().survey, bundle.record.survey):
        assert [mark.id for mark in other.marks] == [mark.id for mark in survey.marks]
        assert [s.datum for s in other.sightings] == [s.datum for s in survey.sightings]
        assert [(p.id, p.width_px, p.focal_px) for p in other.photos] == [
            (p.id, p.width_px, p.focal_px) for p in survey.photos
        ]
        assert all(one.sha256 != old.sha256 for one, old in zip(other.photos[:1], survey.photos[:1], strict=True))
    assert bundle.log == ()
    assert bundle.removed == ()
    assert file.load().survey.photos[0].sha256 == first.sha256  # the survey itself keeps its originals
