"""A quality map written as text and read back."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from corromap.errors import InvalidValueError
from corromap.evidence.quality import PhotoQuality, QualityMap
from corromap.evidence.quality_text import look_from_text, map_from_text, quality_text

SHAPE = (16, 24)
blur = st.one_of(st.floats(0.0, 129.3), st.just(np.nan))
shares = arrays(float, SHAPE, elements=st.floats(0.0, 1.0))


def of(cells: QualityMap) -> PhotoQuality:
    return PhotoQuality(cells, 1.0, 0.0, 0.0, 1.0, ())


@given(
    arrays(float, SHAPE, elements=blur),
    shares,
    shares,
    arrays(bool, SHAPE),
    st.one_of(st.none(), st.integers(0, 2**64 - 1)),
)
def test_round_trip(
    blur_px: np.ndarray, dark: np.ndarray, blown: np.ndarray, blurred: np.ndarray, look: int | None
) -> None:
    cells = QualityMap(6000, 4000, blur_px, dark, blown, blurred)
    text = quality_text(of(cells), look)
    back = map_from_text(text, 6000, 4000)
    assert text.isascii()
    assert len(text) < 1200
    np.testing.assert_array_equal(back.usable, cells.usable)
    np.testing.assert_array_equal(back.dark, cells.dark)
    np.testing.assert_array_equal(back.blown, cells.blown)
    np.testing.assert_allclose(back.blur_px, blur_px, atol=0.0501)
    assert look_from_text(text) == look
    assert quality_text(of(back), look) == text


def test_a_blur_beyond_all_is_kept_as_the_largest() -> None:
    cells = QualityMap(600, 400, np.array([[500.0]]), *np.zeros((2, 1, 1)), np.ones((1, 1), dtype=bool))
    assert map_from_text(quality_text(of(cells), None), 600, 400).blur_px.tolist() == [[129.4]]


@pytest.mark.parametrize(
    "text",
    ["", "q1", "q2 1x1 - 000", "q1 2x1 - 000", "q1 1x1 - 800", "q1 1x1 0 000", "q1 0x1 - 000", "q1 1x1 - 00Z",
     "q1 1x1 - 000\n", "q1 99x1 - " + "000" * 99],
)  # fmt: skip
def test_other_texts_are_refused(text: str) -> None:
    with pytest.raises(InvalidValueError, match="photo quality: expected 'q1 <columns>x<rows> <look> <cells>'"):
        map_from_text(text, 600, 400)
