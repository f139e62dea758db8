"""What a rule reads from the measures: value, 95 % interval, the marks behind it."""

from __future__ import annotations

from dataclasses import dataclass

from corromap.assessment.rules import MeasureName, Rule, Scope, Unit
from corromap.frames import MarkId, ZoneId
from corromap.measures import PRESCRIBED_DISTANCE_MM, Figure, GroupMeasure, Measures, MountingDistance, ZoneMeasure
from corromap.survey import MarkKind, RustStage
from corromap.template import BodyTemplate
from corromap.uncertainty import COVERAGE_FACTOR, add_gradients, sigma_of

__all__ = ["Reading", "readings"]

MM2_PER_CM2 = 100.0


@dataclass(frozen=True, slots=True)
class Reading:
    """One value that a rule judges.

    Parameters
    ----------
    zone : ZoneId or None
        The zone; None for the whole underside.
    value, low, high : float
        Central value and 95 % interval, in the rule's unit. Counts have no
        interval.
    marks : tuple of MarkId
        Marks the value comes from.
    """

    zone: ZoneId | None
    value: float
    low: float
    high: float
    marks: tuple[MarkId, ...]


def readings(rule: Rule, measures: Measures, template: BodyTemplate) -> tuple[Reading, ...]:
    """Read everything a rule applies to.

    Parameters
    ----------
    rule : Rule
        The rule.
    measures : Measures
        Of the survey.
    template : BodyTemplate
        Names the roles.

    Returns
    -------
    tuple of Reading
        One for each zone of the rule's roles, or one for the whole underside.
    """
    chosen = [z for z in measures.zones if template.zone_by_id[z.zone].role in rule.roles]
    if rule.scope is Scope.ZONE:
        return tuple(_of_zone(rule.measure, zone, measures) for zone in chosen)
    return (_of_all(rule.measure, chosen, measures),)


def _of_zone(name: MeasureName, zone: ZoneMeasure, measures: Measures) -> Reading:
    if name is MeasureName.NOT_SHOWN_SHARE:
        return _exactly(zone.zone, 100.0 * (zone.hidden_share + zone.never_seen_share), ())
    if name is MeasureName.NOT_SEEN_WELL_SHARE:
        return _exactly(zone.zone, 100.0 * (1.0 - zone.well_share), ())
    if name is MeasureName.PATCH_ON_PATCH:
        return _exactly(zone.zone, zone.patch_on_patch, zone.kinds[MarkKind.PATCH].marks)
    if name in {MeasureName.PATCHED_MOUNTINGS, MeasureName.RUSTED_MOUNTINGS}:
        marks = set(zone.affected.marks)
        return _mountings(name, zone.zone, [d for d in measures.near_mountings if d.mark in marks])
    return _of_measure(name, zone.zone, zone, measures)


def _of_all(name: MeasureName, zones: list[ZoneMeasure], measures: Measures) -> Reading:
    if name in {MeasureName.PATCHED_MOUNTINGS, MeasureName.RUSTED_MOUNTINGS}:
        marks = {mark for zone in zones for mark in zone.affected.marks}
        return _mountings(name, None, [d for d in measures.near_mountings if d.mark in marks])
    if name is MeasureName.NOT_SHOWN_SHARE:
        total = sum(zone.area_mm2 for zone in zones)
        hidden = sum((zone.hidden_share + zone.never_seen_share) * zone.area_mm2 for zone in zones)
        return _exactly(None, 100.0 * hidden / total if total else 100.0, ())
    if name is MeasureName.NOT_SEEN_WELL_SHARE:
        total = sum(zone.area_mm2 for zone in zones)
        unseen = sum((1.0 - zone.well_share) * zone.area_mm2 for zone in zones)
        return _exactly(None, 100.0 * unseen / total if total else 100.0, ())
    whole = next(group for group in measures.groups if group.id == "all")
    if name is MeasureName.PATCH_ON_PATCH:
        return _exactly(None, whole.patch_on_patch, whole.kinds[MarkKind.PATCH].marks)
    return _of_measure(name, None, whole, measures)


def _figure(name: MeasureName, measure: ZoneMeasure | GroupMeasure) -> Figure:
    table = {
        MeasureName.PATCH_COUNT: measure.kinds[MarkKind.PATCH],
        MeasureName.PATCH_SHARE: measure.kinds[MarkKind.PATCH],
        MeasureName.HOLED_COUNT: measure.stages[RustStage.HOLED],
        MeasureName.RUST_SHARE: measure.kinds[MarkKind.RUST],
        MeasureName.FILLER_AREA: measure.kinds[MarkKind.FILLER],
        MeasureName.AFFECTED_SHARE: measure.affected,
    }
    return table[name]


def _of_measure(
    name: MeasureName, zone: ZoneId | None, measure: ZoneMeasure | GroupMeasure, measures: Measures
) -> Reading:
    if name is MeasureName.SCALED_AREA:
        return _scaled(zone, measure, measures)
    figure = _figure(name, measure)
    if name in {MeasureName.PATCH_COUNT, MeasureName.HOLED_COUNT}:
        return _exactly(zone, figure.separate, figure.marks)
    if name.unit is Unit.PERCENT:
        low, value, high = figure.low_share, figure.share, figure.high_share
        return Reading(zone, 100.0 * value, 100.0 * low, 100.0 * high, figure.marks)
    low, value, high = figure.low_mm2, figure.area_mm2, figure.high_mm2
    return Reading(zone, value / MM2_PER_CM2, low / MM2_PER_CM2, high / MM2_PER_CM2, figure.marks)


def _scaled(zone: ZoneId | None, measure: ZoneMeasure | GroupMeasure, measures: Measures) -> Reading:
    # Stages hold each place once; scaled and holed are added, or a new hole would lower the figure
    parts = [measure.stages[RustStage.SCALED], measure.stages[RustStage.HOLED]]
    area = sum(part.area_mm2 for part in parts)
    sigma = sigma_of(add_gradients(part.gradient for part in parts), measures.sources)
    low = max(area - COVERAGE_FACTOR * sigma, 0.0)
    high = max(area, min(area + COVERAGE_FACTOR * sigma, measure.area_mm2))
    marks = tuple(dict.fromkeys(mark for part in parts for mark in part.marks))
    return Reading(zone, area / MM2_PER_CM2, low / MM2_PER_CM2, high / MM2_PER_CM2, marks)


def _mountings(name: MeasureName, zone: ZoneId | None, distances: list[MountingDistance]) -> Reading:
    near = [d for d in distances if d.distance_mm <= PRESCRIBED_DISTANCE_MM and _counts(name, d)]
    marks = tuple(dict.fromkeys(d.mark for d in near))
    return _exactly(zone, len({d.mounting for d in near}), marks)


def _counts(name: MeasureName, distance: MountingDistance) -> bool:
    if name is MeasureName.PATCHED_MOUNTINGS:
        return distance.kind is MarkKind.PATCH
    return distance.kind is MarkKind.RUST and distance.stage in {RustStage.SCALED, RustStage.HOLED}


def _exactly(zone: ZoneId | None, value: float, marks: tuple[MarkId, ...]) -> Reading:
    return Reading(zone, float(value), float(value), float(value), marks)
