"""The limits in force: what each rule asks, where it comes from, and changing it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import streamlit as st

from corromap.io.survey_file import SurveyFile
from corromap.ui import state
from corromap.ui.markup import lead
from corromap.ui.pages.rule_set import show_rule_set
from corromap.ui.widgets import synced

__all__ = ["show_limits"]

_ERRORS = (
    ("click_sigma_px", "One clicked point", "px of the photo", 100.0),
    ("outline_sigma_px", "Where the edge of a mark is drawn", "px of the photo", 100.0),
)
_COUNTED = (("patch_gap_mm", "Pieces of patches nearer than this are one", "mm", 500.0),)
_SEEN = (
    ("smallest_hole_mm", "Smallest hole that must have been visible", "mm", 1000.0),
    ("pixels_across", "Pixels across it", "px", 100.0),
    ("coarsest_mm_per_px", "Coarsest detail that counts as seen at all", "mm per px", 100.0),
    ("picture_mm_per_px", "Scale of the whole picture", "mm per px", 20.0),
)
"""Setting, what it is, unit, largest value offered."""


def show_limits(held: state.OpenSurvey) -> None:
    """Draw the list of rules with their limits.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    """
    show_rule_set(held)
    with st.expander("Error sizes the intervals stand on"):
        lead("Standard errors, from common practice. Larger ones widen every interval; the report prints them.")
        _sizes(held, _ERRORS)
    with st.expander("How patches are counted"):
        lead(
            "Touching pieces are one, and so are patches of different photos nearer than the gap; patches drawn side "
            "by side on one photo stay two. Default 2 mm: about the width of a weld's edge, common practice."
        )
        _sizes(held, _COUNTED)
    with st.expander("What counts as seen, and how large the whole picture is"):
        lead(
            "A place is seen well enough when some photo shows it, not hidden, with so many pixels across the smallest "
            "hole, in the light, not blurred wider than the hole and not looked at flatter than 70 degrees. Two pixels "
            "are one line pair: the limit of detection (Johnson 1958, from memory); 5 mm is common practice. "
            "Load-bearing zones that were not seen well enough keep the outcome from being clear."
        )
        _sizes(held, _SEEN)


def _sizes(held: state.OpenSurvey, sizes: Sequence[tuple[str, str, str, float]]) -> None:
    for column, (name, title, unit, most) in zip(st.columns(len(sizes)), sizes, strict=True):
        with column:
            key = f"size_{name}"
            synced(key, float(getattr(held.survey.settings, name)))
            st.number_input(f"{title}, {unit}", min_value=0.1, max_value=most, step=0.5, format="%.1f", key=key,
                            on_change=_save_size, args=(held, name))  # fmt: skip


def _save_size(held: state.OpenSurvey, name: str) -> None:
    changed: dict[str, Any] = {name: float(st.session_state[f"size_{name}"])}

    def save(file: SurveyFile) -> None:
        file.set_settings(replace(held.survey.settings, **changed), expected_revision=file.known_revision)

    state.change(held, "settings changed", save)
