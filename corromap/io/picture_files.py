"""Large pictures written tile by tile, with their scale in the metadata."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import tifffile
from PIL import Image

from corromap.errors import OutputError
from corromap.io.photos import RgbArray

__all__ = ["PictureScale", "write_picture"]

MM_PER_INCH, MM_PER_CM = 25.4, 10.0
JPEG_LONGEST = 65_500
JPEG_QUALITY = 88


@dataclass(frozen=True, slots=True)
class PictureScale:
    """Size and scale of a picture.

    Parameters
    ----------
    width_px, height_px, tile_px : int
        Of the picture, and of a tile.
    mm_per_px : float
        Printed at its stated resolution the picture has the size of the car.
    """

    width_px: int
    height_px: int
    tile_px: int
    mm_per_px: float


def write_picture(tiles: Iterable[RgbArray], scale: PictureScale, target: Path, *, title: str) -> None:
    """Write a picture as TIFF (tiled) or JPEG, all of it or nothing.

    Parameters
    ----------
    tiles : iterable of ndarray of uint8, shape (h, w, 3)
        Row by row; those at the right and lower edge may be smaller.
    scale : PictureScale
        Size and scale.
    target : Path
        The suffix decides: ``.tif``, ``.tiff``, ``.jpg``, ``.jpeg``.
    title : str
        Kept in the metadata.

    Raises
    ------
    OutputError
        If the suffix is another one, the picture is too large for a JPEG, or it
        cannot be written; what stood there before is untouched.
    """
    kind = target.suffix.lower()
    if kind not in {".tif", ".tiff", ".jpg", ".jpeg"}:
        raise OutputError(f"picture '{target.name}': give it a name that ends in .tif or .jpg")
    if kind.startswith(".j") and max(scale.width_px, scale.height_px) > JPEG_LONGEST:
        raise OutputError(f"picture '{target.name}' is too large for a JPEG: write a TIFF, or a coarser scale")
    unfinished: Path | None = None
    try:
        with tempfile.NamedTemporaryFile(dir=target.parent, prefix=f".{target.name[:40]}.", delete=False) as file:
            unfinished = Path(file.name)
        (_write_tiff if kind.startswith(".t") else _write_jpeg)(tiles, scale, unfinished, title)
        with unfinished.open("rb+") as file:
            os.fsync(file.fileno())
        unfinished.chmod(0o644)
        unfinished.replace(target)
    except OSError as error:
        raise OutputError(
            f"picture '{target.name}' could not be written: {error.strerror or error}; "
            "an older one there is untouched; choose another folder or free some space"
        ) from error
    finally:
        if unfinished is not None:
            unfinished.unlink(missing_ok=True)


def _write_tiff(tiles: Iterable[RgbArray], scale: PictureScale, path: Path, title: str) -> None:
    per_cm = MM_PER_CM / scale.mm_per_px
    tifffile.imwrite(
        path,
        _padded(tiles, scale.tile_px),
        shape=(scale.height_px, scale.width_px, 3),
        dtype=np.uint8,
        photometric="rgb",
        tile=(scale.tile_px, scale.tile_px),
        compression="zlib",
        predictor=True,
        resolution=(per_cm, per_cm),
        resolutionunit="CENTIMETER",
        description=_plain(title),
        software="corromap",
        metadata=None,
    )


def _padded(tiles: Iterable[RgbArray], side: int) -> Iterator[RgbArray]:
    for tile in tiles:
        full = np.zeros((side, side, 3), dtype=np.uint8)
        full[: tile.shape[0], : tile.shape[1]] = tile
        yield full


def _plain(text: str) -> str:
    """Drop what is not ASCII: TIFF 6.0 stores no other text (section 2, type 2)."""
    return text.encode("ascii", "replace").decode("ascii")


def _write_jpeg(tiles: Iterable[RgbArray], scale: PictureScale, path: Path, title: str) -> None:
    whole = np.zeros((scale.height_px, scale.width_px, 3), dtype=np.uint8)
    columns = -(-scale.width_px // scale.tile_px)
    for index, tile in enumerate(tiles):
        y, x = (part * scale.tile_px for part in divmod(index, columns))
        whole[y : y + tile.shape[0], x : x + tile.shape[1]] = tile
    dpi = MM_PER_INCH / scale.mm_per_px
    # JFIF keeps whole numbers; EXIF keeps the scale exactly
    exif = Image.Exif()
    exif[0x011A] = exif[0x011B] = MM_PER_CM / scale.mm_per_px
    exif[0x0128] = 3
    exif[0x010E], exif[0x0131] = _plain(title), "corromap"
    Image.fromarray(whole).save(path, "JPEG", quality=JPEG_QUALITY, subsampling=0, dpi=(dpi, dpi), exif=exif)
