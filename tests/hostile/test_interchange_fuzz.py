"""Documents changed at random: read, or refused with a sentence of ours; never a crash."""

from __future__ import annotations

import copy
import json
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corromap.errors import InterchangeError
from corromap.io.interchange import export_folder, read_folder
from tests.store_scene import full_file

JUNK = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**30), 10**30)
    | st.floats()
    | st.text(st.characters(), max_size=6)
    | st.sampled_from(["\ud800", "../x", "rust", "photo-1", "0" * 64, "m1", "drain", "floor", "NaN", "x" * 300]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["id", "file", "x", "kind"]), inner),
    max_leaves=5,
)


@pytest.fixture(scope="module")
def folder() -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as name:
        yield export_folder(full_file(Path(name)).path, Path(name) / "out")


@pytest.fixture(scope="module")
def document(folder: Path) -> dict[str, Any]:
    return json.loads((folder / "survey.json").read_text("utf-8"))


def places(value: Any, at: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    yield at
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, part in items:
        yield from places(part, (*at, key))


def read_or_refuse(folder: Path, text: bytes) -> None:
    with tempfile.TemporaryDirectory() as name:
        changed = Path(name) / "in"
        shutil.copytree(folder, changed)
        (changed / "survey.json").write_bytes(text)
        try:
            bundle = read_folder(changed)
        except InterchangeError as error:
            assert str(error).startswith("survey")  # noqa: PT017  # says where
        else:
            assert bundle.record.survey.photos is not None


@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_any_value_anywhere(folder: Path, document: dict[str, Any], data: st.DataObject) -> None:
    part = data.draw(st.sampled_from(["photos", "marks", "sightings", "notes", "log", "car", "settings", "template"]))
    way = (part, *data.draw(st.sampled_from(list(places(document[part])))))
    changed = copy.deepcopy(document)
    at = changed
    for step in way[:-1]:
        at = at[step]
    if data.draw(st.booleans()):
        at[way[-1]] = data.draw(JUNK)
    elif isinstance(at, dict):
        del at[way[-1]]
    else:
        at.insert(way[-1], data.draw(JUNK))
    read_or_refuse(folder, json.dumps(changed).encode())


@settings(max_examples=100, deadline=None)
@given(data=st.data())
def test_any_bytes_anywhere(folder: Path, data: st.DataObject) -> None:
    text = bytearray((folder / "survey.json").read_bytes())
    for _ in range(data.draw(st.integers(1, 3))):
        start = data.draw(st.integers(0, len(text) - 1))
        end = start + data.draw(st.integers(0, 3))
        text[start:end] = data.draw(st.binary(max_size=4) | st.sampled_from([b"[" * 50, b"1e999", b"-", b'"', b"\\u"]))
    read_or_refuse(folder, bytes(text))
