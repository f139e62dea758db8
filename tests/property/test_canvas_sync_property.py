"""Whatever the browser holds, applying the difference gives what Python shows."""

from __future__ import annotations

import json

from hypothesis import given
from hypothesis import strategies as st

from corromap.ui.canvas_sync import EntrySync

VIEWS = st.lists(
    st.tuples(
        st.dictionaries(st.sampled_from(["canvas", "mark/a", "mark/b", "photo/p"]), st.integers(0, 3)),
        st.booleans(),  # whether the browser reports what it holds before the next view
    ),
    max_size=25,
)


class Browser:
    """The rules of frontend/src/store.ts, written out again."""

    def __init__(self):
        self.snapshots, self.revision = {}, None

    def apply(self, sync):
        if sync["revision"] == self.revision:
            return
        base = {} if sync["base"] is None else self.snapshots[sync["base"]]
        entries = {key: value for key, value in base.items() if key not in sync["gone"]} | sync["put"]
        self.snapshots[sync["revision"]], self.revision = entries, sync["revision"]


@given(VIEWS)
def test_differences_rebuild_the_view(views):
    sync, browser, seen = EntrySync(), Browser(), None
    for entries, reports in views:
        for key, value in entries.items():
            sync.put(key, object(), lambda value=value: {"value": value})
        difference = json.loads(json.dumps(sync.difference(seen)))
        browser.apply(difference)
        assert browser.snapshots[browser.revision] == {key: {"value": value} for key, value in entries.items()}
        if reports:
            seen = browser.revision


def test_only_what_changed_travels_and_the_same_source_is_made_once():
    sync, made = EntrySync(), []
    kept, before, after = object(), object(), object()

    def show(changing, seen):
        for key, source in (("kept", kept), ("changing", changing)):
            sync.put(key, source, lambda key=key, source=source: made.append(key) or {"from": id(source)})
        return sync.difference(seen)

    whole = show(before, None)
    assert (whole["base"], sorted(whole["put"])) == (None, ["changing", "kept"])
    part = show(after, whole["revision"])
    assert (part["base"], list(part["put"]), part["gone"]) == (whole["revision"], ["changing"], [])
    assert made == ["kept", "changing", "changing"]
    same = show(after, part["revision"])
    assert (same["revision"], same["put"]) == (part["revision"], {})
    unknown = show(after, 1)
    assert (unknown["base"], len(unknown["put"])) == (None, 2), "a browser with another past gets everything"
