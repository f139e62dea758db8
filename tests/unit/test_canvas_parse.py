"""Events from the browser: taken in strictly, once, and in order."""

from __future__ import annotations

import math

import numpy as np
import pytest

from corromap.control import ScaleSighting
from corromap.errors import InvalidValueError
from corromap.frames import MAX_VERTICES, DatumId, MarkId, PanelId, PhotoId, PhotoOutline, ScaleId
from corromap.survey import Mark, MarkKind, PatchFixing, Photo, RustStage
from corromap.ui.canvas import (
    DatumSelected,
    MarkAdded,
    MarkChanged,
    MarkRemoved,
    MarkSelected,
    MarksReplaced,
    PanelSelected,
    PhotoStep,
    RedoAsked,
    ScaleRemoved,
    ScaleSet,
    SightingRemoved,
    SightingSet,
    UndoAsked,
)
from corromap.ui.canvas_parse import Known, parse_outbox

SQUARE = [[0, 0], [100, 0], [100, 100], [0, 100]]


@pytest.fixture
def known():
    photo = Photo(PhotoId("p1"), "floor.jpg", "0" * 64, 400, 300)
    mark = Mark(
        MarkId("old"),
        photo.id,
        MarkKind.PATCH,
        PhotoOutline(np.array(SQUARE)),
        fixing=PatchFixing.SPOT,
        note="by the seller",
    )
    return Known({photo.id: photo}, {mark.id: mark}, {DatumId("d1")}, {PanelId("floor-left")})


def mark_row(**changes):
    return {
        "id": "new",
        "photo": "p1",
        "kind": "rust",
        "stage": "holed",
        "fixing": None,
        "exterior": SQUARE,
        "holes": [],
    } | changes


def added(**changes):
    return {"type": "mark_added", "mark": mark_row(**changes)}


def deliver(known, *rows, applied=None, seen=7):
    events = [{"seq": i + 1, **row} for i, row in enumerate(rows)]
    return parse_outbox({"client": "c1", "seen": seen, "events": events}, known, applied or {})


def test_every_kind_of_event(known):
    box = deliver(
        known,
        added(),
        {"type": "mark_changed", "mark": mark_row(id="old", kind="patch", stage=None, fixing="plug")},
        {"type": "sighting_set", "photo": "p1", "datum": "d1", "at": [12.5, 3]},
        {"type": "sighting_removed", "photo": "p1", "datum": "d1"},
        {"type": "mark_selected", "mark": "old"},
        {"type": "mark_removed", "mark": "old"},
        {"type": "mark_selected", "mark": None},
        {"type": "datum_selected", "datum": "d1"},
        {"type": "panel_selected", "panel": "floor-left"},
        {"type": "photo_step", "step": -1},
        {"type": "undo"},
        {"type": "redo"},
    )
    kinds = [MarkAdded, MarkChanged, SightingSet, SightingRemoved, MarkSelected, MarkRemoved, MarkSelected]
    kinds += [DatumSelected, PanelSelected, PhotoStep, UndoAsked, RedoAsked]
    assert [type(event) for event in box.events] == kinds
    assert [event.seq for event in box.events] == list(range(1, 13))
    assert (box.refused, box.last_seq, box.client, box.seen) == ((), 12, "c1", 7)
    drawn = box.events[0].mark
    assert (drawn.kind, drawn.stage, drawn.photo) == (MarkKind.RUST, RustStage.HOLED, "p1")
    changed = box.events[1].mark
    assert (changed.fixing, changed.note) == (PatchFixing.PLUG, "by the seller"), (
        "what the canvas does not show is kept"
    )


def test_a_repeat_is_dropped_and_a_second_client_is_not(known):
    rows = [{"seq": 1, "type": "undo"}, {"seq": 2, "type": "undo"}, {"seq": 3, "type": "redo"}]
    box = parse_outbox({"client": "c1", "seen": None, "events": rows}, known, {"c1": 2})
    assert [type(event) for event in box.events] == [RedoAsked]
    other = parse_outbox({"client": "c2", "seen": None, "events": rows}, known, {"c1": 2})
    assert len(other.events) == 3


def test_resend_asks_for_everything(known):
    assert deliver(known, {"type": "resend"}).seen is None


def test_split_and_join_build_on_events_before_them(known):
    box = deliver(
        known,
        added(id="a", stage="surface"),
        added(id="b", exterior=[[100, 0], [200, 0], [200, 100], [100, 100]]),
        {"type": "marks_joined", "marks": ["a", "b"], "id": "ab"},
        {"type": "mark_split", "mark": "ab", "line": [[150, -10], [150, 110]], "id": "half"},
    )
    joined, halves = box.events[2:]
    assert isinstance(joined, MarksReplaced)
    assert joined.removed == ("a", "b")
    assert joined.added[0].outline.repaired().area == pytest.approx(20000)
    assert joined.added[0].stage is RustStage.HOLED, "the worst stage is kept"
    assert [mark.id for mark in halves.added] == ["half-1", "half-2"]
    assert [mark.outline.repaired().area for mark in halves.added] == pytest.approx([15000, 5000])


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        pytest.param({"type": "format_disk"}, "unknown event", id="type"),
        pytest.param({"type": ["undo"]}, "unknown event", id="type not text"),
        pytest.param({"type": "mark_added"}, "object for mark", id="no mark"),
        pytest.param(added(id="a b"), "letters, digits", id="id"),
        pytest.param(added(id="x" * 65), "letters, digits", id="long id"),
        pytest.param(added(photo="other"), "photo is not there", id="photo"),
        pytest.param(added(kind="dent"), "unknown kind", id="kind"),
        pytest.param(added(stage="deep"), "unknown stage", id="stage"),
        pytest.param(added(kind="filler"), "rust stage belongs to rust", id="stage of filler"),
        pytest.param(added(exterior=SQUARE[:2]), "3 to", id="two points"),
        pytest.param(added(exterior=[[0, 0]] * (MAX_VERTICES + 1)), "3 to", id="too many points"),
        pytest.param(added(exterior=[[0, 0], [1, 0], [math.nan, 1]]), "far outside", id="NaN"),
        pytest.param(added(exterior=[[0, 0], [1, 0], [1e9, 1]]), "far outside", id="far off"),
        pytest.param(added(exterior=[[0, 0], [1, 0], ["1", 1]]), r"\[x, y\]", id="text"),
        pytest.param(added(exterior=[[0, 0], [1, 0], [True, 1]]), r"\[x, y\]", id="boolean"),
        pytest.param(added(exterior=[[0, 0], [1, 0], [1, 1, 1]]), r"\[x, y\]", id="three numbers"),
        pytest.param(added(holes=None), "holes", id="holes"),
        pytest.param({"type": "mark_changed", "mark": mark_row(id="gone")}, "not there any more", id="changed, gone"),
        pytest.param({"type": "mark_removed", "mark": 7}, "not there any more", id="removed, gone"),
        pytest.param({"type": "marks_joined", "marks": ["old"], "id": "n"}, "two to twenty", id="join one"),
        pytest.param(
            {"type": "marks_joined", "marks": ["old", "old"], "id": "n"}, "two different", id="join with itself"
        ),
        pytest.param(
            {"type": "mark_split", "mark": "old", "line": [[200, 0], [200, 50]], "id": "n"},
            "does not divide",
            id="split beside",
        ),
        pytest.param(
            {"type": "sighting_set", "photo": "p1", "datum": "d2", "at": [1, 1]}, "no datum point", id="datum"
        ),
        pytest.param({"type": "sighting_set", "photo": "p1", "datum": "d1", "at": None}, r"\[x, y\]", id="no place"),
        pytest.param({"type": "photo_step", "step": 5}, "1 or -1", id="step"),
        pytest.param({"type": "panel_selected", "panel": "roof"}, "no panel", id="panel"),
    ],
)
def test_a_malformed_event_is_refused_alone(known, row, reason):
    box = deliver(known, {"type": "undo"}, row, {"type": "redo"})
    assert [type(event) for event in box.events] == [UndoAsked, RedoAsked]
    (refusal,) = box.refused
    assert refusal.seq == 2
    with pytest.raises(InvalidValueError, match=reason):
        raise InvalidValueError(refusal.text)
    assert box.last_seq == 3, "a refused event is not sent again"


@pytest.mark.parametrize(
    "raw",
    [
        pytest.param([], id="list"),
        pytest.param({}, id="empty"),
        pytest.param({"client": "c", "events": "no"}, id="events"),
        pytest.param({"client": "c", "events": [3]}, id="event"),
        pytest.param({"client": "c", "events": [{"seq": -1}]}, id="negative number"),
        pytest.param({"client": "c", "events": [{"seq": 1.5}]}, id="broken number"),
        pytest.param({"client": "c", "events": [{"seq": math.nan}]}, id="NaN"),
        pytest.param({"client": "c", "events": [{"seq": True}]}, id="boolean"),
        pytest.param({"client": "<b>", "events": []}, id="markup"),
        pytest.param({"client": "c", "seen": "1", "events": []}, id="seen"),
        pytest.param({"client": "c", "events": [{"seq": i} for i in range(501)]}, id="flood"),
    ],
)
def test_a_delivery_that_is_none_of_ours_is_refused_whole(known, raw):
    with pytest.raises(InvalidValueError, match="canvas"):
        parse_outbox(raw, known, {})


BAR = {"id": "bar-1", "photo": "p1", "panel": "floor-left", "at": [[10, 20], [310, 20]], "lengthMm": 300}


def test_a_bar_is_set_changed_and_taken_off(known):
    longer = {"type": "scale_set", "scale": BAR | {"at": [[10, 20], [310, 60]], "lengthMm": 302.5}}
    taken = deliver(known, {"type": "scale_set", "scale": BAR}, longer, {"type": "scale_removed", "scale": "bar-1"})
    first, second, gone = taken.events
    assert isinstance(first, ScaleSet)
    np.testing.assert_array_equal(first.scale.at_px, [[10, 20], [310, 20]])
    assert (first.scale.photo, first.scale.panel, first.scale.length_mm) == ("p1", "floor-left", 300)
    assert isinstance(second, ScaleSet)
    np.testing.assert_array_equal(second.scale.at_px[1], [310, 60])
    assert second.scale.length_mm == 302.5
    assert gone == ScaleRemoved(gone.seq, ScaleId("bar-1"))
    assert known.scales == {}


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"at": [[10, 20]]}, "expected 2 to"),
        ({"at": [[10, 20], [10, 20], [30, 40]]}, "two ends"),
        ({"at": [[10, 20], [11, 20]]}, "two ends"),
        ({"at": [[10, 20], [9e9, 20]]}, "far outside"),
        ({"lengthMm": 0}, "length of a bar"),
        ({"lengthMm": True}, "length of a bar"),
        ({"lengthMm": math.nan}, "length of a bar"),
        ({"lengthMm": 1e6}, "length of a bar"),
        ({"lengthMm": "300"}, "length of a bar"),
        ({"panel": "roof"}, "no panel"),
        ({"photo": "p2"}, "not there any more"),
        ({"id": "a/b"}, "letters, digits"),
        ({"id": "board"}, "found again, not dragged"),
    ],
)
def test_what_is_no_bar_is_refused_with_a_sentence(known, change, told):
    board = np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 30.0]])
    known.scales[ScaleId("board")] = ScaleSighting(ScaleId("board"), "p1", "floor-left", board * 3, board)
    taken = deliver(known, {"type": "scale_set", "scale": BAR | change}, {"type": "scale_removed", "scale": "nobody"})
    assert taken.events == ()
    assert told in taken.refused[0].text
    assert "not there any more" in taken.refused[1].text
