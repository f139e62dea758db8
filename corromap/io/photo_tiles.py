"""Pictures cut into tiles, so that a first look at a large photo moves little data."""

from __future__ import annotations

import math
import threading

from corromap.errors import InvalidValueError
from corromap.io.photos import RgbArray, decode, encode_jpeg, read_header

__all__ = ["TILE_PX", "TileSource"]

TILE_PX = 512


class TileSource:
    """A picture cut into tiles, level by level, decoded only as far as asked.

    Level 0 is the one at which the whole picture fits into one tile; each
    further level doubles; level `top_level` is the full picture.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name, for messages only.

    Raises
    ------
    PhotoError
        If the header is not acceptable.
    """

    def __init__(self, data: bytes, name: str) -> None:
        self._data, self._name = data, name
        header = read_header(data, name)
        self.width_px, self.height_px = header.width_px, header.height_px
        longest = max(self.width_px, self.height_px)
        self.top_level = max(0, math.ceil(math.log2(longest / TILE_PX)))
        self._levels: dict[int, RgbArray] = {}
        self._lock = threading.Lock()

    def level_size(self, level: int) -> tuple[int, int]:
        """Width and height of one level.

        Parameters
        ----------
        level : int
            0 to `top_level`.

        Returns
        -------
        tuple of int
            Width and height in px.
        """
        scale = 2 ** (self.top_level - level)
        return -(-self.width_px // scale), -(-self.height_px // scale)

    def tile(self, level: int, column: int, row: int, *, quality: int = 82) -> bytes:
        """Encode one tile.

        Parameters
        ----------
        level : int
            0 to `top_level`.
        column, row : int
            Counted from the top left.
        quality : int
            JPEG quality.

        Returns
        -------
        bytes
            JPEG of at most `TILE_PX` squared.

        Raises
        ------
        InvalidValueError
            If there is no such tile.
        PhotoError
            If the picture cannot be decoded.
        """
        if not 0 <= level <= self.top_level:
            raise InvalidValueError(f"photo '{self._name}': no tile level {level}")
        width, height = self.level_size(level)
        left, top = column * TILE_PX, row * TILE_PX
        if not (0 <= left < width and 0 <= top < height):
            raise InvalidValueError(f"photo '{self._name}': no tile {column}, {row} on level {level}")
        pixels = self._level(level)
        return encode_jpeg(pixels[top : top + TILE_PX, left : left + TILE_PX], quality)

    @property
    def held_bytes(self) -> int:
        """Memory held by the decoded levels."""
        return sum(level.nbytes for level in self._levels.values()) + len(self._data)

    def _level(self, level: int) -> RgbArray:
        with self._lock:
            if level not in self._levels:
                self._levels[level] = decode(self._data, self._name, reduce=2 ** (self.top_level - level))
            return self._levels[level]
