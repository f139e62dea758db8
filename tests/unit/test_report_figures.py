"""Numbers as printed."""

from __future__ import annotations

import pytest

from corromap.assessment import Unit
from corromap.measures import Figure
from corromap.report import figures


def figure(area_cm2: float, half_cm2: float, share: float = 0.1, half_share: float = 0.01) -> Figure:
    area, half = 100 * area_cm2, 100 * half_cm2
    return Figure(
        area,
        half / 2,
        max(area - half, 0),
        area + half,
        share,
        max(share - half_share, 0),
        share + half_share,
        1,
        0,
        (),
    )


@pytest.mark.parametrize(
    ("given", "area", "interval"),
    [
        pytest.param(figure(0, 0), "none", "", id="nothing marked"),
        pytest.param(figure(12.34, 1.7), "12.3 cm²", "10.6 to 14.0 cm²", id="one decimal"),
        pytest.param(figure(123.4, 17), "123 cm²", "106 to 140 cm²", id="whole"),
        pytest.param(figure(2345, 230), "2\u202f340 cm²", "2\u202f120 to 2\u202f580 cm²", id="tens, grouped"),
        pytest.param(figure(0.52, 0.08), "0.52 cm²", "0.44 to 0.60 cm²", id="two decimals"),
        pytest.param(figure(0.004, 0.001), "under 0.01 cm²", "0.00 to 0.01 cm²", id="never printed as nought"),
        pytest.param(figure(7.123456, 0), "7.12 cm²", "7.12 to 7.12 cm²", id="no uncertainty"),
    ],
)
def test_area_carries_no_more_digits_than_its_interval(given: Figure, area: str, interval: str) -> None:
    assert figures.area(given) == area
    assert figures.area_interval(given) == interval


@pytest.mark.parametrize(
    ("given", "share", "interval"),
    [
        pytest.param(figure(0, 0), "", "", id="nothing marked"),
        pytest.param(figure(1, 0.1, 0.1234, 0.02), "12.3 %", "10.3 to 14.3 %", id="one decimal"),
        pytest.param(figure(1, 0.1, 0.5, 0.2), "50 %", "30 to 70 %", id="whole"),
        pytest.param(figure(1, 0.1, 0.00005, 0.00001), "under 0.01 %", "0.00 to 0.01 %", id="tiny"),
    ],
)
def test_share_carries_no_more_digits_than_its_interval(given: Figure, share: str, interval: str) -> None:
    assert figures.share(given) == share
    assert figures.share_interval(given) == interval


@pytest.mark.parametrize(
    ("value", "printed"),
    [
        (0.0, "0 %"),
        (0.0004, "under 1 %"),
        (0.009999, "under 1 %"),
        (0.64, "64 %"),
        (0.9949, "over 99 %"),
        (0.99999, "over 99 %"),
        (1.0, "100 %"),
    ],
)
def test_coverage_is_never_rounded_to_all_or_none(value: float, printed: str) -> None:
    assert figures.fraction(value) == printed


@pytest.mark.parametrize(
    ("value", "unit", "printed"),
    [
        (3.0, Unit.PIECES, "3"),
        (33.0, Unit.PERCENT, "33 %"),
        (12.54, Unit.PERCENT, "12.5 %"),
        (0.1, Unit.CM2, "0.1 cm²"),
        (1234.5, Unit.CM2, "1234 cm²"),
    ],
)
def test_limits_carry_their_unit(value: float, unit: Unit, printed: str) -> None:
    assert figures.limit_value(value, unit) == printed


@pytest.mark.parametrize(("mm", "printed"), [(0.0, "on it"), (0.49, "on it"), (300.2, "300 mm")])
def test_distance(mm: float, printed: str) -> None:
    assert figures.distance(mm) == printed


def test_area_of_a_zone_is_whole_square_centimetres() -> None:
    assert figures.zone_area(448_000) == "4\u202f480 cm²"
