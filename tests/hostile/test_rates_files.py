"""Rates files that are wrong: what is said, with the line."""

from __future__ import annotations

import tomllib
from importlib import resources
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corromap.cli_tables import faults_of
from corromap.errors import RatesError
from corromap.io.rates import default_rates, holds_rates, load_rates, rates_from
from corromap.io.toml_lines import line_of

TEXT = resources.files("corromap.repair").joinpath("rates.toml").read_text(encoding="utf-8")
LINES = TEXT.splitlines()


def line_with(text: str) -> int:
    return LINES.index(text) + 1


def written(path: Path, text: str) -> Path:
    target = path / "mine.toml"
    target.write_text(text, encoding="utf-8")
    return target


def test_default_file_loads_from_disk(tmp_path: Path) -> None:
    assert load_rates(written(tmp_path, TEXT)) == default_rates()
    assert rates_from({}) == default_rates()


FAULTS = [
    ("unit", 'unit = "money/h"', 'unit = "furlong"', r"rate\.labour\.unit: expected 'money/h', found 'furlong'"),
    ("key", "[rate.seam]", "[rate.seem]", r"rate: unknown key 'seem'; known are labour"),
    ("range", "value = 50", "value = 5000", r"policy\.gap\.value: expected 0 to 500 mm, found 5000"),
    ("nan", "value = 50", "value = nan", r"policy\.gap\.value: expected 0 to 500 mm, found nan"),
    ("flag", "value = 50", "value = true", r"policy\.gap\.value: expected 0 to 500 mm, found True"),
    ("unknown", "value = 50", "colour = 3\nvalue = 50", r"policy\.gap: unknown key 'colour'"),
    ("order", "low = 60", "low = 160", r"rate\.labour: low 160 is more than high 110"),
    ("currency", 'currency = "EUR"', 'currency = "euro"', r"currency: expected three capital letters, found 'euro'"),
    ("version", "version = 1", "version = 0", r"version: expected a whole number from 1"),
    ("sheet", "up_to_mm = 1.5", "up_to_mm = 0.5", r"sheet 4\.up_to_mm: thinnest first: expected more than 1\.2"),
    ("text", 'name = "House rates"', 'name = " "', r"name: expected text of 1 to 2000 characters"),
]


@pytest.mark.parametrize(("old", "new", "message"), [pytest.param(*rest, id=name) for name, *rest in FAULTS])
def test_fault_is_told_with_its_line(tmp_path: Path, old: str, new: str, message: str) -> None:
    with pytest.raises(RatesError, match=message) as caught:
        load_rates(written(tmp_path, TEXT.replace(f"\n{old}\n", f"\n{new}\n", 1)))
    assert str(caught.value).startswith(f"rates file 'mine.toml', line {line_with(old)}: ")


def test_missing_unit_names_the_table(tmp_path: Path) -> None:
    text = TEXT.replace('unit = "h/plug"\n', "")
    with pytest.raises(RatesError, match=rf"line {line_with('[rate.plug]')}: rate\.plug: 'unit' is missing"):
        load_rates(written(tmp_path, text))


def test_missing_table_and_list() -> None:
    whole = default_rates().to_document()
    with pytest.raises(RatesError, match="'rate' is missing"):
        rates_from({key: value for key, value in whole.items() if key != "rate"})
    with pytest.raises(RatesError, match="sheet: expected at least one thickness"):
        rates_from({**whole, "sheet": []})
    with pytest.raises(RatesError, match="access: expected a table"):
        rates_from({**whole, "access": 3})


@pytest.mark.parametrize(
    ("data", "message"),
    [
        pytest.param(b"\xff\xfe", "is not UTF-8 text", id="bytes"),
        pytest.param(b"a = [", "is not TOML", id="not TOML"),
        pytest.param(b"a = 1\na = 2", "is not TOML", id="twice"),
        pytest.param(b"#" * 1_000_001, "larger than 1 MB", id="large"),
        pytest.param(b"a = " + b"[" * 100_000, "nested too deep|is not TOML", id="deep"),
        pytest.param(b"", "'id' is missing", id="empty"),
    ],
)
def test_bytes_that_are_no_rates(tmp_path: Path, data: bytes, message: str) -> None:
    target = tmp_path / "bad.toml"
    target.write_bytes(data)
    with pytest.raises(RatesError, match=message):
        load_rates(target)


def test_check_knows_rates_from_rules(tmp_path: Path) -> None:
    assert faults_of(written(tmp_path, TEXT)) == ()
    (fault,) = faults_of(written(tmp_path, TEXT.replace("[rate.seam]", "[rate.seem]")))
    assert "rate: unknown key 'seem'" in fault
    assert not holds_rates(tmp_path / "none.toml")


def test_no_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(RatesError, match=r"rates file 'none\.toml' cannot be read"):
        load_rates(tmp_path / "none.toml")
    with pytest.raises(RatesError, match="cannot be read"):
        load_rates(tmp_path)


def test_lines_of_keys() -> None:
    text = 'a = 1\n[b]\n"c d" = """x\n[e]\nf = 2\n"""\ng.h = 3\n[[l]]\nm = 1\n[[l]]\nm = 2\n'
    assert line_of(text, ("a",)) == 1
    assert line_of(text, ("b", "c d")) == 3
    assert line_of(text, ("e",)) is None, "inside a text"
    assert line_of(text, ("b", "g", "h")) == 7
    assert line_of(text, ("l", 2, "m")) == 11
    assert line_of(text, ("l", 2, "missing")) == 10


@settings(max_examples=60, deadline=None)
@given(st.integers(0, len(LINES) - 1), st.sampled_from(["", "x = 1", "[rate.more]", "low = -1", 'unit = ""', "low ="]))
def test_any_line_changed_loads_or_is_refused_in_words(number: int, new: str) -> None:
    text = "\n".join([*LINES[:number], new, *LINES[number + 1 :]])
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    try:
        rates_from(document)
    except RatesError as error:
        assert str(error)  # noqa: PT017
        assert line_of(text, error.path) is not None or not error.path  # noqa: PT017
