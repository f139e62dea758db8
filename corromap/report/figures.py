"""Numbers as printed: units, and no more digits than the interval carries."""

from __future__ import annotations

import math

from corromap.assessment import Unit
from corromap.measures import Figure
from corromap.report.language import current, number, tr

__all__ = [
    "area",
    "area_interval",
    "distance",
    "distance_or_zero",
    "fraction",
    "length",
    "limit_distance",
    "limit_value",
    "plain_area",
    "share",
    "share_interval",
    "zone_area",
]

MM2_PER_CM2 = 100.0
MM_PER_IN = 25.4
SMALLEST_MM2 = 1.0
SMALLEST_SHARE = 1e-4
"""Smaller figures are printed as "under", never as 0.00: something is marked there."""


def _area_unit() -> tuple[float, str]:
    """Square millimetres in the unit areas are printed in, and its sign."""
    return (MM_PER_IN**2, "in²") if current().unit == "in" else (MM2_PER_CM2, "cm²")


def _decimals(half_width: float, most: int) -> int:
    """Decimals that keep two significant digits of the uncertainty (GUM, JCGM 100:2008, 7.2.6)."""
    if half_width <= 0:
        return most
    return min(most, 1 - math.floor(math.log10(half_width)))


def _grouped(value: float, decimals: int) -> str:
    rounded = round(value, decimals) + 0.0
    return number(rounded, f",.{max(decimals, 0)}f")


def _precision(figure: Figure) -> int:
    return _decimals((figure.high_mm2 - figure.low_mm2) / 2 / _area_unit()[0], 2)


def area(figure: Figure) -> str:
    """Print the likely area in cm2, or in square inches.

    Parameters
    ----------
    figure : Figure
        Of some kind in some zone.

    Returns
    -------
    str
        For example ``12.3 cm²``; ``none`` where nothing is marked.
    """
    if figure.area_mm2 <= 0:
        return tr("none")
    size, unit = _area_unit()
    if figure.likely_mm2 < SMALLEST_MM2:
        return tr("under {least} {unit}", least=number(0.01 if unit == "cm²" else 0.002), unit=unit)
    return f"{_grouped(figure.likely_mm2 / size, _precision(figure))} {unit}"


def area_interval(figure: Figure) -> str:
    """Print the 95 % interval of an area.

    Parameters
    ----------
    figure : Figure
        As for `area`.

    Returns
    -------
    str
        For example ``10.6 to 14.0 cm²``; empty where nothing is marked.
    """
    if figure.area_mm2 <= 0:
        return ""
    decimals = _precision(figure)
    size, unit = _area_unit()
    low, high = (_grouped(mm2 / size, decimals) for mm2 in (figure.low_mm2, figure.high_mm2))
    return _range(low, high, unit)


def _range(low: str, high: str, unit: str) -> str:
    return tr("{low} to {high} {unit}", low=low, high=high, unit=unit)


def share(figure: Figure) -> str:
    """Print a figure's share of its zone.

    Parameters
    ----------
    figure : Figure
        As for `area`.

    Returns
    -------
    str
        For example ``1.2 %``; empty where nothing is marked.
    """
    if figure.area_mm2 <= 0:
        return ""
    if figure.likely_share < SMALLEST_SHARE:
        return tr("under {least} {unit}", least=number(0.01), unit="%")
    half = 50 * (figure.high_share - figure.low_share)
    return f"{_grouped(100 * figure.likely_share, max(_decimals(half, 2), 0))} %"


def share_interval(figure: Figure) -> str:
    """Print the 95 % interval of a share.

    Parameters
    ----------
    figure : Figure
        As for `area`.

    Returns
    -------
    str
        For example ``1.0 to 1.4 %``; empty where nothing is marked.
    """
    if figure.area_mm2 <= 0:
        return ""
    decimals = max(_decimals(50 * (figure.high_share - figure.low_share), 2), 0)
    return _range(_grouped(100 * figure.low_share, decimals), _grouped(100 * figure.high_share, decimals), "%")


def fraction(value: float) -> str:
    """Print a share of coverage; nothing is rounded up to all or down to none.

    Parameters
    ----------
    value : float
        0 to 1.

    Returns
    -------
    str
        ``0 %``, ``under 1 %``, ``64 %``, ``over 99 %`` or ``100 %``.
    """
    percent = 100 * value
    if percent < 1e-4 or percent > 100 - 1e-4:
        return f"{round(percent):d} %"
    if percent < 1:
        return tr("under 1 %")
    return tr("over 99 %") if percent > 99 else f"{percent:.0f} %"


def zone_area(area_mm2: float) -> str:
    """Print the area of a zone or group.

    Parameters
    ----------
    area_mm2 : float
        From the template.

    Returns
    -------
    str
        Whole cm2, or square inches.
    """
    size, unit = _area_unit()
    return f"{_grouped(area_mm2 / size, 0)} {unit}"


def plain_area(area_mm2: float) -> str:
    """Print an area without an interval.

    Parameters
    ----------
    area_mm2 : float
        Of one mark, say.

    Returns
    -------
    str
        With one decimal.
    """
    size, unit = _area_unit()
    return f"{_grouped(area_mm2 / size, 1)} {unit}"


def length(mm: float) -> str:
    """Print a length.

    Parameters
    ----------
    mm : float
        In millimetres.

    Returns
    -------
    str
        For example ``2.5 mm`` or ``0.2 in``.
    """
    if current().unit == "in":
        return f"{number(round(mm / MM_PER_IN, 1 if mm >= MM_PER_IN else 2))} in"
    return f"{number(round(mm, 1))} mm"


def distance(mm: float) -> str:
    """Print a distance along the body.

    Parameters
    ----------
    mm : float
        Not negative.

    Returns
    -------
    str
        Whole millimetres or tenths of an inch; ``on it`` below half a
        millimetre.
    """
    return tr("on it") if mm < 0.5 else length(mm if current().unit == "in" else round(mm))


def distance_or_zero(mm: float) -> str:
    """Print a length along the body that may be nothing.

    Parameters
    ----------
    mm : float
        Not negative.

    Returns
    -------
    str
        Whole millimetres or tenths of an inch; ``0 mm`` for nothing.
    """
    return length(mm if current().unit == "in" else round(mm))


UNIT_NAMES = {Unit.PIECES: "", Unit.PERCENT: " %", Unit.CM2: " cm²"}


def limit_value(value: float, unit: Unit) -> str:
    """Print a value that a rule reads, or its limit.

    Parameters
    ----------
    value : float
        In the rule's unit.
    unit : Unit
        That unit.

    Returns
    -------
    str
        For example ``3``, ``12.5 %`` or ``0.1 cm²``.
    """
    return _rule_digits(value, unit) + UNIT_NAMES.get(unit, f" {unit.value}")


def limit_distance(distance: float, unit: Unit) -> str:
    """Print how far a value lies from its limit.

    Parameters
    ----------
    distance : float
        In the rule's unit, not negative.
    unit : Unit
        That unit.

    Returns
    -------
    str
        Shares differ by points: 46 % lies 13 points above 33 %, not 13 %.
    """
    if unit is Unit.PERCENT:
        return tr("{count} points", count=_rule_digits(distance, unit))
    return limit_value(distance, unit)


def _rule_digits(value: float, unit: Unit) -> str:
    digits = f"{value:.0f}" if unit is Unit.PIECES or abs(value) >= 100 else f"{value:.1f}".removesuffix(".0")
    return digits.replace(".", current().decimal)
