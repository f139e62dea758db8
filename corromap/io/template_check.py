"""Every fault of a body template, each with the path to it.

The JSON Schema is asked first; what it cannot say is then checked on every
panel the schema found nothing wrong with, so that one run names all there is.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sized
from functools import cache
from typing import Any, cast

import jsonschema

from corromap.io.package_data import data_path
from corromap.io.template_geometry import SoundPanel, read_panel
from corromap.io.template_relations import relation_faults
from corromap.io.template_sections import section_faults
from corromap.template import BodyTemplate

__all__ = ["check_template", "template_notes"]

MAX_FAULTS = 200
"""Longest list given: beyond it a document is not a template with faults, but something else."""


def check_template(document: Mapping[str, Any]) -> tuple[str, ...]:
    """Name every fault of a template document.

    Parameters
    ----------
    document : mapping
        As read from JSON.

    Returns
    -------
    tuple of str
        Each starts with the path to the fault, for example
        ``panels[3].zones[1].outline_mm: overlaps zone 'floor-left-front'``.
        Empty when the template is usable. At most 200 are listed.
    """
    errors = list(_validator().iter_errors(document))
    faults = [fault for error in errors for fault in _sentences(error)]
    places = [tuple(error.absolute_path)[:2] for error in errors if len(error.absolute_path) > 1]
    broken, broken_sections = ({index for key, index in places if key == name} for name in ("panels", "sections"))
    listed = document.get("panels")
    panels: list[SoundPanel] = []
    for index, entry in enumerate(listed if isinstance(listed, list) else []):
        if index not in broken:
            panel, found = read_panel(entry, f"panels[{index}]")
            faults += found
            panels += [panel] if panel is not None else []
    if isinstance(listed, list):
        faults += relation_faults(panels, _ids(listed))
        faults += section_faults(document, panels, broken_sections)
    if len(faults) > MAX_FAULTS:
        faults = [*faults[:MAX_FAULTS], f"(root): {len(faults) - MAX_FAULTS} further faults are not listed"]
    return tuple(faults)


def template_notes(template: BodyTemplate) -> tuple[str, ...]:
    """Say what is allowed but worth knowing: ground that is in no zone, few datum points.

    Parameters
    ----------
    template : BodyTemplate
        A template without faults.

    Returns
    -------
    tuple of str
        One sentence each; never a reason to refuse the template.
    """
    notes = []
    for panel in template.panels:
        bare = 1 - sum(zone.area_mm2 for zone in panel.zones) / panel.outline.area_mm2
        if bare > 1e-4:
            notes.append(f"panel '{panel.id}': {100 * bare:.1f} % of it is in no zone and is never reported")
        points = len(template.datum_positions(panel.id))
        if points < 4:
            notes.append(f"panel '{panel.id}': {points} datum points; a photo needs 4 to be placed on it")
    return tuple(notes)


def _ids(listed: list[Any]) -> set[str]:
    """Every panel id that is there, sound or not: a fold to a faulty panel is not a fold to nowhere."""
    return {str(entry["id"]) for entry in listed if isinstance(entry, Mapping) and "id" in entry}


@cache
def _validator() -> jsonschema.Draft202012Validator:
    schema = json.loads(data_path("body_templates", "template.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(_inlined(schema, schema["$defs"]))


def _inlined(schema: Any, defs: Mapping[str, Any]) -> Any:  # noqa: ANN401 - any JSON value
    """Put definitions where they are referred to: looking them up took most of the time of a check."""
    if isinstance(schema, list):
        return [_inlined(part, defs) for part in schema]
    if not isinstance(schema, Mapping):
        return schema
    target = defs[schema["$ref"].removeprefix("#/$defs/")] if "$ref" in schema else {}
    merged = {**target, **{key: part for key, part in schema.items() if key not in {"$ref", "$defs"}}}
    return {key: _inlined(part, defs) for key, part in merged.items()}


def _path(error: jsonschema.ValidationError) -> str:
    text = "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in error.absolute_path)
    return text.lstrip(".") or "(root)"


def _sentences(error: jsonschema.ValidationError) -> list[str]:
    """Say one schema error in plain words; several when several keys are unknown."""
    path, found, wanted = _path(error), _short(error.instance), error.validator_value
    match str(error.validator):
        case "required":  # one error comes for each missing key; its text tells which
            texts = [f"'{error.message.split(chr(39))[1]}' is missing"]
        case "additionalProperties":  # one error comes for all of them
            known = _keys(_keys(error.schema)["properties"])
            texts = [f"unknown entry '{key:.60}'; remove it" for key in _keys(error.instance) if key not in known]
        case "const" if path == "unit":
            texts = [f"unknown unit {found}: every length must be in millimetres ('{wanted}')"]
        case "const" if path == "version":
            texts = [f"format version {found} is not one this program reads ({wanted}); a later corromap may"]
        case "enum":
            texts = [f"expected one of {', '.join(map(str, _list(wanted)))}; found {found}"]
        case "pattern":
            texts = [f"expected lower-case words joined by hyphens, found {found}"]
        case name if name in _EXPECTED:
            texts = [f"{_EXPECTED[name].format(_short(wanted).strip(chr(39)))}, found {_size(error)}"]
        case _:
            texts = [error.message[:200]]
    return [f"{path}: {text}" for text in texts]


_EXPECTED = {
    "const": "expected '{}'",
    "type": "expected {}",
    "minItems": "expected at least {} entries",
    "maxItems": "expected at most {} entries",
    "minimum": "expected at least {}",
    "maximum": "expected at most {}",
    "minLength": "expected at least {} characters",
    "maxLength": "expected at most {} characters",
}


def _size(error: jsonschema.ValidationError) -> str:
    """Return what was found: a length where a length was asked for, else the value itself."""
    if str(error.validator) in {"minItems", "maxItems", "minLength", "maxLength"}:
        return str(len(cast("Sized", error.instance)))
    return _short(error.instance)


def _keys(thing: object) -> Mapping[str, Any]:
    return thing if isinstance(thing, Mapping) else {}


def _list(thing: object) -> list[object]:
    return list(thing) if isinstance(thing, list) else []


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
