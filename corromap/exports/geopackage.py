"""The template with everything found on it as a GeoPackage, for a GIS.

GeoPackage 1.3 (OGC 12-128r17) by GDAL. Coordinates are millimetres of the map
sheet on which the panels lie side by side, seen from below: x to the right, y
up, the car's front at the top and its left on the right. They are in the reference
system -1 "undefined Cartesian" (OGC 12-128r17, 1.1.2): there is no place on
the earth to name.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from corromap.errors import OutputError
from corromap.evaluation import Evaluation
from corromap.exports.output import replaced_file
from corromap.frames import FloatArray, PanelId
from corromap.report.findings import mark_numbers
from corromap.template import BodyTemplate, Panel

__all__ = ["MAP_REFERENCE", "geopackage_layers", "write_geopackage"]

MAP_REFERENCE = -1
"""Undefined Cartesian."""


@dataclass(frozen=True, eq=False)
class Layer:
    """Features of one kind.

    Parameters
    ----------
    name : str
        Of the layer.
    geometry_type : str
        As GDAL writes it.
    shapes : list of shapely geometry
        On the sheet, mm.
    fields : dict of str to list
        One value a feature.
    """

    name: str
    geometry_type: str
    shapes: list[Any] = field(default_factory=list)
    fields: dict[str, list[Any]] = field(default_factory=dict)

    def add(self, shape: object, **values: object) -> None:
        """Add a feature."""
        self.shapes.append(shape)
        for name, value in values.items():
            self.fields.setdefault(name, []).append(value)


def geopackage_layers(evaluation: Evaluation) -> tuple[Layer, ...]:
    """Lay everything out on the sheet.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.

    Returns
    -------
    tuple of Layer
        Panels, zones, marks, seen, datum points, mountings, findings by hand;
        empty ones left out.
    """
    template = evaluation.template
    on_sheet = {panel.id: _mover(panel) for panel in template.panels}
    layers = (
        _panels(template, on_sheet),
        _zones(evaluation, on_sheet),
        _marks(evaluation, on_sheet),
        _seen(evaluation, on_sheet),
        _points(template, on_sheet),
        _mountings(template, on_sheet),
        _by_hand(evaluation, on_sheet),
    )
    return tuple(layer for layer in layers if layer.shapes)


def write_geopackage(evaluation: Evaluation, target: Path) -> None:
    """Write the layers as a GeoPackage.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    target : Path
        Ends in ``.gpkg``.

    Raises
    ------
    OutputError
        If the name ends otherwise or it cannot be written; an older file is
        untouched.
    """
    if target.suffix.lower() != ".gpkg":
        raise OutputError(f"'{target.name}': give the GeoPackage a name that ends in .gpkg")
    with replaced_file(target) as fresh:
        try:
            for layer in geopackage_layers(evaluation):
                _write(fresh, layer, append=fresh.exists())
        except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, pyogrio.errors.FeatureError) as error:
            raise OutputError(
                f"'{target.name}' could not be written: {error}; what stood there before is untouched"
            ) from error


def _write(path: Path, layer: Layer, *, append: bool) -> None:
    names = list(layer.fields)
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "'crs' was not provided")  # SRID says it
        pyogrio.raw.write(
            str(path),
            np.asarray(shapely.to_wkb(np.array(layer.shapes, dtype=object)), dtype=object),
            [_column(layer.fields[name]) for name in names],
            names,
            layer=layer.name,
            driver="GPKG",
            geometry_type=layer.geometry_type,
            crs=None,
            encoding="UTF-8",
            append=append,
            layer_options={"SRID": str(MAP_REFERENCE), "GEOMETRY_NAME": "shape"},
        )


def _column(values: Sequence[object]) -> NDArray[Any]:
    kinds = {type(value) for value in values}
    if kinds <= {bool}:
        return np.array(values, dtype=bool)
    if kinds <= {int}:
        return np.array(values, dtype=np.int64)
    if kinds <= {int, float, type(None)} and kinds & {int, float}:
        return np.array([np.nan if value is None else value for value in values], dtype=np.float64)
    return np.array(["" if value is None else _whole(str(value)) for value in values], dtype=object)


def _whole(text: str) -> str:
    """Text that UTF-8 can hold and that no reader takes to end early."""
    return text.replace("\0", "\ufffd").encode("utf-8", "backslashreplace").decode()


_Mover = Callable[[BaseGeometry], BaseGeometry]


def _mover(panel: Panel) -> _Mover:
    """Carry geometry of a panel to the sheet."""

    def carried(xy: FloatArray) -> FloatArray:
        return np.asarray(panel.map_frame.to_map(xy) * [1.0, -1.0], dtype=np.float64)  # drawings count y down

    def moved(shape: BaseGeometry) -> BaseGeometry:
        return shapely.transform(shape, carried)

    return moved


def _panels(template: BodyTemplate, on_sheet: dict[PanelId, _Mover]) -> Layer:
    layer = Layer("panels", "Polygon")
    for panel in template.panels:
        layer.add(
            on_sheet[panel.id](shapely.Polygon(panel.outline.exterior_mm)),
            panel=str(panel.id),
            name=panel.name,
            part=panel.part.value,
            side=panel.side.value,
            seen_from=panel.seen_from.value,
        )
    return layer


def _zones(evaluation: Evaluation, on_sheet: dict[PanelId, _Mover]) -> Layer:
    layer = Layer("zones", "Polygon")
    found = {measure.zone: measure for measure in evaluation.measures.zones}
    for panel in evaluation.template.panels:
        for zone in panel.zones:
            measure = found[zone.id]
            by_kind = {f"{kind.value}_mm2": measure.kinds[kind].area_mm2 for kind in measure.kinds if kind.is_affected}
            layer.add(
                on_sheet[panel.id](shapely.Polygon(zone.outline.exterior_mm)),
                zone=str(zone.id),
                name=zone.name,
                panel=str(panel.id),
                role=zone.role.value,
                sheet_mm=float(zone.sheet_mm),
                area_mm2=float(measure.area_mm2),
                affected_mm2=float(measure.affected.area_mm2),
                affected_low_mm2=float(measure.affected.low_mm2),
                affected_high_mm2=float(measure.affected.high_mm2),
                **{name: float(value) for name, value in by_kind.items()},
                seen_share=float(measure.seen_share),
                well_share=float(measure.well_share),
                hidden_share=float(measure.hidden_share),
                never_seen_share=float(measure.never_seen_share),
            )
    return layer


def _marks(evaluation: Evaluation, on_sheet: dict[PanelId, _Mover]) -> Layer:
    layer = Layer("marks", "MultiPolygon")
    numbers, photos = mark_numbers(evaluation), evaluation.survey.photo_by_id
    for projected in evaluation.projection.marks:
        mark = projected.mark
        layer.add(
            on_sheet[projected.panel](projected.area),
            mark=str(mark.id),
            number=numbers[mark.id],
            kind=mark.kind.value,
            stage=mark.stage.value if mark.stage else None,
            fixing=mark.fixing.value if mark.fixing else None,
            panel=str(projected.panel),
            photo=photos[mark.photo].name,
            area_mm2=float(projected.area.area),
            extrapolated_share=float(projected.extrapolated_share),
            note=mark.note,
        )
    return layer


def _seen(evaluation: Evaluation, on_sheet: dict[PanelId, _Mover]) -> Layer:
    layer = Layer("seen", "MultiPolygon")
    photos = evaluation.survey.photo_by_id
    for seen in evaluation.projection.seen:
        for area, is_hidden in ((seen.area, False), (seen.hidden, True)):
            if not area.is_empty:
                layer.add(
                    on_sheet[seen.panel](area),
                    photo=photos[seen.photo].name,
                    panel=str(seen.panel),
                    under_hidden_marks=is_hidden,
                )
    return layer


def _points(template: BodyTemplate, on_sheet: dict[PanelId, _Mover]) -> Layer:
    layer = Layer("datum_points", "Point")
    for panel in template.panels:
        for point in panel.datum_points:
            at = on_sheet[panel.id](shapely.Point(point.at_mm))
            layer.add(at, datum=str(point.id), name=point.name, description=point.description, panel=str(panel.id))
    return layer


def _mountings(template: BodyTemplate, on_sheet: dict[PanelId, _Mover]) -> Layer:
    layer = Layer("mountings", "Point")
    for panel in template.panels:
        for mounting in panel.mountings:
            at = on_sheet[panel.id](shapely.Point(mounting.at_mm))
            layer.add(at, mounting=str(mounting.id), name=mounting.name, kind=mounting.kind.value, panel=str(panel.id))
    return layer


def _by_hand(evaluation: Evaluation, on_sheet: dict[PanelId, _Mover]) -> Layer:
    layer = Layer("findings_by_hand", "Point")
    for found in evaluation.survey.hand_findings:
        if found.panel in on_sheet:
            at = on_sheet[found.panel](shapely.Point(found.at_mm))
            layer.add(
                at,
                finding=str(found.id),
                kind=found.kind.value,
                thickness_mm=found.thickness_mm,
                panel=str(found.panel),
                note=found.note,
                author=found.author,
                at=found.at,
            )
    return layer
