"""What a value beside photos and marks may not say."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from corromap.by_hand import SHELL_PLACES, HandFinding, HandKind, ShellCheck, ShellKind
from corromap.control import MeasuredLength, PhotoTie, ScaleSighting
from corromap.errors import InvalidValueError
from corromap.survey import Settings

FOUR = [[0, 0], [1, 0], [1, 1], [0, 1]]


@pytest.mark.parametrize(
    ("make", "told"),
    [
        pytest.param(lambda: HandFinding("a", HandKind.GAUGE, "p", [0, 0]), "a gauge has a thickness", id="gauge"),
        pytest.param(lambda: HandFinding("a", HandKind.TAP, "p", [0, 0], 0.8), "only a gauge", id="tap with mm"),
        pytest.param(lambda: HandFinding("a", HandKind.GAUGE, "p", [0, 0], 80), "expected 0 to 50 mm", id="80 mm"),
        pytest.param(lambda: HandFinding("a", HandKind.TAP, "p", [0, 0, 1]), r"expected shape \(2,\)", id="three"),
        pytest.param(lambda: ShellCheck("a", ShellKind.DOOR_GAP, "left", 4.0), "expected one of left top", id="place"),
        pytest.param(lambda: ShellCheck("a", ShellKind.DOOR_GAP, "left top"), "answered with a length", id="no length"),
        pytest.param(lambda: ShellCheck("a", ShellKind.DOOR_BINDS, "left", 4.0), "answered with yes or no", id="mm"),
        pytest.param(lambda: ShellCheck("a", ShellKind.RIDE_HEIGHT, "rear left", 9e9), "at most 5000 mm", id="far"),
        pytest.param(lambda: PhotoTie("a", "p", "p", None, FOUR, FOUR, 1.0), "tied to itself", id="itself"),
        pytest.param(lambda: PhotoTie("a", "p", "q", None, FOUR, FOUR[:3], 1.0), "as many in both", id="unpaired"),
        pytest.param(lambda: PhotoTie("a", "p", "q", None, FOUR[:3], FOUR[:3], 1.0), "4 to 2000", id="three points"),
        pytest.param(lambda: PhotoTie("a", "p", "q", None, FOUR, FOUR, 0.0), "standard error 0.0 px", id="no error"),
        pytest.param(lambda: MeasuredLength("a", "d", "d", 100.0), "both ends are 'd'", id="one end"),
        pytest.param(lambda: MeasuredLength("a", "d", "e", 1.0, 2.0), "an error smaller than it", id="large error"),
        pytest.param(lambda: ScaleSighting("a", "p", "f", [[0, 0]], [[0, 0]]), "as many, 2 to", id="one point"),
        pytest.param(
            lambda: ScaleSighting("a", "p", "f", [[0, 0], [5, 5]], [[1, 1], [1, 1]]), "different places", id="same"
        ),
        pytest.param(lambda: Settings(paper="A3"), "setting paper: expected one of A4, Letter", id="paper"),
        pytest.param(lambda: Settings(length_unit="ft"), "setting length_unit", id="unit"),
        pytest.param(lambda: Settings(language="English"), "two small letters", id="language"),
        pytest.param(lambda: Settings(currency="euro"), "three capital letters", id="currency"),
        pytest.param(lambda: Settings(smallest_hole_mm=0), "setting smallest_hole_mm: expected more than 0", id="hole"),
    ],
)
def test_refused_with_a_sentence(make: Callable[[], object], told: str) -> None:
    with pytest.raises(InvalidValueError, match=told):
        make()


@pytest.mark.parametrize("kind", ShellKind)
def test_every_kind_of_shell_check_has_its_places_and_can_be_made(kind: ShellKind) -> None:
    answer = {"raised_mm": 3.0} if kind.is_length else {"found": False}
    for place in SHELL_PLACES[kind]:
        assert ShellCheck("a", kind, place, **answer).place == place
