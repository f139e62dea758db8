"""What a survey is computed and printed with."""

from __future__ import annotations

from dataclasses import dataclass

from corromap.errors import InvalidValueError

__all__ = ["LENGTH_UNITS", "PAPERS", "Settings"]

PAPERS = ("A4", "Letter")
LENGTH_UNITS = ("mm", "in")

_SIZES = {
    "click_sigma_px": 100.0,
    "outline_sigma_px": 100.0,
    "coarsest_mm_per_px": 100.0,
    "smallest_hole_mm": 1000.0,
    "pixels_across": 100.0,
    "picture_mm_per_px": 100.0,
    "patch_gap_mm": 500.0,
}
"""Largest value of each size; none may be 0 or less."""


@dataclass(frozen=True, slots=True)
class Settings:
    """Error sizes the intervals stand on, limits, and how things are printed.

    Parameters
    ----------
    click_sigma_px : float
        Standard error of one clicked datum point, px of the full photo.
    outline_sigma_px : float
        Standard error, across the edge, of where a person draws the outline
        of one mark; the whole outline moves in or out together.
    coarsest_mm_per_px : float
        Coarser than this, a place does not count as seen. Default: a 5 mm
        hole spans two pixels (the sampling limit).
    smallest_hole_mm : float
        The smallest thing that must have been visible for a place to count as
        seen well enough. Default 5 mm: a hole a finger feels, common practice.
    picture_mm_per_px : float
        Scale of the whole picture.
    patch_gap_mm : float
        Patches nearer than this are counted as one. Default 2 mm: about the
        width of a weld's edge, common practice.
    paper : str
        ``A4`` or ``Letter``.
    length_unit : str
        ``mm`` or ``in``, as printed; everything is kept in mm.
    language : str
        Of what is handed out, ISO 639-1.
    currency : str
        Of the repair plan, ISO 4217.
    pixels_across : float
        Pixels that must span the smallest hole. Default 2, one line pair: the
        limit of detection of Johnson (1958), from memory.

    Raises
    ------
    InvalidValueError
        Naming the setting and what was expected.
    """

    click_sigma_px: float = 2.0
    outline_sigma_px: float = 3.0
    coarsest_mm_per_px: float = 2.5
    smallest_hole_mm: float = 5.0
    picture_mm_per_px: float = 1.0
    patch_gap_mm: float = 2.0
    paper: str = "A4"
    length_unit: str = "mm"
    language: str = "en"
    currency: str = "EUR"
    pixels_across: float = 2.0

    def __post_init__(self) -> None:
        for name, most in _SIZES.items():
            value = getattr(self, name)
            if not (0 < value <= most):
                raise InvalidValueError(f"setting {name}: expected more than 0 and at most {most:g}, found {value}")
        for name, choices in (("paper", PAPERS), ("length_unit", LENGTH_UNITS)):
            if getattr(self, name) not in choices:
                raise InvalidValueError(
                    f"setting {name}: expected one of {', '.join(choices)}, found '{getattr(self, name):.40}'"
                )
        if not (len(self.language) == 2 and self.language.isascii() and self.language.islower()):
            raise InvalidValueError(f"setting language: expected two small letters, found '{self.language:.40}'")
        if not (len(self.currency) == 3 and self.currency.isascii() and self.currency.isupper()):
            raise InvalidValueError(f"setting currency: expected three capital letters, found '{self.currency:.40}'")
