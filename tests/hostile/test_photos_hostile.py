"""Every kind of picture file that a person may hand over, good and bad."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np
import pytest
import skimage.data
from PIL import Image, ImageOps

from corromap.errors import PhotoError
from corromap.io.photo_tiles import TILE_PX, TileSource
from corromap.io.photos import MAX_PIXELS, check_photo, decode, read_header, thumbnail


def _saved(image: Image.Image, kind: str, **options: object) -> bytes:
    target = io.BytesIO()
    image.save(target, kind, **options)
    return target.getvalue()


@pytest.fixture(scope="module")
def cat() -> Image.Image:
    """A real photograph: scikit-image's own sample 'chelsea' (CC0), 451 x 300."""
    return Image.fromarray(skimage.data.chelsea())


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF", "BMP", "HEIF"])
def test_each_format_gives_the_same_picture(cat: Image.Image, kind: str) -> None:
    data = _saved(cat, kind)
    header = check_photo(data, f"cat.{kind.lower()}")
    assert (header.format, header.width_px, header.height_px) == (kind, 451, 300)
    difference = np.abs(decode(data, "cat").astype(int) - np.asarray(cat).astype(int))
    assert difference.mean() < 4.0  # lossy formats differ a little, lossless not at all
    if kind in {"PNG", "TIFF", "BMP"}:
        assert difference.max() == 0


@pytest.mark.parametrize("orientation", range(1, 9))
def test_exif_orientation_agrees_with_pillow(cat: Image.Image, orientation: int) -> None:
    exif = cat.getexif()
    exif[0x0112] = orientation
    data = _saved(cat, "JPEG", exif=exif, quality=95)
    reference = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(data))))
    header = read_header(data, "cat")
    assert header.orientation == orientation
    assert (header.height_px, header.width_px) == reference.shape[:2]
    assert np.array_equal(decode(data, "cat"), reference)
    assert decode(data, "cat", reduce=4).shape[:2] == tuple(-(-side // 4) for side in reference.shape[:2])


def test_reduced_picture_is_aligned_by_centres() -> None:
    ramp = np.tile(np.arange(256, dtype=np.uint8), (256, 1))
    data = _saved(Image.fromarray(np.stack([ramp] * 3, axis=-1)), "PNG")
    small = decode(data, "ramp", reduce=8)[0, :, 0].astype(float)
    expected = 8 * np.arange(32) + 3.5  # full x = 8 x + (8 - 1) / 2
    assert np.abs(small - expected).max() <= 1.0


def test_no_exif_and_foreign_exif(cat: Image.Image) -> None:
    header = read_header(_saved(cat, "JPEG"), "cat")
    assert (header.taken_at, header.camera, header.focal_px) == (None, None, None)
    exif = cat.getexif()
    exif[0x0112] = 77
    assert read_header(_saved(cat, "JPEG", exif=exif), "cat").orientation == 1


def test_exif_facts(cat: Image.Image) -> None:
    """26 mm equivalent over the 43.27 mm diagonal (facts sheet, section 5)."""
    exif = cat.getexif()
    exif[0x010F], exif[0x0110] = "Invented", "Pocket 26"
    details = exif.get_ifd(0x8769)
    details[0xA405], details[0x9003], details[0x9011] = 26, "2026:03:01 14:05:09", "+01:00"
    header = read_header(_saved(cat, "JPEG", exif=exif), "cat")
    assert header.focal_px == pytest.approx(26 / 43.2666 * np.hypot(451, 300))
    assert header.taken_at == "2026-03-01T14:05:09+01:00"
    assert header.camera is not None
    assert header.camera.startswith("Invented Pocket 26")


@pytest.mark.parametrize(
    ("values", "mode"),
    [
        pytest.param(np.linspace(0, 65535, 64 * 64).reshape(64, 64).astype(np.uint16), "grey", id="16-bit grey"),
    ],
)
def test_sixteen_bit_keeps_its_range(values: np.ndarray, mode: str) -> None:
    pixels = decode(_saved(Image.fromarray(values), "PNG"), "deep")
    assert pixels.shape == (64, 64, 3)
    assert np.abs(pixels[..., 0].astype(float) - values / 257.0).max() <= 0.51


def test_cmyk_keeps_the_colour(cat: Image.Image) -> None:
    pixels = decode(_saved(cat.convert("CMYK"), "JPEG", quality=95), "print")
    assert np.abs(pixels.astype(int) - np.asarray(cat).astype(int)).mean() < 6


def test_two_picture_phone_file_is_taken(cat: Image.Image) -> None:
    data = _saved(cat, "MPO", save_all=True, append_images=[cat.rotate(180)])
    assert check_photo(data, "phone.jpg").format == "JPEG"
    assert decode(data, "phone.jpg").shape == (300, 451, 3)


@pytest.mark.parametrize("kind", ["GIF", "PNG", "WEBP", "TIFF"])
def test_animation_is_refused(cat: Image.Image, kind: str) -> None:
    small = cat.convert("RGB").resize((40, 30))
    data = _saved(small, kind, save_all=True, append_images=[ImageOps.invert(small)])
    with pytest.raises(PhotoError, match=r"holds 2 pictures .* save the one you want"):
        read_header(data, "moving")


@pytest.mark.parametrize("share", [0.02, 0.3, 0.7, 0.95])
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_truncated_is_refused(cat: Image.Image, kind: str, share: float) -> None:
    data = _saved(cat, kind)
    with pytest.raises(PhotoError, match=r"photo 'cut' (is damaged|is not a picture)"):
        check_photo(data[: int(len(data) * share)], "cut")


def test_empty_is_refused() -> None:
    with pytest.raises(PhotoError, match=r"'none\.jpg' is empty \(0 bytes\)"):
        read_header(b"", "none.jpg")


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(b"%PDF-1.7 and so on" * 100, id="document"),
        pytest.param(b"<svg xmlns='http://www.w3.org/2000/svg'/>", id="drawing"),
        pytest.param(b"\x00" * 5000, id="zeros"),
        pytest.param(b"MZ" + b"\x90" * 4000, id="program"),
    ],
)
def test_renamed_file_is_refused_by_content(data: bytes) -> None:
    with pytest.raises(PhotoError, match="not a picture corromap can read, whatever its name says"):
        read_header(data, "holiday.jpg")


def test_picture_with_a_wrong_name_is_taken(cat: Image.Image) -> None:
    assert read_header(_saved(cat, "PNG"), "cat.jpg").format == "PNG"


def _huge_png(width: int, height: int) -> bytes:
    def chunk(tag: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + tag + body + struct.pack(">I", zlib.crc32(tag + body))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\0")) + chunk(b"IEND", b"")


@pytest.mark.parametrize("side", [(20_000, 20_000), (60_000, 60_000)])
def test_four_hundred_megapixels_are_refused_before_decoding(side: tuple[int, int]) -> None:
    assert side[0] * side[1] > MAX_PIXELS
    with pytest.raises(PhotoError, match=r"too many pixels .* at most 250 MP"):
        read_header(_huge_png(*side), "huge.png")


def test_thumbnail_has_no_metadata(cat: Image.Image) -> None:
    exif = cat.getexif()
    exif[0x010F] = "Invented"
    exif.get_ifd(0x8825)[1] = "N"
    small = Image.open(io.BytesIO(thumbnail(_saved(cat, "JPEG", exif=exif), "cat", 100)))
    assert max(small.size) == 100
    assert not dict(small.getexif())


def test_tiles_cover_the_picture_once(cat: Image.Image) -> None:
    big = cat.resize((1500, 1100))
    source = TileSource(_saved(big, "PNG"), "cat")
    assert source.top_level == 2
    assert source.level_size(0) == (375, 275)
    whole = np.zeros((1100, 1500, 3), dtype=np.uint8)
    for row in range(3):
        for column in range(3):
            tile = np.asarray(Image.open(io.BytesIO(source.tile(2, column, row, quality=95))))
            whole[row * TILE_PX : row * TILE_PX + tile.shape[0], column * TILE_PX :][:, : tile.shape[1]] = tile
    assert np.abs(whole.astype(int) - np.asarray(big).astype(int)).mean() < 3
    with pytest.raises(ValueError, match="no tile 3, 0 on level 2"):
        source.tile(2, 3, 0)
