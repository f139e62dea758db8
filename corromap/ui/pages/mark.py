"""Page 4: outline rust, filler, patches, and what is hidden or sound."""

from __future__ import annotations

import streamlit as st

from corromap.frames import MarkId, PanelId, PhotoId
from corromap.registration import Registration
from corromap.report.findings import MarkRow, mark_numbers, mark_rows, patch_rows
from corromap.report.palette import look_of
from corromap.report.tables import group_rows
from corromap.survey import Mark, MarkKind, Photo
from corromap.ui import state
from corromap.ui.canvas import CanvasMode, CanvasView, photo_canvas
from corromap.ui.canvas_use import apply_events, photo_view, position_of
from corromap.ui.markup import Cell, empty_state, esc, lead, note, plain_md, show, swatch, table
from corromap.ui.pages.settle import show_disagreements
from corromap.ui.steps import Page, counted, placed_photos
from corromap.ui.widgets import next_button, photo_strip

__all__ = ["show_page"]

_MOST_BESIDE = 2


def show_page(held: state.OpenSurvey) -> None:
    """Draw the page.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    """
    photo = state.chosen_photo(held.survey)
    if photo is None:
        st.header("Mark what the photos show")
        empty_state("No photos to mark yet.", "Add photos of the underside and the sills first.")
        next_button(Page.PHOTOS)
        return
    left, right = st.columns([5, 3], gap="medium", vertical_alignment="bottom")
    with left:
        st.header("Mark what the photos show")
        lead(
            "Outline rust, filler and patches; the map follows. What keeps metal out of sight (underseal, dirt, trim, "
            "a lift's arm, pipes, a tank) is hidden: what is not outlined so counts as seen. Faces and number plates: "
            "blur, and nobody can make them out in what is handed out."
        )
    with right:
        beside = _beside(held, photo)
    if photo.id not in placed_photos(held.registrations):
        note(["This photo is not placed yet: marks on it are kept, but have no size until it is."], "warn")
        st.button("Place this photo", key="to_place", on_click=state.go_to, args=(Page.PLACE, photo.id))
    photo_canvas(
        CanvasView(
            mode=CanvasMode.MARK,
            template=held.template,
            main=photo_view(held, photo),
            compare=tuple(photo_view(held, held.survey.photo_by_id[other]) for other in beside),
            projected=held.marks_on_map,
            can_undo=held.next_undo is not None,
            can_redo=held.next_redo is not None,
            position=position_of(held, photo),
            chosen=_chosen(held, photo),
        ),
        key="canvas_mark",
        on_events=apply_events(held, photo),
    )
    photo_strip(held, photo.id, what="mark")
    show_disagreements(held)
    left, right = st.columns([3, 2], gap="large")
    with left:
        _marks(held, photo)
    with right:
        _so_far(held)
    next_button(Page.OUTCOME)


def _chosen(held: state.OpenSurvey, photo: Photo) -> MarkId | None:
    """Mark that a link led to, if it is on this photo."""
    mark = state.chosen_mark(held.survey)
    return mark if mark is not None and held.survey.mark_by_id[mark].photo == photo.id else None


def _beside(held: state.OpenSurvey, photo: Photo) -> list[PhotoId]:
    others = [p for p in held.survey.photos if p.id != photo.id]
    if not others:
        return []
    mine = _panels(held, photo.id)
    others.sort(key=lambda p: -len(mine & _panels(held, p.id)))
    names = {p.id: p.name for p in others}
    chosen = st.multiselect(
        "Photos of the same place beside it",
        list(names),
        key=f"beside_{photo.id}",
        max_selections=_MOST_BESIDE,
        format_func=lambda p: names[p] + (" (same panel)" if mine & _panels(held, p) else ""),
        placeholder="none; choose one or two to compare",
    )
    return [PhotoId(p) for p in chosen]


def _panels(held: state.OpenSurvey, photo: PhotoId) -> set[PanelId]:
    found = held.registrations.items()
    return {panel for (p, panel), r in found if p == photo and isinstance(r, Registration)}


def _marks(held: state.OpenSurvey, photo: Photo) -> None:
    marks = [mark for mark in held.survey.measured_marks if mark.photo == photo.id]
    blurred = [m.id for m in held.survey.marks if m.photo == photo.id and m.kind is MarkKind.BLUR]
    st.subheader(f"{len(marks)} marks on this photo" if len(marks) != 1 else "1 mark on this photo")
    if blurred:
        lead(f"{counted(len(blurred), 'place')} made unrecognisable in everything handed out; the original is kept.")
    if not marks and not blurred:
        lead("None yet. Choose a kind and click round its edge; a double click or Enter closes the outline.")
        return
    rows = {row.number: row for row in mark_rows(held.evaluation)}
    numbers = mark_numbers(held.evaluation)
    chosen = [(mark, rows[numbers[mark.id]]) for mark in marks]
    if chosen:
        show(
            table(
                ["Mark", "area", "where", "remark"],
                [_cells(mark, row) for mark, row in chosen],
                numeric=frozenset({1}),
                caption="Area of each mark by itself; the zone table counts a place once, however many marks cover it.",
            )
        )
    with st.popover("Remove a mark", icon=":material/delete:"):
        for mark, row in chosen:
            st.button(
                f"{row.number}: {plain_md(row.kind)}",
                key=f"gone_{mark.id}",
                on_click=_remove,
                args=(held, mark.id, photo.name),
            )
        for number, gone in enumerate(blurred, start=1):
            st.button(f"Blur {number}", key=f"gone_{gone}", on_click=_remove, args=(held, gone, photo.name))


def _cells(mark: Mark, row: MarkRow) -> list[Cell | str]:
    kind = row.kind + (f", {row.fixing}" if row.fixing else "")
    remark = "; ".join(part for part in (row.message, row.note) if part)
    return [Cell(markup=f"{swatch(look_of(mark))} {row.number} {esc(kind)}"), row.area, row.panels, remark]


def _remove(held: state.OpenSurvey, mark: MarkId, photo_name: str) -> None:
    state.change(
        held,
        f"mark on '{photo_name}' removed",
        lambda file: file.remove_mark(mark, expected_revision=file.known_revision),
    )


def _so_far(held: state.OpenSurvey) -> None:
    st.subheader("The car so far")
    show(f"<p>{esc(held.evaluation.assessment.outcome.headline)}</p>")
    whole = group_rows(held.evaluation)[0].found
    cells = {"rust": whole.rust, "filler": whole.filler, "patch": whole.patch}
    show(
        table(
            ["Whole underside", "area", "95 % interval"],
            [[name, cell.value, cell.interval] for name, cell in cells.items()],
            numeric=frozenset({1, 2}),
            caption=f"Photos show {whole.seen} of the sheet, {whole.well} well enough; {whole.hidden} is hidden, "
            f"{whole.never_seen} in no photo.",
        )
    )
    rows = [[row.title, row.value, row.limit, row.margin] for row in patch_rows(held.evaluation)]
    show(table(["How near to too many patches", "now", "limit", "margin"], rows, numeric=frozenset({1, 2})))
