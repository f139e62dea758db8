"""Write ``cameras.json`` and ``truth.json`` beside the photos: where the cameras were and what is wrong, exactly.

Frames and units are in this folder's README.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import body
import shapely
from photos import SHOTS
from render import HERE, TEMPLATE, build_panels
from scene_marks import MARKS
from shapely.geometry.base import BaseGeometry

KINDS = ("rust", "filler", "patch", "hidden")


def mark_documents(panels: dict[str, body.Panel]) -> list[dict[str, Any]]:
    """Every mark with its true outline in panel millimetres."""
    found = []
    for mark in MARKS:
        area = panels[mark["panel"]].truth[mark["id"]]
        pieces = [p for p in shapely.get_parts(area) if p.geom_type == "Polygon"]
        found.append(
            {
                "id": mark["id"],
                "panel": mark["panel"],
                "kind": mark["kind"],
                "stage": mark.get("stage"),
                "fresh": mark.get("fresh"),
                "area_mm2": round(float(area.area), 1),
                "pieces": [
                    {
                        "exterior_mm": [[round(float(x), 1) for x in p] for p in piece.exterior.coords[:-1]],
                        "holes_mm": [[[round(float(x), 1) for x in p] for p in r.coords[:-1]] for r in piece.interiors],
                    }
                    for piece in pieces
                ],
            }
        )
    return found


def zone_areas(panels: dict[str, body.Panel], documents: list[dict[str, Any]]) -> dict[str, dict[str, float]]:
    """Union of the marks of a kind (and stage) in each zone, mm2; zones without any are left out."""
    table: dict[str, dict[str, float]] = {}
    for document in documents:
        marks = [m for m in MARKS if m["panel"] == document["id"]]
        if not marks:
            continue
        truth = panels[document["id"]].truth
        for zone in document["zones"]:
            ground = shapely.Polygon(zone["outline_mm"])
            row = {}
            for kind in KINDS:
                row[kind] = _area([truth[m["id"]] for m in marks if m["kind"] == kind], ground)
            for stage in ("surface", "scaled", "holed"):
                row[f"rust {stage}"] = _area([truth[m["id"]] for m in marks if m.get("stage") == stage], ground)
            row = {k: v for k, v in row.items() if v > 0}
            if row:
                table[zone["id"]] = {k: row.get(k, 0.0) for k in KINDS[:3]} | row
    return table


def _area(areas: list[BaseGeometry], ground: shapely.Polygon) -> float:
    return round(float(shapely.union_all(areas).intersection(ground).area), 1) if areas else 0.0


def _text(document: dict[str, Any]) -> str:
    """JSON with one line for each mark, zone or photo."""
    parts = []
    for key, value in document.items():
        if isinstance(value, dict):
            rows = ",\n".join(f"  {json.dumps(k)}: {json.dumps(v)}" for k, v in value.items())
            parts.append(f" {json.dumps(key)}: {{\n{rows}\n }}")
        elif isinstance(value, list):
            rows = ",\n".join(f"  {json.dumps(v)}" for v in value)
            parts.append(f" {json.dumps(key)}: [\n{rows}\n ]")
        else:
            parts.append(f" {json.dumps(key)}: {json.dumps(value)}")
    return "{\n" + ",\n".join(parts) + "\n}\n"


def main() -> None:
    """Write both files."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cache", type=Path)
    parser.add_argument("--out", type=Path, default=HERE.parents[1] / "demo_images")
    args = parser.parse_args()
    panels = build_panels(1.0, args.cache)
    documents = body.read_template(TEMPLATE)
    zones = zone_areas(panels, documents)
    truth = {
        "about": "Exact: the pictures were painted from these outlines. Panel millimetres of the body template. "
        "A patch ends at the outer toe of its weld bead. A hole lies inside its scaled rust; the union counts once.",
        "template": "two-seat-open",
        "zones": zones,
        "marks": mark_documents(panels),
    }
    shots = [s for s in SHOTS if (args.out / "photos" / f"{s.name}.jpg").exists()]
    cameras = {
        "about": "OpenCV pinhole with Brown-Conrady distortion: dist = k1, k2, p1, p2, k3. rvec and tvec_mm carry the "
        "car frame (ISO 8855: x forward, y left, z up, mm) to the camera frame (x right, y down, z forward). "
        "Pixel centres start at (0, 0).",
        "photos": {f"{s.name}.jpg": {"title": s.title, **s.camera.as_document()} for s in shots},
    }
    args.out.mkdir(parents=True, exist_ok=True)
    for name, document in (("truth.json", truth), ("cameras.json", cameras)):
        (args.out / name).write_text(_text(document), encoding="utf-8")
    print({k: sum(z.get(k, 0) for z in zones.values()) for k in KINDS})


if __name__ == "__main__":
    main()
