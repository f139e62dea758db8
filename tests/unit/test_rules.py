"""Rule sets: reading, refusing, naming departures."""

from __future__ import annotations

import copy
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from corromap.assessment import MeasureName, OutcomeKind, RuleSet, Unit
from corromap.errors import OutputError, RuleSetError
from corromap.io.rules import default_rules, load_rules, parse_rules, rules_text, write_rules


@pytest.fixture
def document() -> dict[str, Any]:
    return copy.deepcopy(default_rules().to_document())


def test_default_set_survives_a_round_trip(document: dict[str, Any]) -> None:
    assert RuleSet.from_document(document) == default_rules()


def test_too_many_patches_family_has_its_members() -> None:
    family = [rule for rule in default_rules().rules if rule.family == "too many patches"]
    assert {rule.measure for rule in family} >= {
        MeasureName.PATCH_COUNT,
        MeasureName.PATCH_SHARE,
        MeasureName.PATCH_ON_PATCH,
        MeasureName.PATCH_ON_SEAM,
        MeasureName.PATCHES_AT_MOUNTING,
        MeasureName.PATCHES_PER_METRE,
    }
    assert all(rule.house_rule for rule in family), "no published rule sets a number of patches"
    assert all(rule.source.startswith("common practice") for rule in family)
    assert all(rule.outcome in {OutcomeKind.STOP, OutcomeKind.REPAIR} for rule in family)


def test_prescribed_distance_is_named_with_its_source() -> None:
    near = [rule for rule in default_rules().rules if rule.family == "near a mounting"]
    assert all("30 cm" in rule.source and not rule.house_rule for rule in near)


def test_every_rule_has_a_source() -> None:
    assert all(rule.source for rule in default_rules().rules)


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        pytest.param("measure", "patch mood", r"rule 1 \('patches-in-zone'\)\.measure: expected one of", id="measure"),
        pytest.param("unit", "%", r"unit: 'patch count' is given in 'pieces', found '%'", id="wrong unit"),
        pytest.param(
            "unit",
            "furlong",
            r"unit: expected one of 'pieces', '%', 'cm2', 'mm', 'per m'; found 'furlong'",
            id="no unit",
        ),
        pytest.param("at_least", 0, r"at_least: expected more than 0", id="zero"),
        pytest.param("at_least", float("nan"), r"at_least: expected more than 0", id="nan"),
        pytest.param("at_least", True, r"at_least: expected more than 0", id="flag for number"),
        pytest.param("at_least", "4", r"at_least: expected more than 0", id="text for number"),
        pytest.param("outcome", "clear", r"a rule cannot ask for 'clear'", id="clear"),
        pytest.param("outcome", "not shown", r"'not shown' goes with the measures 'not shown share'", id="not shown"),
        pytest.param("roles", [], r"roles: expected a list of roles", id="no roles"),
        pytest.param("roles", ["chief"], r"roles: expected one of 'primary'", id="role"),
        pytest.param("sentence", "{zone.__class__}", r"unknown field '\{zone\.__class__\}'", id="attribute"),
        pytest.param("sentence", "{value!r}", r"unknown field", id="conversion"),
        pytest.param("sentence", "{", r"sentence: ", id="brace"),
        pytest.param("source", " ", r"source: expected text", id="no source"),
        pytest.param("house_rule", "yes", r"house_rule: expected true or false", id="flag"),
    ],
)
def test_fault_is_named_with_its_place(document: dict[str, Any], field: str, value: object, message: str) -> None:
    document["rule"][0][field] = value
    with pytest.raises(RuleSetError, match=message):
        RuleSet.from_document(document)


def test_missing_and_unknown_fields(document: dict[str, Any]) -> None:
    del document["rule"][2]["unit"]
    with pytest.raises(RuleSetError, match=r"rule 3 \('affected-share-of-zone'\): 'unit' is missing"):
        RuleSet.from_document(document)
    document["rule"][2]["unit"] = "%"
    document["rule"][2]["colour"] = "red"
    with pytest.raises(RuleSetError, match="unknown field 'colour'"):
        RuleSet.from_document(document)


def test_share_above_a_hundred_per_cent(document: dict[str, Any]) -> None:
    document["rule"][1]["at_least"] = 101
    with pytest.raises(RuleSetError, match="at most 100 %"):
        RuleSet.from_document(document)


def test_same_id_twice(document: dict[str, Any]) -> None:
    document["rule"][1] = dict(document["rule"][0])
    with pytest.raises(RuleSetError, match="id 'patches-in-zone' is used twice"):
        RuleSet.from_document(document)


def test_departures_are_said(document: dict[str, Any]) -> None:
    assert default_rules().departures_from(default_rules()) == ()
    document["rule"][0]["at_least"] = 6
    left_out = document["rule"].pop(1)["title"]
    said = RuleSet.from_document(document).departures_from(default_rules())
    assert set(said) == {
        f"'{left_out}' is left out",
        "'Separate patches in one load-bearing zone': from 6 pieces instead of from 4 pieces",
    }


@pytest.mark.parametrize("name", list(MeasureName))
def test_each_measure_has_a_unit(name: MeasureName) -> None:
    assert isinstance(name.unit, Unit)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        pytest.param(b"a = 1\nid = \n", r"rule file 'mine\.toml' is not TOML: .*line 2", id="not toml"),
        pytest.param(b"\xff\xfe", r"'mine\.toml' is not UTF-8 text \(byte 0\)", id="not text"),
        pytest.param(b"id = 'x'\n", r"'mine\.toml': rule set: 'name' is missing", id="bare"),
        pytest.param(b"# x\n" * 300_000, r"larger than 1 MB", id="large"),
    ],
)
def test_rule_file_faults(tmp_path: Path, content: bytes, message: str) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(content)
    with pytest.raises(RuleSetError, match=message):
        load_rules(path)


def test_rule_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(RuleSetError, match=r"'none\.toml' cannot be read: No such file"):
        load_rules(tmp_path / "none.toml")


RULE = """id = "mine"
name = "Mine"
version = 1

[[rule]]
id = "a"
family = "f"
title = "T"
measure = "patch count"
at_least = 4
unit = "pieces"
scope = "zone"
roles = ["primary"]
outcome = "stop"
sentence = "{zone}: {value}"
source = "common practice"
house_rule = true
"""


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        pytest.param(
            '"patch count"', '"patch mood"', r"'mine\.toml', line 9: rule 1 \('a'\)\.measure: expected", id="measure"
        ),
        pytest.param('unit = "pieces"\n', "", r"'mine\.toml', line 5: rule 1 \('a'\): 'unit' is missing", id="no unit"),
        pytest.param("at_least = 4", "at_least = -1", r"line 10: rule 1 .*\.at_least: expected", id="range"),
        pytest.param("at_least = 4", "at_least = 4\nhue = 1", r"line 11: rule 1 .*unknown field 'hue'", id="hue"),
        pytest.param("version = 1", "version = 0", r"line 3: rule set\.version: expected a whole number", id="version"),
        pytest.param('"T"', '"""\n[[rule]]\nT"""\nx = 1', r"line 11: rule 1 \('a'\): unknown field 'x'", id="quoted"),
        pytest.param('"{zone}: {value}"', '"{car}"', r"line 15: rule 1 .*unknown field '\{car\}'", id="sentence"),
        pytest.param('scope = "zone"', 'scope = "all"', r"line 13: rule 1 .*one role or all three", id="roles"),
        pytest.param('"patch count"\n', '"door gap change"\n', r"line 11: .*given in 'mm'", id="unit of the measure"),
    ],
)
def test_a_faulty_rule_file_names_the_line(tmp_path: Path, old: str, new: str, message: str) -> None:
    text = RULE.replace(old, new)
    if "one role" in message:
        text = text.replace('["primary"]', '["primary", "closing"]')
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(RuleSetError, match=message):
        load_rules(path)


def test_the_second_of_two_equal_ids_is_named(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(RULE + RULE[RULE.index("[[rule]]") :], encoding="utf-8")
    with pytest.raises(RuleSetError, match=r"line 19: rule set: id 'a' is used twice"):
        load_rules(path)


def test_inline_rules_have_no_line(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text('id = "m"\nname = "M"\nversion = 1\nrule = [{id = "a"}]\n', encoding="utf-8")
    with pytest.raises(RuleSetError, match=r"'mine\.toml': rule 1 \('a'\): 'at_least' is missing"):
        load_rules(path)


def test_a_rule_that_only_sums_over_all_is_refused_zone_by_zone(document: dict[str, Any]) -> None:
    document["rule"][0] |= {"measure": "open sill length", "unit": "mm"}
    with pytest.raises(RuleSetError, match=r"scope: 'open sill length' is read over the whole underside"):
        RuleSet.from_document(document)


def test_written_as_toml_and_read_back(tmp_path: Path) -> None:
    rules = default_rules()
    odd = replace(rules, name='Odd "name" \\ \x7f\t\u2028 ß', rules=rules.rules[::-1])
    for given in (rules, odd):
        assert parse_rules(rules_text(given).encode(), "x.toml") == given
    path = tmp_path / "mine.toml"
    write_rules(rules, path)
    assert load_rules(path) == rules
    with pytest.raises(OutputError, match=r"'mine\.toml' is there already"):
        write_rules(rules, path)


def test_every_measure_can_be_read_by_a_rule(document: dict[str, Any]) -> None:
    """Every measure, in every scope it allows, reads a survey with nothing in it."""
    from corromap.assessment import assess  # noqa: PLC0415
    from corromap.evaluation import evaluate  # noqa: PLC0415
    from tests.unit.surveys import TEMPLATE, survey_of  # noqa: PLC0415

    entries: list[dict[str, Any]] = []
    for name in MeasureName:
        roles, outcome = ["primary", "secondary", "closing"], "not shown" if name.is_evidence else "repair"
        what = {"measure": name.value, "unit": name.unit.value, "roles": roles, "outcome": outcome}
        entries += [document["rule"][0] | what | {"id": f"{name} {s}", "scope": s.value} for s in name.scopes]
    rules = RuleSet.from_document(document | {"rule": entries})
    found = evaluate(survey_of([]), TEMPLATE, rules)
    by_rule = {result.rule.id for result in found.assessment.results}
    assert by_rule == {rule.id for rule in rules.rules}
    assert assess(found.measures, TEMPLATE, rules).results == found.assessment.results


def test_a_rule_for_some_zones_reads_no_others(document: dict[str, Any]) -> None:
    from corromap.evaluation import evaluate  # noqa: PLC0415
    from tests.unit.surveys import TEMPLATE, survey_of  # noqa: PLC0415

    document["rule"][0]["zones"] = ["sill-left-*", "floor-left-middle"]
    rules = RuleSet.from_document(document)
    assert RuleSet.from_document(rules.to_document()) == rules
    assert parse_rules(rules_text(rules).encode(), "x.toml") == rules
    found = evaluate(survey_of([]), TEMPLATE, rules).assessment.results
    read = {result.zone for result in found if result.rule.id == document["rule"][0]["id"]}
    assert read == {z.id for z in TEMPLATE.zones if z.id.startswith("sill-left-") or z.id == "floor-left-middle"}
    assert "is worded or applied differently" in rules.departures_from(default_rules())[0]


@pytest.mark.parametrize(
    ("number", "zones", "message"),
    [
        (0, "sill", r"zones: expected a list of zone ids"),
        (0, ["*sill"], r"zones: expected a zone id such as 'floor-left' or 'sill-\*', found '\*sill'"),
        (0, [3], r"zones: expected a zone id"),
        (3, ["sill-*"], r"zones: zones can be named only where scope is 'zone'"),
    ],
)
def test_zones_of_a_rule_are_checked(document: dict[str, Any], number: int, zones: object, message: str) -> None:
    document["rule"][number]["zones"] = zones
    with pytest.raises(RuleSetError, match=message):
        RuleSet.from_document(document)
