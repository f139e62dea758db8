"""Degrees of rusting of painted steel from the share of a surface that is rusted.

ASTM D610-08 (2012), Table 1, grades 10 to 0 by ranges of per cent rusted.
ISO 4628-3, degrees Ri 0 to Ri 5: its pictures stand for single values of per
cent, not for ranges, so only the nearest picture can be named (values read in
a secondary source). Both grade a painted surface by what shows. Neither says
how much metal is left, and neither is a measure of strength.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["ASTM_D610", "ISO_4628_3", "RUSTING_NOTE", "RustDegree", "astm_grade", "nearest_picture", "rust_degree"]

ASTM_D610: tuple[tuple[int, float], ...] = (
    (10, 0.01),
    (9, 0.03),
    (8, 0.1),
    (7, 0.3),
    (6, 1.0),
    (5, 3.0),
    (4, 10.0),
    (3, 16.0),
    (2, 33.0),
    (1, 50.0),
    (0, 100.0),
)
"""Grade and the largest per cent rusted that it stands for; each begins above the one before."""

ISO_4628_3: tuple[tuple[str, float], ...] = (
    ("Ri 0", 0.0),
    ("Ri 1", 0.05),
    ("Ri 2", 0.5),
    ("Ri 3", 1.0),
    ("Ri 4", 8.0),
    ("Ri 5", 45.0),
)
"""Picture and the per cent rusted it shows; the standard gives 40 to 50 for Ri 5, its middle is used."""

RUSTING_NOTE = (
    "Degrees of rusting grade a painted surface by what shows (ASTM D610-08 (2012), Table 1, by its ranges; "
    "ISO 4628-3 by the nearest of its pictures, which stand for single values). They say nothing about strength."
)


@dataclass(frozen=True, slots=True)
class RustDegree:
    """What the share of a surface that is rusted comes to on two scales.

    Parameters
    ----------
    percent, low_percent, high_percent : float
        Per cent rusted with its 95 % interval; always given first.
    grade, low_grade, high_grade : int
        ASTM D610 grade of each, 10 is best; `low_grade` belongs to the larger share.
    picture : str
        Nearest ISO 4628-3 picture.
    """

    percent: float
    low_percent: float
    high_percent: float
    grade: int
    low_grade: int
    high_grade: int
    picture: str


def astm_grade(percent: float) -> int:
    """Grade a surface by ASTM D610, Table 1.

    Parameters
    ----------
    percent : float
        Per cent of the surface that is rusted, 0 to 100.

    Returns
    -------
    int
        10 (up to 0.01 %) to 0 (more than 50 %); a limit belongs to the better grade.
    """
    return next((grade for grade, most in ASTM_D610 if percent <= most), 0)


def nearest_picture(percent: float) -> str:
    """Name the ISO 4628-3 picture whose share is nearest by ratio.

    Parameters
    ----------
    percent : float
        Per cent of the surface that is rusted, 0 to 100.

    Returns
    -------
    str
        ``Ri 0`` for no rust at all. Pictures are compared by ratio, since
        their values rise by factors; below 0.05 % the nearest is ``Ri 1``.
    """
    if percent <= 0:
        return ISO_4628_3[0][0]
    return min(ISO_4628_3[1:], key=lambda picture: max(percent / picture[1], picture[1] / percent))[0]


def rust_degree(share: float, low_share: float, high_share: float) -> RustDegree:
    """Grade a rusted share with its interval.

    Parameters
    ----------
    share, low_share, high_share : float
        Of a zone or group, 0 to 1.

    Returns
    -------
    RustDegree
        Per cent first, then both scales.
    """
    percent, low, high = (100.0 * value for value in (share, low_share, high_share))
    return RustDegree(
        percent, low, high, astm_grade(percent), astm_grade(high), astm_grade(low), nearest_picture(percent)
    )
