"""Whatever is broken in a template: it loads, or its faults are named; nothing else is ever raised."""

import copy
import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from corromap.errors import TemplateError
from corromap.io.package_data import data_path
from corromap.io.templates import check_template, parse_template, template_document

_WHOLE = json.loads(data_path("body_templates", "two-seat-open.json").read_text(encoding="utf-8"))
# a few panels that fold on one another keep each example quick
_KEPT = ("sill-left-inner", "sill-left-underside", "floor-left", "crossmember-left-front")
_PANELS = [
    {**panel, "folds": [fold for fold in panel["folds"] if fold["other"] in _KEPT], "features": panel["features"][:2]}
    for panel in _WHOLE["panels"]
    if panel["id"] in _KEPT
]
DOCUMENT = {**_WHOLE, "panels": _PANELS}

JUNK = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**6), 10**6),
    st.floats(-1e5, 1e5, allow_nan=False),
    st.sampled_from(["", "left", "floor-left", "below", "rust", "mm"]),
    st.just([]),
    st.just({}),
    st.lists(st.lists(st.floats(-2000, 2000, allow_nan=False), min_size=2, max_size=2), max_size=5),
)


def _paths(thing, here=()):
    yield here
    entries = thing.items() if isinstance(thing, dict) else enumerate(thing) if isinstance(thing, list) else ()
    for key, part in entries:
        yield from _paths(part, (*here, key))


PATHS = [path for path in _paths(DOCUMENT) if path]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(st.sampled_from(PATHS), JUNK), min_size=1, max_size=3))
def test_a_broken_template_is_refused_with_paths_or_is_sound(changes):
    document = copy.deepcopy(DOCUMENT)
    for path, value in changes:
        holder = document
        try:
            for step in path[:-1]:
                holder = holder[step]
            holder[path[-1]] = value
        except (KeyError, IndexError, TypeError):
            continue  # an earlier change took the place away
    faults = check_template(document)
    if not faults:
        assert check_template(template_document(parse_template(document))) == ()
        return
    with pytest.raises(TemplateError) as caught:
        parse_template(document)
    assert caught.value.faults == faults
    assert all(": " in fault for fault in faults)


@settings(max_examples=25, deadline=None)
@given(st.floats(-300, 300), st.floats(-300, 300), st.floats(-300, 300))
def test_a_fold_is_refused_exactly_when_it_opens_by_more_than_1_mm(dx, dy, dz):
    document = copy.deepcopy(DOCUMENT)
    underside = next(panel for panel in document["panels"] if panel["id"] == "sill-left-underside")
    underside["place"]["origin_mm"] = [
        a + b for a, b in zip(underside["place"]["origin_mm"], (dx, dy, dz), strict=True)
    ]
    faults = [fault for fault in check_template(document) if "do not meet" in fault]
    apart = (dx**2 + dy**2 + dz**2) ** 0.5
    assert bool(faults) == (apart > 1)
