"""Body templates as JSON: read, check, write."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from corromap.errors import InterchangeError, InvalidValueError, TemplateError
from corromap.frames import DatumId, MountingId, PanelId, PanelOutline, ZoneId
from corromap.io import json_text
from corromap.io.package_data import data_path
from corromap.io.template_check import check_template, template_notes
from corromap.io.template_sections import read_section, section_document
from corromap.template import (
    BodyTemplate,
    DatumPoint,
    DatumShape,
    Feature,
    FeatureKind,
    Fold,
    Frame2D,
    Mounting,
    MountingKind,
    Panel,
    Part,
    Place,
    Role,
    SeenFrom,
    Side,
    Zone,
)

__all__ = [
    "FORMAT",
    "FORMAT_VERSION",
    "check_template",
    "list_templates",
    "load_template",
    "parse_template",
    "read_document",
    "template_document",
    "template_notes",
]

FORMAT = "corromap body template"
FORMAT_VERSION = 1

MAX_BYTES = 5_000_000
"""A template of ours has 0.2 MB; a larger file than this is not a template."""


def list_templates() -> tuple[tuple[str, str], ...]:
    """Id and name of every template that comes with the program.

    Returns
    -------
    tuple of (str, str)
        Sorted by id.
    """
    found = []
    for path in sorted(data_path("body_templates").glob("*.json")):
        if not path.name.endswith(".schema.json"):
            document = read_document(path)
            found.append((path.stem, str(document.get("name", path.stem))))
    return tuple(found)


def load_template(source: str | Path) -> BodyTemplate:
    """Load a template by its id, or from a file of the person's own.

    Parameters
    ----------
    source : str or pathlib.Path
        The id of a packaged template, or a path to a JSON file.

    Returns
    -------
    BodyTemplate
        Checked.

    Raises
    ------
    TemplateError
        If there is no such template, it cannot be read, or it has faults; all
        are listed.
    """
    ids = [path.stem for path in data_path("body_templates").glob("*.json") if path.suffixes == [".json"]]
    if isinstance(source, str) and source in ids:
        return parse_template(read_document(data_path("body_templates", f"{source}.json")))
    path = Path(source)
    if not path.is_file():
        raise TemplateError(f"no body template '{source}': give a JSON file, or one of {', '.join(sorted(ids))}")
    return parse_template(read_document(path))


def parse_template(document: Mapping[str, Any]) -> BodyTemplate:
    """Build a template from its document.

    Parameters
    ----------
    document : mapping
        As read from JSON.

    Returns
    -------
    BodyTemplate
        Checked.

    Raises
    ------
    TemplateError
        If it has faults; `TemplateError.faults` lists all of them.
    """
    try:
        text = json.dumps(document)
    except (TypeError, ValueError):  # made by a program, not read from JSON
        return _checked(document)
    return _parsed(text)


@lru_cache(maxsize=8)
def _parsed(text: str) -> BodyTemplate:
    """Check and build once: a survey brings its own copy of a template that is mostly the packaged one, word for word.

    What is kept cannot be changed, and a document with faults is looked at anew each time.
    """
    return _checked(json.loads(text))


def _checked(document: Mapping[str, Any]) -> BodyTemplate:
    faults = check_template(document)
    if faults:
        more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
        raise TemplateError(f"body template has {len(faults)} faults: {faults[0]}{more}", faults)
    try:
        return _build(document)
    except InvalidValueError as error:
        raise TemplateError(f"body template: {error}", (str(error),)) from error


def read_document(path: Path) -> dict[str, Any]:
    """Read the JSON of a template strictly, without checking that it is one.

    Parameters
    ----------
    path : pathlib.Path
        The file.

    Returns
    -------
    dict
        Its content.

    Raises
    ------
    TemplateError
        If the file cannot be read, is larger than `MAX_BYTES`, or is not JSON
        as `corromap.io.json_text.parse` takes it.
    """
    try:
        if path.stat().st_size > MAX_BYTES:
            raise TemplateError(f"'{path.name}' is larger than {MAX_BYTES // 1_000_000} MB: not a body template")
        data = path.read_bytes()
    except OSError as error:
        raise TemplateError(f"'{path.name}' cannot be read: {error.strerror}") from error
    try:
        document = json_text.parse(data, path.name)
    except InterchangeError as error:
        raise TemplateError(str(error), (str(error),)) from error
    if not isinstance(document, dict):
        raise TemplateError(f"'{path.name}' is not a body template: expected one JSON object at the top")
    return document


def _build(document: Mapping[str, Any]) -> BodyTemplate:
    return BodyTemplate(
        id=document["id"],
        name=document["name"],
        description=document["description"],
        revision=int(document["revision"]),
        scale_sigma=float(document["scale_sigma"]),
        panels=tuple(_panel(panel) for panel in document["panels"]),
        sections=tuple(read_section(section) for section in document.get("sections", ())),
    )


def _panel(panel: Mapping[str, Any]) -> Panel:
    panel_id = PanelId(panel["id"])
    place, on_map = panel["place"], panel["map"]
    return Panel(
        id=panel_id,
        name=panel["name"],
        part=Part(panel["part"]),
        side=Side(panel["side"]),
        seen_from=SeenFrom(panel["seen_from"]),
        outline=_outline(panel_id, panel),
        place=Place(place["origin_mm"], place["u_axis"], place["v_axis"]),
        map_frame=Frame2D(on_map["origin_mm"], on_map["u_axis"], on_map["v_axis"]),
        zones=tuple(_zone(panel_id, zone) for zone in panel["zones"]),
        datum_points=tuple(_datum(datum) for datum in panel.get("datum_points", ())),
        mountings=tuple(_mounting(mounting) for mounting in panel.get("mountings", ())),
        folds=tuple(
            Fold(PanelId(fold["other"]), fold["edge_mm"], fold["other_edge_mm"]) for fold in panel.get("folds", ())
        ),
        covers=tuple(PanelId(other) for other in panel.get("covers", ())),
        features=tuple(Feature(FeatureKind(line["kind"]), line["line_mm"]) for line in panel.get("features", ())),
    )


def _outline(panel_id: PanelId, thing: Mapping[str, Any]) -> PanelOutline:
    return PanelOutline(panel_id, thing["outline_mm"], tuple(thing.get("holes_mm", ())))


def _zone(panel_id: PanelId, zone: Mapping[str, Any]) -> Zone:
    return Zone(
        id=ZoneId(zone["id"]),
        name=zone["name"],
        role=Role(zone["role"]),
        sheet_mm=float(zone["sheet_mm"]),
        prominence=int(zone["prominence"]),
        outline=_outline(panel_id, zone),
    )


def _datum(datum: Mapping[str, Any]) -> DatumPoint:
    return DatumPoint(
        DatumId(datum["id"]), datum["name"], datum["description"], DatumShape(datum["shape"]), datum["at_mm"]
    )


def _mounting(mounting: Mapping[str, Any]) -> Mounting:
    return Mounting(MountingId(mounting["id"]), mounting["name"], MountingKind(mounting["kind"]), mounting["at_mm"])


def template_document(template: BodyTemplate) -> dict[str, Any]:
    """Write a template as the document it is read from.

    Parameters
    ----------
    template : BodyTemplate
        The template.

    Returns
    -------
    dict
        Plain values only; `parse_template` of it gives the same template.
    """
    return {
        "$schema": "template.schema.json",
        "format": FORMAT,
        "version": FORMAT_VERSION,
        "id": template.id,
        "name": template.name,
        "description": template.description,
        "revision": template.revision,
        "unit": "mm",
        "scale_sigma": template.scale_sigma,
        "panels": [_panel_document(panel) for panel in template.panels],
        **({"sections": [section_document(section) for section in template.sections]} if template.sections else {}),
    }


def _panel_document(panel: Panel) -> dict[str, Any]:
    return {
        "id": panel.id,
        "name": panel.name,
        "part": panel.part.value,
        "side": panel.side.value,
        "seen_from": panel.seen_from.value,
        **_outline_document(panel.outline),
        "place": _frame_document(panel.place),
        "map": _frame_document(panel.map_frame),
        "zones": [_zone_document(zone) for zone in panel.zones],
        "datum_points": [
            {
                "id": datum.id,
                "name": datum.name,
                "description": datum.description,
                "shape": datum.shape.value,
                "at_mm": datum.at_mm.tolist(),
            }
            for datum in panel.datum_points
        ],
        "mountings": [
            {"id": m.id, "name": m.name, "kind": m.kind.value, "at_mm": m.at_mm.tolist()} for m in panel.mountings
        ],
        "folds": [
            {"other": f.other, "edge_mm": f.edge_mm.tolist(), "other_edge_mm": f.other_edge_mm.tolist()}
            for f in panel.folds
        ],
        "covers": list(panel.covers),
        "features": [{"kind": f.kind.value, "line_mm": f.line_mm.tolist()} for f in panel.features],
    }


def _zone_document(zone: Zone) -> dict[str, Any]:
    return {
        "id": zone.id,
        "name": zone.name,
        "role": zone.role.value,
        "sheet_mm": zone.sheet_mm,
        "prominence": zone.prominence,
        **_outline_document(zone.outline),
    }


def _outline_document(outline: PanelOutline) -> dict[str, Any]:
    document: dict[str, Any] = {"outline_mm": outline.exterior_mm.tolist()}
    if outline.holes_mm:
        document["holes_mm"] = [hole.tolist() for hole in outline.holes_mm]
    return document


def _frame_document(frame: Place | Frame2D) -> dict[str, Any]:
    return {
        "origin_mm": frame.origin_mm.tolist(),
        "u_axis": frame.u_axis.tolist(),
        "v_axis": frame.v_axis.tolist(),
    }
