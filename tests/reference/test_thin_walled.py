"""Torsion constants against formulas and tables that this project did not write."""

import math

import numpy as np
import pytest

from corromap.errors import InvalidValueError
from corromap.measures.thin_walled import closed_constant, open_constant, section_state
from corromap.sections import BoxSection, SectionCell, SectionWall

CORNERS = {"a": (0, 0), "b": (0, 150), "c": (100, 150), "d": (100, 0)}


def wall(name, start, end, sheet=1.2, panel=None):
    return SectionWall(name, name, start, end, sheet, panel)


def box(width=100.0, height=150.0, sheet=1.2):
    ring = [(0, 0), (0, height), (width, height), (width, 0)]
    walls = tuple(wall(f"w{i}", ring[i], ring[(i + 1) % 4], sheet) for i in range(4))
    return BoxSection("box", "Box", 0, 1000, walls, (SectionCell("one", "one", tuple(w.id for w in walls)),))


def two_cells(first=50.0, second=50.0, height=150.0, sheet=1.2, membrane=1.2):
    x1, x2 = first, first + second
    walls = (
        wall("inner", (0, 0), (0, height), sheet),
        wall("top-inner", (0, height), (x1, height), sheet),
        wall("membrane", (x1, height), (x1, 0), membrane),
        wall("low-inner", (x1, 0), (0, 0), sheet),
        wall("top-outer", (x1, height), (x2, height), sheet),
        wall("outer", (x2, height), (x2, 0), sheet),
        wall("low-outer", (x2, 0), (x1, 0), sheet),
    )
    cells = (
        SectionCell("inner", "inner cell", ("inner", "top-inner", "membrane", "low-inner")),
        SectionCell("outer", "outer cell", ("membrane", "top-outer", "outer", "low-outer")),
    )
    return BoxSection("sill", "Sill", 0, 1500, walls, cells)


@pytest.mark.parametrize(
    ("section", "formula"),
    [
        # Roark's Formulas for Stress and Strain, table of torsion, thin rectangular tube, t = t1:
        # K = 2 t^2 (a-t)^2 (b-t)^2 / (a t + b t - 2 t^2) with outer sides a and b (from memory)
        pytest.param(box(), 2 * 1.2**2 * 100**2 * 150**2 / ((101.2 + 151.2) * 1.2 - 2 * 1.2**2), id="Roark tube"),
        pytest.param(box(100, 100, 1.0), 100**3 * 1.0, id="square b^3 t"),
    ],
)
def test_one_cell_against_handbook(section, formula):
    assert section_state(section, ()).j_mm4 == pytest.approx(formula, rel=1e-12)


def test_round_tube_by_many_sides():
    """J = 2 pi R^3 t (any handbook); a 720-gon stands for the circle."""
    turns = np.linspace(0, 2 * math.pi, 721)
    ring = 50 * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    area = abs(ring[:-1, 0] @ ring[1:, 1] - ring[:-1, 1] @ ring[1:, 0]) / 2
    around = np.hypot(*np.diff(ring, axis=0).T).sum()
    got = closed_constant(np.array([area]), np.array([[around / 1.0]]))
    assert got == pytest.approx(2 * math.pi * 50**3, rel=1e-4)
    # the same tube slit along: 2 pi R t^3 / 3, and the ratio 3 (R/t)^2
    slit = open_constant(np.array([around]), np.array([1.0]))
    assert got / slit == pytest.approx(3 * 50**2, rel=1e-4)


def test_slit_box_is_the_sum_of_strips_and_seven_thousand_five_hundred_times_softer():
    """J_closed / J_open = 12 A^2 / (p^2 t^2) for one thickness: 12 * 15000^2 / (500 * 1.2)^2 = 7500."""
    state = section_state(box(), {"w0"})
    assert state.closed == ()
    assert state.j_mm4 == pytest.approx(500 * 1.2**3 / 3)
    assert 1 / state.share == pytest.approx(7500)


def test_two_equal_cells_leave_the_membrane_without_flow():
    """By symmetry the membrane carries none, so J is that of the outer box (Johnson 2000, eq. 2.40)."""
    assert section_state(two_cells(), ()).j_mm4 == pytest.approx(section_state(box(), ()).j_mm4)


def test_two_unequal_cells_against_the_equations_of_compatibility_solved_by_hand():
    """q1 d11 - q2 d12 = 2 A1, q2 d22 - q1 d12 = 2 A2 (G theta' = 1), T = 2 (A1 q1 + A2 q2): Cramer's rule."""
    a1, a2, t, h = 70 * 150, 30 * 150, 1.2, 150
    d11, d22, d12 = (2 * 70 + 2 * h) / t, (2 * 30 + 2 * h) / t, h / t
    det = d11 * d22 - d12**2
    q1 = (2 * a1 * d22 + 2 * a2 * d12) / det
    q2 = (2 * a2 * d11 + 2 * a1 * d12) / det
    by_hand = 2 * (a1 * q1 + a2 * q2)
    assert by_hand == pytest.approx(2_217_219, abs=1)
    assert section_state(two_cells(70, 30), ()).j_mm4 == pytest.approx(by_hand)


@pytest.mark.parametrize(
    ("slit", "closed", "j_closed"),
    [
        pytest.param({"outer"}, ("inner",), 675_000, id="outer face open: the inner cell closes"),
        pytest.param({"low-outer"}, ("inner",), 675_000, id="underside open outside the membrane"),
        pytest.param({"inner"}, ("outer",), 675_000, id="inner face open: the outer cell closes"),
        pytest.param({"membrane"}, ("inner+outer",), 2_160_000, id="membrane open: one large cell"),
        pytest.param({"outer", "membrane"}, (), 0, id="outer and membrane"),
        pytest.param({"outer", "inner"}, (), 0, id="both faces"),
    ],
)
def test_which_cell_still_closes(slit, closed, j_closed):
    state = section_state(two_cells(), slit)
    assert state.closed == closed
    assert state.j_mm4 == pytest.approx(j_closed, rel=1e-3, abs=700)  # strips of the open walls add a little


def test_scaled_by_k_grows_with_the_fourth_power():
    """All lengths and thicknesses times k: J times k^4."""
    one, twice = section_state(two_cells(70, 30), ()), section_state(two_cells(140, 60, 300, 2.4, 2.4), ())
    assert twice.j_mm4 == pytest.approx(16 * one.j_mm4)


def test_a_thinned_wall_softens_a_cell_by_its_share_of_s_over_t():
    """Facts: 250 mm at 0.9 and 250 mm at 1.2: 1 851 429 mm4; 0.9 thinned to 0.6: 0.778 of it."""
    area = np.array([15_000.0])
    before = closed_constant(area, np.array([[250 / 0.9 + 250 / 1.2]]))
    after = closed_constant(area, np.array([[250 / 0.6 + 250 / 1.2]]))
    assert before == pytest.approx(1_851_429, abs=1)
    assert after / before == pytest.approx(0.778, abs=5e-4)


def test_walls_that_do_not_close_are_refused():
    walls = [*box().walls[:3], wall("w3", (100, 0), (40, 0))]
    with pytest.raises(InvalidValueError, match="section 'box', cell 'one': its walls do not close to a ring"):
        BoxSection("box", "Box", 0, 1, tuple(walls), (SectionCell("one", "one", ("w0", "w1", "w2", "w3")),))


def test_a_wall_outside_every_cell_is_refused():
    spare = wall("spare", (0, 0), (50, 50))
    with pytest.raises(InvalidValueError, match="wall 'spare': belongs to 0 cells"):
        BoxSection("box", "Box", 0, 1, (*box().walls, spare), box().cells)
