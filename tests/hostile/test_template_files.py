"""Template files that are cut short, poisoned or not templates at all: each refused in one sentence."""

import json

import pytest

from corromap.errors import TemplateError
from corromap.io.package_data import data_path
from corromap.io.templates import load_template

TEXT = data_path("body_templates", "two-seat-open.json").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        pytest.param("", "not JSON at line 1, column 1", id="empty"),
        pytest.param(TEXT[: len(TEXT) // 2], r"body\.json: not JSON at line \d+, column \d+", id="cut short"),
        pytest.param(TEXT.replace("0.01", "NaN", 1), "scale_sigma: expected a finite number, found nan", id="NaN"),
        pytest.param(TEXT.replace("0.01", "1e999", 1), "scale_sigma: expected a finite number, found inf", id="1e999"),
        pytest.param(
            TEXT.replace('"unit": "mm"', '"unit": "mm", "unit": "inch"', 1), "key 'unit' is given twice", id="key twice"
        ),
        pytest.param("[" * 100_000, "nested deeper than 32 levels", id="depth bomb"),
        pytest.param('{"a": ' * 40 + "1" + "}" * 40, "nested deeper than 32 levels", id="deep object"),
        pytest.param(TEXT.replace("Small open", r"\ud800 open", 1), "lone surrogate", id="half a character"),
        pytest.param(
            TEXT.replace('"revision": ', '"revision": ' + "1" * 5000, 1), "too many digits", id="endless integer"
        ),
        pytest.param("[1, 2]", "not a body template: expected one JSON object at the top", id="list"),
        pytest.param("{}", "body template has 9 faults", id="empty object"),
        pytest.param('{"panels": {"a": 1}}', "body template has", id="panels are no list"),
        pytest.param('{"panels": [null, 3, "x", []]}', "body template has", id="panels are no panels"),
        pytest.param(TEXT.replace('"unit": "mm"', '"unit": "cubit"', 1), "unknown unit 'cubit'", id="unknown unit"),
    ],
)
def test_a_poisoned_file_is_refused(tmp_path, text, message):
    path = tmp_path / "body.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(TemplateError, match=message):
        load_template(path)


@pytest.mark.parametrize(
    ("data", "message"),
    [
        pytest.param(b"\xff\xd8\xff\xe0 JFIF", "not UTF-8 text at byte 0", id="a picture renamed"),
        pytest.param(TEXT.encode("utf-16"), "not UTF-8 text", id="UTF-16"),
        pytest.param(b" " * 5_000_001, "'body.json' is larger than 5 MB: not a body template", id="too large"),
    ],
)
def test_bytes_that_are_no_text_are_refused(tmp_path, data, message):
    path = tmp_path / "body.json"
    path.write_bytes(data)
    with pytest.raises(TemplateError, match=message):
        load_template(path)


def test_a_byte_order_mark_is_taken(tmp_path):
    path = tmp_path / "body.json"
    path.write_bytes(b"\xef\xbb\xbf" + TEXT.encode())
    assert load_template(path).id == "two-seat-open"


@pytest.mark.parametrize(
    "name",
    ["<script>alert(1)</script>", "\u202eruler", "Über 🚗 車", "=1+1"],
)
def test_names_are_kept_as_they_are(tmp_path, name):
    """Markup, right-to-left marks and emoji are data; whoever prints them escapes them."""
    document = json.loads(TEXT)
    document["panels"][0]["name"] = name
    path = tmp_path / "body.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    assert load_template(path).panels[0].name == name


@pytest.mark.parametrize("number", [1e308, -1e308, 20001])
def test_numbers_beyond_any_car_are_refused(tmp_path, number):
    document = json.loads(TEXT)
    document["panels"][3]["outline_mm"][0][0] = number
    path = tmp_path / "body.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    with pytest.raises(TemplateError, match=r"panels\[3\]\.outline_mm\[0\]\[0\]: expected at"):
        load_template(path)


def test_ids_cannot_climb_out_of_a_folder(tmp_path):
    document = json.loads(TEXT)
    document["id"] = "../../etc/passwd"
    path = tmp_path / "body.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    with pytest.raises(TemplateError, match="id: expected lower-case words joined by hyphens"):
        load_template(path)
