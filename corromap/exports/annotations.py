"""Marks as W3C Web Annotations (Recommendation of 23 February 2017), JSON-LD.

Each mark becomes an annotation on its photo with an SVG selector (4.2.7) in
pixels of the upright photo, and its rectangle as a fragment selector (4.2.1)
for readers that know no SVG. What the model has no words for, the places on
the panels in mm, stands in a body of its own.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from xml.sax.saxutils import quoteattr

import numpy as np
import shapely

from corromap import __version__
from corromap.evaluation import Evaluation
from corromap.exports.output import write_file
from corromap.frames import FloatArray, MarkId, PhotoId
from corromap.projection import ProjectedMark
from corromap.report.palette import look_of
from corromap.survey import Mark, Photo

__all__ = ["annotation_page", "write_annotations"]

CONTEXT = "http://www.w3.org/ns/anno.jsonld"
MEDIA_FRAGMENTS = "http://www.w3.org/TR/media-frags/"


def annotation_page(evaluation: Evaluation, photo_names: Mapping[PhotoId, str] | None = None) -> dict[str, object]:
    """Write every mark as an annotation.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    photo_names : mapping of PhotoId to str, optional
        File names beside the document; ``urn:sha256:`` of the photo otherwise.

    Returns
    -------
    dict
        An ``AnnotationPage``, ready for JSON. Blur marks are left out.
    """
    survey = evaluation.survey
    placed: dict[MarkId, list[ProjectedMark]] = {}
    for projected in evaluation.projection.marks:
        placed.setdefault(projected.mark.id, []).append(projected)
    items = [
        _annotation(mark, survey.photo_by_id[mark.photo], placed.get(mark.id, []), photo_names or {})
        for mark in survey.measured_marks
    ]
    return {
        "@context": CONTEXT,
        "id": f"urn:corromap:{survey.id}",
        "type": "AnnotationPage",
        "generator": {"type": "Software", "name": f"corromap {__version__}"},
        "items": items,
    }


def write_annotations(evaluation: Evaluation, target: Path, photo_names: Mapping[PhotoId, str] | None = None) -> None:
    """Write the annotations as a file.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    target : Path
        Usually ends in ``.jsonld``.
    photo_names : mapping, optional
        As for `annotation_page`.

    Raises
    ------
    OutputError
        If it cannot be written; an older file is untouched.
    """
    text = json.dumps(annotation_page(evaluation, photo_names), ensure_ascii=True, allow_nan=False, indent=1)
    write_file(target, text.encode("ascii"))


def _annotation(
    mark: Mark, photo: Photo, placed: list[ProjectedMark], photo_names: Mapping[PhotoId, str]
) -> dict[str, object]:
    bodies: list[dict[str, object]] = [
        {"type": "TextualBody", "purpose": "classifying", "format": "text/plain", "value": look_of(mark).label},
        {"type": "TextualBody", "purpose": "describing", "format": "application/json", "value": _places(mark, placed)},
    ]
    if mark.note:
        bodies.append({"type": "TextualBody", "purpose": "commenting", "format": "text/plain", "value": mark.note})
    return {
        "id": f"urn:corromap:mark:{mark.id}",
        "type": "Annotation",
        "motivation": "classifying",
        "body": bodies,
        "target": {
            "type": "SpecificResource",
            "source": photo_names.get(photo.id, f"urn:sha256:{photo.sha256}"),
            "selector": [_svg_selector(mark, photo), _rectangle(mark)],
        },
    }


def _places(mark: Mark, placed: list[ProjectedMark]) -> str:
    """JSON of what the model has no words for: kind, and the ground on each panel in mm."""
    document = {
        "kind": mark.kind.value,
        "stage": mark.stage.value if mark.stage else None,
        "fixing": mark.fixing.value if mark.fixing else None,
        "panels": [
            {
                "panel": p.panel,
                "frame": "panel, u and v in mm",
                "area_mm2": round(p.area.area, 1),
                "outlines_mm": [
                    [
                        np.round(shapely.get_coordinates(ring)[:-1], 2).tolist()
                        for ring in (part.exterior, *part.interiors)
                    ]
                    for part in p.area.geoms
                ],
            }
            for p in placed
        ],
    }
    return json.dumps(document, ensure_ascii=True, allow_nan=False)


def _rounded(ring: shapely.LinearRing) -> list[list[float]]:
    points: list[list[float]] = np.round(shapely.get_coordinates(ring)[:-1], 2).tolist()
    return points


def _svg_selector(mark: Mark, photo: Photo) -> dict[str, object]:
    rings = " ".join(_path(ring) for ring in (mark.outline.exterior_px, *mark.outline.holes_px))
    box = f"0 0 {photo.width_px} {photo.height_px}"
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox={quoteattr(box)}>'
        f'<path fill-rule="evenodd" d={quoteattr(rings)}/></svg>'
    )
    return {"type": "SvgSelector", "value": svg}


def _path(ring: FloatArray) -> str:
    """SVG counts from the corner of the first pixel, we from its centre."""
    points = " L ".join(f"{x + 0.5:.2f} {y + 0.5:.2f}" for x, y in ring)
    return f"M {points} Z"


def _rectangle(mark: Mark) -> dict[str, object]:
    low = np.floor(mark.outline.exterior_px.min(axis=0) + 0.5).astype(int)
    high = np.ceil(mark.outline.exterior_px.max(axis=0) + 0.5).astype(int)
    low = np.maximum(low, 0)
    (x, y), (width, height) = low.tolist(), np.maximum(high - low, 1).tolist()
    return {
        "type": "FragmentSelector",
        "conformsTo": MEDIA_FRAGMENTS,
        "value": f"xywh=pixel:{x},{y},{width},{height}",
    }
