"""What is measured beside areas: what would change the outcome, sills, patchwork, degrees of rusting."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from corromap.report.structure_rows import PatchworkRow, SillRow, StructureView, structure_view
from corromap.report.what_if_rows import what_if_rows
from corromap.ui import state
from corromap.ui.markup import Cell, esc, lead, show, show_svg, table

__all__ = ["show_structure", "show_what_if"]


def show_what_if(held: state.OpenSurvey) -> None:
    """Say which two or three uncertain things would change the outcome.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    """
    st.subheader("What would change it")
    rows = what_if_rows(held.evaluation)
    if not rows:
        lead("No single uncertain thing would: the outcome stands on more than one of them.")
        return
    items = "".join(f"<li>{esc(row.text)}: <b>{esc(row.outcome)}</b></li>" for row in rows)
    show(f"<ul class='cm-whatif'>{items}</ul>")


def show_structure(held: state.OpenSurvey) -> None:
    """Draw sills, patchwork and degrees of rusting.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    """
    view = structure_view(held.evaluation, prefix="uisill")
    if view.sills:
        opened = [row for row in view.sills if row.stretches]
        title = (
            f"Closed sections: {len(opened)} of {len(view.sills)} sills open somewhere" if opened else "Closed sections"
        )
        with st.expander(title):
            _sills(view)
    if view.patchwork:
        with st.expander("Patches and holes by zone: seams, rust at the edge, fixings, run of weld"):
            show(_patchwork(view.patchwork))
    if view.degrees:
        with st.expander("Degrees of rusting"):
            _degrees(view)


def _sills(view: StructureView) -> None:
    show(
        table(
            ["Sill", "box open", "open or unsound", "patches", "faces shown"],
            [
                [
                    Cell(row.name, small=row.length),
                    Cell(row.open, small=row.open_interval),
                    Cell(row.unsound, small=row.unsound_interval),
                    Cell(row.patches, small=f"{row.per_metre} a metre" if row.per_metre else ""),
                    row.shown,
                ]
                for row in view.sills
            ],
            numeric=frozenset({1, 2, 3, 4}),
            caption="Length along the sill over which some wall of its box is holed; or holed or unsound.",
        )
    )
    for row in view.sills:
        _sill(row)
    key = "".join(f'<span class="cm-key">{swatch} {esc(words)}</span>' for swatch, words in view.sill_legend)
    show_svg(key, css_class="cm-keys")
    lead(view.sills_note)


def _sill(row: SillRow) -> None:
    show_svg(row.strip, before=f"<b>{esc(row.name)}</b>, mm from the rear end")
    if row.stretches:
        items = "".join(
            f"<li>{stretch.drawing}<span>{esc(stretch.where)}: {esc(stretch.walls)} open"
            f"{esc('; ' + stretch.closed) if stretch.closed else ''}</span></li>"
            for stretch in row.stretches
        )
        show_svg(f"<ul>{items}</ul>", css_class="cm-stretches")


def _patchwork(rows: Sequence[PatchworkRow]) -> str:
    body = [
        [
            Cell(row.place, small=f"{row.seen_well} seen well"),
            Cell(str(row.patches), small=f"{row.pieces} pieces" if row.pieces != row.patches else ""),
            Cell(row.area, small="; ".join(part for part in (row.area_interval, row.share) if part)),
            Cell(row.edge, small=row.edge_interval),
            str(row.on_patch or ""),
            str(row.on_seam or ""),
            Cell(str(row.rust_at_edge or ""), small=_edge(row)),
            row.fixings if row.patches else "",
            Cell(str(row.holes or ""), small=row.holed_area),
        ]
        for row in rows
    ]
    return table(
        [
            "Place",
            "patches",
            "area",
            "edge, run of weld",
            "on a patch",
            "over a seam",
            "rust at edge",
            "fixing",
            "holes",
        ],
        body,
        numeric=frozenset({1, 2, 3, 4, 5, 6, 8}),
        caption="Patches are counted as drawn, one seen on several photos once; pieces are what does not touch within "
        "the patch gap set below. The edge is the run of weld if a patch is welded all round. Holes are holed marks "
        "and points a probe went through.",
    )


def _edge(row: PatchworkRow) -> str:
    through = f"{row.rust_through_edge} through it" if row.rust_through_edge else ""
    return "; ".join(part for part in (row.rusted_edge, through) if part)


def _degrees(view: StructureView) -> None:
    rows = [
        [Cell(r.place, small=f"{r.seen_well} seen well"), Cell(r.percent, small=r.interval), r.grade, r.picture]
        for r in view.degrees
    ]
    show(
        table(
            ["Place", "rusted", "ASTM D610", "ISO 4628-3, nearest picture"],
            rows,
            numeric=frozenset({1}),
            caption=view.degrees_note,
        )
    )
