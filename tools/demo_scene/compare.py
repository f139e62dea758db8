"""Compare ``survey.json``, drawn by looking at the photos, with the truth: sightings in px, areas by zone in cm2.

Only prints; nothing in the survey is ever moved to where the truth says.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import shapely
from body import read_template
from render import HERE, TEMPLATE


def datum_places() -> dict[str, np.ndarray]:
    """Every datum point in the car frame."""
    places = {}
    for panel in read_template(TEMPLATE):
        o, u, v = (np.array(panel["place"][k], float) for k in ("origin_mm", "u_axis", "v_axis"))
        for d in panel["datum_points"]:
            places[d["id"]] = o + d["at_mm"][0] * u + d["at_mm"][1] * v
    return places


def sighting_errors(survey: dict[str, Any], cameras: dict[str, Any]) -> list[tuple[str, str, float, float]]:
    """Photo, datum, and clicked minus projected (x, y) px for every sighting."""
    places, files = datum_places(), {p["id"]: p["file"] for p in survey["photos"]}
    rows = []
    for s in survey["sightings"]:
        c = cameras["photos"][files[s["photo"]]]
        rvec, tvec, k, dist = (np.array(c[n], float) for n in ("rvec", "tvec_mm", "K", "dist"))
        at = np.asarray(cv2.projectPoints(places[s["datum"]].reshape(1, 1, 3), rvec, tvec, k, dist)[0]).reshape(2)
        dx, dy = np.array(s["at_px"]) - at
        rows.append((s["photo"], s["datum"], float(dx), float(dy)))
    return rows


def outline_scores(
    survey: dict[str, Any], cameras: dict[str, Any], truth: dict[str, Any]
) -> list[tuple[str, str, float]]:
    """Photo, mark and the best overlap (IoU, in pixels) with a true mark of its kind."""
    panels = {p["id"]: p for p in read_template(TEMPLATE)}
    files = {p["id"]: p["file"] for p in survey["photos"]}
    rows = []
    for m in survey["marks"]:
        drawn = shapely.make_valid(shapely.Polygon(m["outline"]["exterior_px"]))
        best = 0.0
        for t in truth["marks"]:
            if t["kind"] != m["kind"] or (m.get("stage") and t["stage"] != m["stage"]):
                continue
            place = panels[t["panel"]]["place"]
            area = shapely.union_all(
                [_to_px(p["exterior_mm"], place, cameras["photos"][files[m["photo"]]]) for p in t["pieces"]]
            )
            both = area.intersection(drawn).area
            best = max(best, both / max(area.union(drawn).area, 1e-9))
        rows.append((m["photo"], m.get("id", ""), best))
    return rows


def _to_px(ring: list[list[float]], place: dict[str, Any], camera: dict[str, Any]) -> shapely.Geometry:
    o, u, v = (np.array(place[k], float) for k in ("origin_mm", "u_axis", "v_axis"))
    uv = np.array(ring)
    world = o + uv[:, :1] * u + uv[:, 1:] * v
    rvec, tvec, k, dist = (np.array(camera[n], float) for n in ("rvec", "tvec_mm", "K", "dist"))
    depth = (cv2.Rodrigues(rvec)[0] @ world.T).T[:, 2] + tvec[2]
    if (depth < 50).any():
        return shapely.Polygon()
    px = cv2.projectPoints(world.reshape(-1, 1, 3), rvec, tvec, k, dist)[0].reshape(-1, 2)
    return shapely.make_valid(shapely.Polygon(px)).intersection(
        shapely.box(0, 0, camera["width_px"], camera["height_px"])
    )


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--folder", type=Path, default=HERE.parents[1] / "demo_images")
    args = parser.parse_args()
    survey, cameras, truth = (
        json.loads((args.folder / n).read_text(encoding="utf-8")) for n in ("survey.json", "cameras.json", "truth.json")
    )
    rows = sighting_errors(survey, cameras)
    size = np.array([np.hypot(dx, dy) for *_, dx, dy in rows])
    for (photo, datum, dx, dy), e in zip(rows, size, strict=True):
        print(f"{photo:10s} {datum:52s} {dx:7.1f} {dy:7.1f}  {e:6.1f}{'  <--' if e > 6 else ''}")
    print(
        f"{len(size)} sightings: median {np.median(size):.2f} px, 90 % within {np.quantile(size, 0.9):.2f}, "
        f"largest {size.max():.1f}"
    )
    for photo, mark, best in outline_scores(survey, cameras, truth):
        print(f"{photo:10s} {mark:30s} overlap with the truth in the picture {best:.2f}")


if __name__ == "__main__":
    main()
