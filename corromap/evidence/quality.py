"""How well a photo can be judged, place by place: sharpness, darkness, glare.

Underside photos are bright in the torch's circle and black outside it, so all
figures are maps over cells of the photo; the words for the person come last.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from corromap.errors import InvalidValueError
from corromap.evidence.words import place_words
from corromap.frames import FloatArray

__all__ = [
    "PhotoQuality",
    "QualityMap",
    "RgbArray",
    "blur_of_edges",
    "judge_photo",
    "luma",
    "noise_sigma",
    "with_words",
]

RgbArray = NDArray[np.uint8]

WORKING_PX = 1600
"""Longest side a photo is judged at. A blur that does not show there does not
hide a hole that spans the two pixels asked for at full size and the four asked
for here. Ours."""
CELLS = 24
"""Cells along the longer side. Ours: a torch's circle spans several of them."""
DARK_LUMA, BLOWN_LUMA = 20.0, 250.0
"""Below and above, nothing can be told apart: of 255, sRGB-coded. Ours; the
tests fix what these mean on photographs darkened and brightened by known stops."""
CELL_SHARE = 0.5
"""A cell is dark or blown when at least this share of its pixels is."""
BLURRED_PX = 2.2
"""A cell is blurred when its edges are at least this wide (sigma) at the working
size: twice what sharp photographs show there. Ours, from scikit-image's."""
REBLUR_PX = 1.0
SHARP_PX = 0.75
"""Edges of sharp photographs are narrower than this (sigma) however often the
picture is halved. Ours, from scikit-image's, which reach 0.63."""
LEAST_CELL_PX = 8
"""A picture is not halved further than this leaves of a cell."""
LEAST_GRADIENT = 0.35
"""Grey levels per pixel (root mean square, noise taken out) needed to tell blur."""
NOISE_SHARE = 1.0
"""Part of the noise's own gradient energy that the edges must reach at least. Ours."""
_REC709 = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class QualityMap:
    """What can be judged in each cell of one photo.

    Parameters
    ----------
    width_px, height_px : int
        Of the full upright photo.
    blur_px : ndarray of float64, shape (R, C)
        Width (sigma) of the edges, pixels of the full photo; NaN where there
        is nothing to judge it by, near and far.
    dark_share, blown_share : ndarray of float64, shape (R, C)
        Shares of the cell's pixels too dark or too bright to tell apart.
    blurred : ndarray of bool, shape (R, C)
        Too blurred to judge, or nothing to judge sharpness by.
    """

    width_px: int
    height_px: int
    blur_px: FloatArray
    dark_share: FloatArray
    blown_share: FloatArray
    blurred: NDArray[np.bool_]

    @property
    def dark(self) -> NDArray[np.bool_]:
        """Cells too dark to judge, shape (R, C)."""
        return np.asarray(self.dark_share >= CELL_SHARE)

    @property
    def blown(self) -> NDArray[np.bool_]:
        """Cells too bright to judge, shape (R, C)."""
        return np.asarray(self.blown_share >= CELL_SHARE)

    @property
    def usable(self) -> NDArray[np.bool_]:
        """Cells neither dark, blown nor blurred, shape (R, C)."""
        return np.asarray(~(self.dark | self.blown | self.blurred))

    def usable_at(self, xy_px: FloatArray) -> NDArray[np.bool_]:
        """Whether pixels of the photo lie in usable cells.

        Parameters
        ----------
        xy_px : ndarray of float64, shape (N, 2)
            Pixels of the full photo.

        Returns
        -------
        ndarray of bool, shape (N,)
            False outside the photo and for NaN.
        """
        row, column, inside = self._cells(xy_px)
        return np.asarray(inside & self.usable[row, column])

    def blur_at(self, xy_px: FloatArray) -> FloatArray:
        """Width of the edges at pixels of the photo.

        Parameters
        ----------
        xy_px : ndarray of float64, shape (N, 2)
            Pixels of the full photo.

        Returns
        -------
        ndarray of float64, shape (N,)
            Sigma in pixels; NaN outside the photo or where it cannot be told.
        """
        row, column, inside = self._cells(xy_px)
        return np.where(inside, self.blur_px[row, column], np.nan)

    def _cells(self, xy_px: FloatArray) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.bool_]]:
        size = np.array([self.width_px, self.height_px], dtype=np.float64)
        part = (np.asarray(xy_px, dtype=np.float64) + 0.5) / size
        inside = np.asarray(
            (np.nan_to_num(part, nan=-1.0) >= 0).all(axis=1) & (np.nan_to_num(part, nan=2.0) < 1).all(axis=1)
        )
        rows, columns = self.blur_px.shape
        cell = np.floor(np.where(inside[:, None], part, 0.0) * (columns, rows)).astype(np.intp)
        return cell[:, 1], cell[:, 0], inside


@dataclass(frozen=True, slots=True, eq=False)
class PhotoQuality:
    """One photo judged.

    Parameters
    ----------
    map : QualityMap
        Place by place.
    blur_px : float
        Median width of the edges (sigma), full pixels; NaN for a photo without any.
    dark_share, blown_share : float
        Of all pixels.
    usable_share : float
        Of the cells.
    words : tuple of str
        Short sentences for the person; empty when nothing is wrong.
    """

    map: QualityMap
    blur_px: float
    dark_share: float
    blown_share: float
    usable_share: float
    words: tuple[str, ...]


def luma(rgb: RgbArray) -> NDArray[np.float32]:
    """Grey values of an RGB picture.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (H, W, 3)
        sRGB pixels.

    Returns
    -------
    ndarray of float32, shape (H, W)
        0 to 255; weights of Rec. ITU-R BT.709.
    """
    return np.asarray(rgb @ _REC709, dtype=np.float32)


def noise_sigma(grey: NDArray[np.float32]) -> float:
    """Estimate the noise of a picture.

    Parameters
    ----------
    grey : ndarray of float32, shape (H, W)
        Grey values.

    Returns
    -------
    float
        Standard deviation, grey levels.

    Notes
    -----
    Immerkaer (1996), "Fast noise variance estimation", with the median instead
    of the mean, so that edges do not count as noise. Kernel norm: 6.
    """
    kernel = np.array([1.0, -2.0, 1.0], dtype=np.float32)
    high = cv2.sepFilter2D(grey, -1, kernel, kernel, borderType=cv2.BORDER_REFLECT)
    return float(np.median(np.abs(high)) / 0.6745 / 6.0)


def blur_of_edges(energy: FloatArray, reblurred: FloatArray) -> FloatArray:
    """Find the width of edges from how much a second blur takes from their gradients.

    A step edge blurred by a Gaussian of sigma s has gradient energy
    proportional to 1/s; blurred again by s0, to 1/sqrt(s^2 + s0^2). So with
    the ratio R of both energies s = s0 / sqrt(R^2 - 1), whatever the contrast.

    Parameters
    ----------
    energy, reblurred : ndarray of float64
        Gradient energies before and after a blur of `REBLUR_PX`.

    Returns
    -------
    ndarray of float64
        Sigma in pixels; NaN where there is no energy.

    Notes
    -----
    The re-blur idea is that of Zhuo and Sim (2011), "Defocus map estimation
    from a single image"; the sum over a cell instead of single edge pixels is ours.
    """
    ratio = np.divide(energy, reblurred, out=np.full_like(energy, np.nan), where=reblurred > 0)
    return np.asarray(REBLUR_PX / np.sqrt(np.maximum(ratio**2 - 1.0, 1e-3)))


def judge_photo(rgb: RgbArray, full_size: tuple[int, int] | None = None) -> PhotoQuality:
    """Judge one photo.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (H, W, 3)
        The upright photo, best at about `WORKING_PX` along the longer side; a
        reduced decode is enough.
    full_size : tuple of int, optional
        Width and height of the full photo, px; by default that of `rgb`.

    Returns
    -------
    PhotoQuality
        Figures and words.

    Raises
    ------
    InvalidValueError
        If the array is not an RGB picture of at least 32 x 32 px.
    """
    if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8 or min(rgb.shape[:2]) < 32:
        raise InvalidValueError(f"photo quality: expected (H, W, 3) bytes of at least 32 x 32, found {rgb.shape}")
    width, height = full_size or (rgb.shape[1], rgb.shape[0])
    working = _at_working_size(luma(rgb))
    scale = max(width, height) / max(working.shape)
    blur = _blur_cells(working)
    quality = QualityMap(
        width_px=width,
        height_px=height,
        blur_px=blur * scale,
        dark_share=_cell_means(working < DARK_LUMA),
        blown_share=_cell_means(working > BLOWN_LUMA),
        blurred=~(blur < BLURRED_PX),
    )
    return with_words(quality, float(np.mean(working < DARK_LUMA)), float(np.mean(working > BLOWN_LUMA)))


def with_words(cells: QualityMap, dark_share: float, blown_share: float) -> PhotoQuality:
    """Sum a map up in figures and words.

    Parameters
    ----------
    cells : QualityMap
        Place by place.
    dark_share, blown_share : float
        Of all pixels.

    Returns
    -------
    PhotoQuality
        The map with its figures.
    """
    known = cells.blur_px[np.isfinite(cells.blur_px)]
    return PhotoQuality(
        map=cells,
        blur_px=float(np.median(known)) if known.size else float("nan"),
        dark_share=dark_share,
        blown_share=blown_share,
        usable_share=float(cells.usable.mean()),
        words=_words(cells),
    )


def _at_working_size(grey: NDArray[np.float32]) -> NDArray[np.float32]:
    """Reduce by whole-pixel means; what is smaller stays as it is."""
    step = max(1, round(max(grey.shape) / WORKING_PX))
    if step == 1:
        return grey
    rows, columns = (side // step * step for side in grey.shape)
    blocks = grey[:rows, :columns].reshape(rows // step, step, columns // step, step)
    return np.asarray(blocks.mean(axis=(1, 3)), dtype=np.float32)


def _blur_cells(grey: NDArray[np.float32]) -> FloatArray:
    """Edge width of each cell at the working size, told on coarser pictures too.

    Noise that went through JPEG is no longer white, so it passes for sharpness
    at full size; halving the picture takes more from it than from edges. What
    a coarser picture calls wider than a sharp picture ever is there, holds.
    """
    size = max(grey.shape) / CELLS
    cells = max(1, round(grey.shape[0] / size)), max(1, round(grey.shape[1] / size))
    found, _ = _blur_at_level(grey, cells)
    is_wide = np.ones_like(found, dtype=bool)
    for level in (1, 2):
        grey = _halved(grey)
        if max(grey.shape) < LEAST_CELL_PX * CELLS:
            break
        _, coarse = _blur_at_level(grey, cells)
        is_wide &= np.nan_to_num(coarse) > SHARP_PX  # sharp ones stay below it at every level
        found = np.where(is_wide, np.fmax(found, coarse * 2**level), found)
    return found


def _halved(grey: NDArray[np.float32]) -> NDArray[np.float32]:
    rows, columns = (side // 2 * 2 for side in grey.shape)
    blocks = grey[:rows, :columns].reshape(rows // 2, 2, columns // 2, 2)
    return np.asarray(blocks.mean(axis=(1, 3)), dtype=np.float32)


def _blur_at_level(grey: NDArray[np.float32], cells: tuple[int, int]) -> tuple[FloatArray, FloatArray]:
    """Edge width of each cell in this picture's pixels, cells without edges borrowing; and of each neighbourhood."""
    noise = noise_sigma(grey)
    soft = np.asarray(cv2.GaussianBlur(grey, (0, 0), REBLUR_PX, borderType=cv2.BORDER_REFLECT), dtype=np.float32)
    energy, after = (_cell_means(_gradient_energy(picture), cells) for picture in (grey, soft))
    # white noise adds sigma^2 to central differences squared, and 1/(4 pi) of it after the blur
    energy, after = energy - noise**2, after - noise**2 / (4 * np.pi)
    is_known = after > LEAST_GRADIENT**2 + NOISE_SHARE * noise**2
    energy = np.maximum(energy, after)
    pooled, pooled_after = (ndimage.gaussian_filter(np.where(is_known, e, 0.0), 1.5) for e in (energy, after))
    far_off = ndimage.gaussian_filter(is_known.astype(np.float64), 1.5) < 0.02
    around = blur_of_edges(pooled, np.where(far_off, 0.0, pooled_after))
    return np.where(is_known, blur_of_edges(energy, after), around), around


def _gradient_energy(grey: NDArray[np.float32]) -> NDArray[np.float32]:
    """Squared central differences, both ways."""
    half, one = np.array([-0.5, 0.0, 0.5], dtype=np.float32), np.ones(1, dtype=np.float32)
    gx = cv2.sepFilter2D(grey, -1, half, one, borderType=cv2.BORDER_REPLICATE)
    gy = cv2.sepFilter2D(grey, -1, one, half, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(gx**2 + gy**2, dtype=np.float32)


def _cell_means(values: NDArray[np.bool_] | NDArray[np.float32], cells: tuple[int, int] | None = None) -> FloatArray:
    """Means over cells of nearly equal size, `CELLS` along the longer side."""
    height, width = values.shape
    size = max(height, width) / CELLS
    rows, columns = cells or (max(1, round(height / size)), max(1, round(width / size)))
    at_row = np.linspace(0, height, rows + 1).round().astype(int)
    at_column = np.linspace(0, width, columns + 1).round().astype(int)
    sums = np.add.reduceat(np.add.reduceat(values, at_row[:-1], axis=0, dtype=np.float64), at_column[:-1], axis=1)
    return np.asarray(sums / np.outer(np.diff(at_row), np.diff(at_column)))


def _words(quality: QualityMap) -> tuple[str, ...]:
    seen = ~(quality.dark | quality.blown)
    told = (
        place_words(quality.dark, "too dark to judge"),
        place_words(quality.blown, "too bright to judge"),
        # what is black or white has no edges: that it is not sharp is no news
        place_words(quality.blurred & seen, "too blurred to judge"),
    )
    return tuple(words for words in told if words)
