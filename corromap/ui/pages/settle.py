"""Places on which two photos disagree, for a person to settle: both crops side by side, three answers."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

import streamlit as st

from corromap.by_hand import SettledView, Settlement
from corromap.evidence.disagreement import Disagreement, find_disagreements
from corromap.evidence.settling import settled_views
from corromap.frames import MarkId, PhotoId, SettlementId
from corromap.io.photos import RgbArray, decode
from corromap.io.survey_file import new_id
from corromap.report.disagreement_page import DisagreementRow, disagreement_row
from corromap.report.settled import latest_answer, settled_words
from corromap.ui import state
from corromap.ui.markup import esc, lead, show, show_svg
from corromap.ui.widgets import synced

__all__ = ["show_disagreements"]

_ANSWERS = (
    (SettledView.THERE, "It is there", ":material/check:"),
    (SettledView.NOT_THERE, "It is not there", ":material/close:"),
    (SettledView.CANNOT_TELL, "Cannot tell", ":material/question_mark:"),
)
_MEANING = (
    "Largest first; one answer that a mark is there settles it on every photo. A mark that is not there is withdrawn: "
    "it stays in the record and counts in no figure. One that cannot be told counts, and its interval reaches down to "
    "what is left without it."
)


def show_disagreements(held: state.OpenSurvey) -> None:
    """Offer the places to be settled, one at a time.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    """
    if not st.toggle("Settle where photos disagree", key="settle_on"):
        return
    found = find_disagreements(held.evaluation.showing)
    if not found:
        lead("Nowhere: no place is marked on one photo and shown well, without a mark, on another.")
        return
    still_open = _still_open(held, found)
    lead(f"{len(still_open)} of {len(found)} still open. {_MEANING}")
    index = _chosen(found, still_open)
    one = found[index]
    row = disagreement_row(held.evaluation, one, lambda photo, reduce: _pixels(held, photo, reduce))
    with st.container(border=True, key="cm_settle"):
        _turn_pages(index, len(found), still_open)
        if row is not None:
            _pair(held, row, one.mark)
        _answers(held, one)


def _still_open(held: state.OpenSurvey, found: Sequence[Disagreement]) -> list[int]:
    """Those that an answer could still change: no answer outweighs one that the mark is there."""
    views = settled_views(held.survey)
    return [
        index
        for index, one in enumerate(found)
        if views.get(one.mark) is not SettledView.THERE and latest_answer(held.survey, one.mark, one.other) is None
    ]


def _chosen(found: Sequence[Disagreement], still_open: Sequence[int]) -> int:
    """Index in the address of this window; the first open one to begin with."""
    at = int(st.session_state.get("settle_at", still_open[0] if still_open else 0))
    return max(0, min(at, len(found) - 1))


def _turn_pages(index: int, count: int, still_open: Sequence[int]) -> None:
    with st.container(horizontal=True, vertical_alignment="center"):
        show(f"<b>Place {index + 1} of {count}</b>")
        st.button("Previous", key="settle_before", icon=":material/arrow_back:", disabled=index == 0,
                  on_click=_go, args=(index - 1,))  # fmt: skip
        st.button("Next", key="settle_after", icon=":material/arrow_forward:", disabled=index == count - 1,
                  on_click=_go, args=(index + 1,))  # fmt: skip
        later = next((i for i in still_open if i > index), still_open[0] if still_open else index)
        st.button("Next open one", key="settle_next", disabled=later == index, on_click=_go, args=(later,))


def _go(index: int) -> None:
    st.session_state["settle_at"] = index


def _pair(held: state.OpenSurvey, row: DisagreementRow, mark: MarkId) -> None:
    show(f"<b>Mark {row.mark}: {esc(row.what)}, {esc(row.where)}</b>")
    sound = "Marked here as looked at and sound" if row.says_sound else "No mark here"
    sides = ((row.photo, "Marked here", row.svg), (row.other, sound, row.other_svg))
    halves = [f"<figure><figcaption><b>{what}</b> {esc(name)}</figcaption>{svg}</figure>" for name, what, svg in sides]
    show_svg("".join(halves), css_class="cm-pair")  # side by side on a phone too
    lead("The same place at the same scale and the same way round. Is it there?")
    # an answer about another photo settles the mark here, too
    if said := row.answer or settled_words(held.survey, mark):
        show(f"<div>{esc(said)}</div>")


def _answers(held: state.OpenSurvey, one: Disagreement) -> None:
    known = latest_answer(held.survey, one.mark, one.other)
    key = f"settle_note_{one.mark}_{one.other}"
    synced(key, known.note if known else "")
    note = st.text_input("Note, if you like", key=key, max_chars=500)
    with st.container(horizontal=True):
        for view, label, icon in _ANSWERS:
            given = known is not None and known.view is view
            st.button(label, key=f"settle_{view.name.lower()}", icon=icon, type="primary" if given else "secondary",
                      on_click=_answer, args=(held, one, view, note, known))  # fmt: skip
        if known is not None:
            st.button("Open it again", key="settle_reopen", type="tertiary", on_click=_reopen, args=(held, known))


def _answer(held: state.OpenSurvey, one: Disagreement, view: SettledView, note: str, known: Settlement | None) -> None:
    settlement = Settlement(
        id=known.id if known else SettlementId(new_id("settlement")),
        mark=one.mark,
        photo=one.other,
        view=view,
        note=note.strip(),
        author=held.survey.car.inspector or state.author(),
        at=datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
    )
    if state.change(
        held, f"settled: {view}", lambda f: f.put_settlement(settlement, expected_revision=f.known_revision)
    ):
        st.session_state.pop("settle_at", None)  # on to the next open one


def _reopen(held: state.OpenSurvey, known: Settlement) -> None:
    state.change(held, "opened again", lambda f: f.remove_settlement(known.id, expected_revision=f.known_revision))


def _pixels(held: state.OpenSurvey, photo: PhotoId, reduce: int) -> RgbArray:
    return decode(held.file.photo_bytes(photo), held.survey.photo_by_id[photo].name, reduce=reduce)
