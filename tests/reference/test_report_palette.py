"""The palette against published measures of contrast and of colour blindness.

Contrast: WCAG 2.2, relative luminance and 1.4.11. Colour difference: CIEDE2000
(scikit-image's, itself checked here against two pairs of the test data of
Sharma, Wu and Dalal 2005). Colour blindness: Machado, Oliveira and Fernandes
2009, "A Physiologically-based Model for Simulation of Color Vision
Deficiency", doi 10.1109/TVCG.2009.113, severity 1.0, applied to linear RGB;
the same matrices are in the public packages colorspacious and colour-science.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab

from corromap.report import palette

VISIONS = {
    "normal": np.eye(3),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
DAMAGE = (
    palette.RUST_SURFACE,
    palette.RUST_SCALED,
    palette.RUST_HOLED,
    palette.FILLER,
    palette.PATCH,
    palette.PATCH_ON_PATCH,
)
EVIDENCE = (palette.HIDDEN, palette.SOUND, palette.NEVER_SEEN)


def linear(colour: str) -> np.ndarray:
    value = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    light, dark = sorted((float(linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (one, other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def seen(colour: str, vision: str) -> np.ndarray:
    value = np.clip(VISIONS[vision] @ linear(colour), 0, 1)
    return rgb2lab(np.where(value <= 0.0031308, value * 12.92, 1.055 * value ** (1 / 2.4) - 0.055))


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        pytest.param("#000000", "#FFFFFF", 21.0, id="black on white"),
        pytest.param("#767676", "#FFFFFF", 4.54, id="just passes"),
        pytest.param("#777777", "#FFFFFF", 4.48, id="just fails"),
    ],
)
def test_contrast_formula_gives_the_known_ratios(one: str, other: str, expected: float) -> None:
    assert contrast(one, other) == pytest.approx(expected, abs=0.005)


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        pytest.param((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425, id="pair 1"),
        pytest.param((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492, id="pair 17"),
    ],
)
def test_difference_formula_gives_sharmas_values(
    one: tuple[float, ...], other: tuple[float, ...], expected: float
) -> None:
    assert float(deltaE_ciede2000(np.array(one), np.array(other))) == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize("look", palette.LOOKS, ids=lambda look: look.key)
@pytest.mark.parametrize("ground", [palette.PANEL, "#FFFFFF"])
def test_every_look_stands_out_from_what_it_lies_on(look: palette.Look, ground: str) -> None:
    assert contrast(look.colour, ground) >= 3.0


@pytest.mark.parametrize("vision", VISIONS)
@pytest.mark.parametrize(("one", "other"), list(combinations(DAMAGE, 2)), ids=lambda look: look.key)
def test_damage_differs_by_colour_for_every_eye(vision: str, one: palette.Look, other: palette.Look) -> None:
    assert float(deltaE_ciede2000(seen(one.colour, vision), seen(other.colour, vision))) >= 20.0


@pytest.mark.parametrize("vision", VISIONS)
@pytest.mark.parametrize("damage", DAMAGE, ids=lambda look: look.key)
@pytest.mark.parametrize("evidence", EVIDENCE, ids=lambda look: look.key)
def test_evidence_is_not_taken_for_damage(vision: str, damage: palette.Look, evidence: palette.Look) -> None:
    assert float(deltaE_ciede2000(seen(damage.colour, vision), seen(evidence.colour, vision))) >= 10.0


@pytest.mark.parametrize("look", EVIDENCE, ids=lambda look: look.key)
def test_evidence_is_neutral(look: palette.Look) -> None:
    _, a, b = seen(look.colour, "normal")
    assert np.hypot(a, b) < 6.0


def test_every_pattern_is_its_own() -> None:
    names = [look.pattern for look in palette.LOOKS]
    drawn = [(look.strokes, look.angle_deg, look.is_solid) for look in palette.LOOKS]
    assert len(set(names)) == len(names)
    assert len(set(drawn)) == len(drawn)


@pytest.mark.parametrize("text", [palette.INK, palette.STEEL])
@pytest.mark.parametrize("ground", [palette.PANEL, palette.PAPER])
def test_letters_on_the_map_can_be_read(text: str, ground: str) -> None:
    assert contrast(text, ground) >= 4.5
