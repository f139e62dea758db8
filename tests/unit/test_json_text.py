"""JSON read strictly, with the path to each fault."""

from __future__ import annotations

import pytest

from corromap.errors import InterchangeError
from corromap.io.json_text import MAX_DEPTH, canonical, parse


@pytest.mark.parametrize(
    ("text", "told"),
    [
        pytest.param('{"a": [1, NaN]}', r"survey\.a\[1\]: expected a finite number, found nan", id="nan"),
        pytest.param('{"a": -Infinity}', r"survey\.a: expected a finite number, found -inf", id="infinity"),
        pytest.param('{"a": {"b": 1e999}}', r"survey\.a\.b: expected a finite number, found inf", id="1e999"),
        pytest.param('{"a": [{"b": 1, "c": 2, "b": 3}]}', r"survey\.a\[0\]: key 'b' is given twice", id="twice"),
        pytest.param('{"a": "x\\ud800y"}', r"survey\.a: holds half a character .* 'x\\ud800y'", id="surrogate"),
        pytest.param('{"\\udc00": 1}', "half a character", id="surrogate key"),
        pytest.param("[" * 100_000, f"nested deeper than {MAX_DEPTH}", id="open depth bomb"),
        pytest.param("[" * 500 + "]" * 500, f"nested deeper than {MAX_DEPTH}", id="closed depth bomb"),
        pytest.param('{"a":' * 40 + "1" + "}" * 40, f"nested deeper than {MAX_DEPTH}", id="objects"),
        pytest.param("9" * 5000, "too many digits", id="digits"),
        pytest.param("[9007199254740993]", r"survey\[0\]: expected a number of at most 2\^53", id="2^53 + 1"),
        pytest.param("[" + "9" * 400 + ".5]", r"survey\[0\]: expected a finite number, found inf", id="long fraction"),
        pytest.param('{"a": 1,}', "not JSON at line 1, column", id="comma"),
        pytest.param("", "not JSON at line 1, column 1", id="empty"),
        pytest.param('{"a": "x\ny"}', "not JSON at line 1", id="raw newline"),
        pytest.param(b"\xff\xfe{\x00}\x00", "not UTF-8 text at byte 0", id="utf-16"),
        pytest.param(b'{"a": "\xed\xa0\x80"}', "not UTF-8 text at byte 7", id="encoded surrogate"),
    ],
)
def test_refused(text: str | bytes, told: str) -> None:
    with pytest.raises(InterchangeError, match=told):
        parse(text, "survey")


@pytest.mark.parametrize(
    "text",
    ["null", '"\\ud83d\\ude97"', '"\U0001f697"', "[]", "5e-324", "-0.0", '{"": {"": ""}}', "9007199254740992"],
)
def test_taken(text: str) -> None:
    assert canonical(parse(canonical(parse(text)))) == canonical(parse(text))


def test_byte_order_mark_is_taken() -> None:
    assert parse(b'\xef\xbb\xbf{"a": 1}') == {"a": 1}


@pytest.mark.parametrize("value", [float("nan"), [float("inf")], {"a": "\ud800"}])
def test_not_written(value: object) -> None:
    with pytest.raises(InterchangeError):
        canonical(value)
