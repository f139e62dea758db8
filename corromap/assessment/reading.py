"""What a rule reads from the measures: value, 95 % interval, the marks behind it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from corromap.assessment.measure_names import MeasureName, Scope, Unit
from corromap.assessment.rules import Rule
from corromap.by_hand import ShellKind
from corromap.frames import HandFindingId, MarkId, ShellCheckId, ZoneId
from corromap.measures import PRESCRIBED_DISTANCE_MM, Figure, GroupMeasure, Measures, MountingDistance, ZoneMeasure
from corromap.measures.structure import Continuity, Counted, HandMeasure
from corromap.survey import MarkKind, RustStage
from corromap.template import BodyTemplate, Role
from corromap.uncertainty import COVERAGE_FACTOR, add_gradients, sigma_of

__all__ = ["Reading", "readings"]

MM2_PER_CM2 = 100.0

Place = ZoneMeasure | GroupMeasure


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
    findings : tuple of HandFindingId
        Findings by hand it comes from.
    checks : tuple of ShellCheckId
        Checks of the shell it comes from.
    place : str
        Where, if that is neither a zone nor the whole: a sill, a mounting, a
        corner of the car.
    is_known : bool
        False where nobody looked: then the value is 0 and says nothing.
    seen_well : float
        Share of the ground it is about that was seen well enough to judge.
    ground_mm2 : float
        That ground's area; 0 where it is not about ground.
    """

    zone: ZoneId | None
    value: float
    low: float
    high: float
    marks: tuple[MarkId, ...] = ()
    findings: tuple[HandFindingId, ...] = ()
    checks: tuple[ShellCheckId, ...] = ()
    place: str = ""
    is_known: bool = True
    seen_well: float = 1.0
    ground_mm2: float = 0.0


def readings(rule: Rule, measures: Measures, template: BodyTemplate) -> tuple[Reading, ...]:
    """Read everything a rule applies to.

    Parameters
    ----------
    rule : Rule
        The rule.
    measures : Measures
        Of the survey.
    template : BodyTemplate
        Names roles and mountings.

    Returns
    -------
    tuple of Reading
        One for each zone of the rule's roles, or one for the whole underside.
    """
    if rule.scope is Scope.ZONE:
        chosen = [z for z in measures.zones if rule.applies_to(template.zone_by_id[z.zone])]
        return tuple(_read(rule.measure, zone, measures) for zone in chosen)
    if rule.measure in _OVER_ALL:
        return (_OVER_ALL[rule.measure](rule.measure, measures, template),)
    wanted = "all" if set(rule.roles) == set(Role) else f"role:{rule.roles[0].value}"
    group = next((group for group in measures.groups if group.id == wanted), None)
    return (_read(rule.measure, group, measures),) if group is not None else ()


def _read(name: MeasureName, place: Place, measures: Measures) -> Reading:
    return _BY_PLACE[name](name, place, measures)


def _zone_id(place: Place) -> ZoneId | None:
    return place.zone if isinstance(place, ZoneMeasure) else None


def _id(place: Place) -> str:
    return place.zone if isinstance(place, ZoneMeasure) else place.id


def _exact(place: Place, value: float, counted: Counted | None = None, marks: tuple[MarkId, ...] = ()) -> Reading:
    counted = counted or Counted(0, marks)
    return Reading(
        _zone_id(place), float(value), float(value), float(value), counted.marks, counted.findings,
        seen_well=place.well_share,
    )  # fmt: skip


# --- areas and counts of marks -------------------------------------------------------------------------------------

_FIGURES: Mapping[MeasureName, Callable[[Place], Figure]] = {
    MeasureName.RUST_AREA: lambda p: p.kinds[MarkKind.RUST],
    MeasureName.RUST_SHARE: lambda p: p.kinds[MarkKind.RUST],
    MeasureName.HOLED_AREA: lambda p: p.stages[RustStage.HOLED],
    MeasureName.FILLER_AREA: lambda p: p.kinds[MarkKind.FILLER],
    MeasureName.FILLER_SHARE: lambda p: p.kinds[MarkKind.FILLER],
    MeasureName.PATCH_AREA: lambda p: p.kinds[MarkKind.PATCH],
    MeasureName.PATCH_SHARE: lambda p: p.kinds[MarkKind.PATCH],
    MeasureName.AFFECTED_AREA: lambda p: p.affected,
    MeasureName.AFFECTED_SHARE: lambda p: p.affected,
}


def _area(name: MeasureName, place: Place, _: Measures) -> Reading:
    figure = _FIGURES[name](place)
    if name.unit is Unit.PERCENT:
        low, value, high = (100.0 * share for share in (figure.low_share, figure.share, figure.high_share))
    else:
        low, value, high = (mm2 / MM2_PER_CM2 for mm2 in (figure.low_mm2, figure.area_mm2, figure.high_mm2))
    ends, ground = (value, low, high), place.area_mm2
    return Reading(_zone_id(place), *ends, figure.marks, seen_well=place.well_share, ground_mm2=ground)


def _scaled(_: MeasureName, place: Place, measures: Measures) -> Reading:
    # Stages hold each place once; scaled and holed are added, or a new hole would lower the figure
    parts = [place.stages[RustStage.SCALED], place.stages[RustStage.HOLED]]
    if not any(part.area_mm2 for part in parts):
        return _exact(place, 0.0)
    area = sum(part.area_mm2 for part in parts)
    sigma = sigma_of(add_gradients(part.gradient for part in parts), measures.sources)
    low = min(max(area - COVERAGE_FACTOR * sigma, 0.0), sum(part.low_mm2 for part in parts))
    high = max(area, min(area + COVERAGE_FACTOR * sigma, place.area_mm2))
    marks = tuple(dict.fromkeys(mark for part in parts for mark in part.marks))
    ends = (area / MM2_PER_CM2, low / MM2_PER_CM2, high / MM2_PER_CM2)
    return Reading(_zone_id(place), *ends, marks, seen_well=place.well_share)


def _patch_count(_: MeasureName, place: Place, __: Measures) -> Reading:
    figure = place.kinds[MarkKind.PATCH]
    return _exact(place, figure.separate, marks=figure.marks)


def _patch_on_patch(_: MeasureName, place: Place, __: Measures) -> Reading:
    return _exact(place, place.patch_on_patch, marks=place.kinds[MarkKind.PATCH].marks if place.patch_on_patch else ())


def _holes(_: MeasureName, place: Place, measures: Measures) -> Reading:
    holed = measures.structure.patchwork_of(_id(place)).holed
    return _exact(place, holed.count, holed)


# --- patchwork -----------------------------------------------------------------------------------------------------


def _patchwork(name: MeasureName, place: Place, measures: Measures) -> Reading:
    work = measures.structure.patchwork_of(_id(place))
    counted = {
        MeasureName.PATCH_ON_SEAM: work.on_seam,
        MeasureName.RUST_AT_PATCH_EDGE: work.rust_at_edge,
        MeasureName.RUST_THROUGH_PATCH_EDGE: work.rust_through_edge,
        MeasureName.NOT_SEAM_WELDED: work.not_seam_welded,
        MeasureName.NOT_WELDED: work.not_welded,
    }[name]
    return _exact(place, counted.count, counted)


def _fixings(_: MeasureName, place: Place, measures: Measures) -> Reading:
    fixings = measures.structure.patchwork_of(_id(place)).fixings
    return _exact(place, len(fixings), marks=place.kinds[MarkKind.PATCH].marks if fixings else ())


def _edge(_: MeasureName, place: Place, measures: Measures) -> Reading:
    edge = measures.structure.patchwork_of(_id(place)).edge
    marks = place.kinds[MarkKind.PATCH].marks
    return Reading(_zone_id(place), edge.value, edge.low, edge.high, marks, seen_well=place.well_share)


def _per_metre(_: MeasureName, measures: Measures, __: BodyTemplate) -> Reading:
    sills = measures.structure.sills
    if not sills:
        return Reading(None, 0.0, 0.0, 0.0, is_known=False)
    most = max(sills, key=lambda sill: sill.per_metre)
    value = most.per_metre
    seen = _group(measures, "part:sill").well_share
    return Reading(
        None, value, value, value, most.patches.marks, place=f"{most.side.capitalize()} sill", seen_well=seen
    )


# --- mountings -----------------------------------------------------------------------------------------------------


def _mountings(name: MeasureName, place: Place, measures: Measures) -> Reading:
    own = set(place.affected.marks)
    near = [d for d in measures.near_mountings if d.mark in own and d.distance_mm <= PRESCRIBED_DISTANCE_MM]
    near = [d for d in near if _counts(name, d)]
    return _exact(place, len({d.mounting for d in near}), marks=tuple(dict.fromkeys(d.mark for d in near)))


def _counts(name: MeasureName, distance: MountingDistance) -> bool:
    if name is MeasureName.PATCHED_MOUNTINGS:
        return distance.kind is MarkKind.PATCH
    if name is MeasureName.ANY_RUST_MOUNTINGS:
        return distance.kind is MarkKind.RUST
    return distance.kind is MarkKind.RUST and distance.stage in {RustStage.SCALED, RustStage.HOLED}


def _at_mounting(_: MeasureName, measures: Measures, template: BodyTemplate) -> Reading:
    around = measures.structure.around_mountings
    seen = _group(measures, "all").well_share
    if not around:
        return Reading(None, 0.0, 0.0, 0.0, seen_well=seen)
    mounting, most = max(around.items(), key=lambda item: item[1].count)
    name = next(m.name for _, m in template.mountings if m.id == mounting)
    count = float(most.count)
    return Reading(None, count, count, count, most.marks, place=name[:1].upper() + name[1:], seen_well=seen)


# --- closed sections -----------------------------------------------------------------------------------------------


def _sill(name: MeasureName, measures: Measures, _: BodyTemplate) -> Reading:
    sections = measures.structure.continuity
    if not sections:
        return Reading(None, 0.0, 0.0, 0.0, is_known=False)
    is_open = name in {MeasureName.OPEN_SILL, MeasureName.OPEN_SILL_SHARE}
    found = [_of_section(section, is_open=is_open, is_share=name.unit is Unit.PERCENT) for section in sections]
    return max(found, key=lambda reading: reading.value)


def _of_section(section: Continuity, *, is_open: bool, is_share: bool) -> Reading:
    span = section.open if is_open else section.unsound
    size = 100.0 / section.length_mm if is_share else 1.0
    return Reading(
        None,
        size * span.value,
        size * span.low,
        size * span.high,
        section.open_marks if is_open else section.unsound_marks,
        section.open_findings if is_open else section.unsound_findings,
        place=section.name,
        seen_well=section.shown_share,
    )


# --- by hand -------------------------------------------------------------------------------------------------------


def _by_hand(name: MeasureName, place: Place, measures: Measures) -> Reading:
    hand = measures.structure.by_hand_of(_id(place))
    findings = _FINDINGS[name](hand)
    value = hand.loss_percent if name is MeasureName.THICKNESS_LOSS else float(len(findings))
    looked = name is MeasureName.COVERED_POINTS or bool(findings)
    return Reading(_zone_id(place), value, value, value, findings=findings, is_known=looked)


_FINDINGS: Mapping[MeasureName, Callable[[HandMeasure], tuple[HandFindingId, ...]]] = {
    MeasureName.PIERCED: lambda hand: hand.pierced,
    MeasureName.DULL_TAPS: lambda hand: hand.dull,
    MeasureName.MAGNET: lambda hand: hand.not_held,
    MeasureName.THICKNESS_LOSS: lambda hand: hand.thin,
    MeasureName.COVERED_POINTS: lambda hand: hand.covered,
}

_SHELL = {
    MeasureName.DOOR_GAP: ShellKind.DOOR_GAP,
    MeasureName.SILL_DEFLECTION: ShellKind.SILL_DEFLECTION,
    MeasureName.RIDE_HEIGHT: ShellKind.RIDE_HEIGHT,
    MeasureName.DOORS_DROP: ShellKind.DOOR_DROPS,
    MeasureName.DOORS_BIND: ShellKind.DOOR_BINDS,
}


def _shell(name: MeasureName, measures: Measures, _: BodyTemplate) -> Reading:
    shell, kind = measures.structure.shell, _SHELL[name]
    if kind not in shell.values:
        return Reading(None, 0.0, 0.0, 0.0, is_known=False)
    value = shell.values[kind]
    return Reading(None, value, value, value, checks=shell.checks[kind], place=shell.places[kind] or "whole car")


# --- evidence ------------------------------------------------------------------------------------------------------


def _not_shown(name: MeasureName, place: Place, _: Measures) -> Reading:
    if name is MeasureName.NOT_SHOWN_SHARE:
        return _exact(place, 100.0 * (place.hidden_share + place.never_seen_share))
    return _exact(place, 100.0 * (1.0 - place.well_share))


def _group(measures: Measures, group_id: str) -> GroupMeasure:
    found = {group.id: group for group in measures.groups}
    return found.get(group_id) or found["all"]


_BY_PLACE: Mapping[MeasureName, Callable[[MeasureName, Place, Measures], Reading]] = {
    **dict.fromkeys(_FIGURES, _area),
    **dict.fromkeys(_FINDINGS, _by_hand),
    **dict.fromkeys(
        (
            MeasureName.PATCH_ON_SEAM,
            MeasureName.RUST_AT_PATCH_EDGE,
            MeasureName.RUST_THROUGH_PATCH_EDGE,
            MeasureName.NOT_SEAM_WELDED,
            MeasureName.NOT_WELDED,
        ),
        _patchwork,
    ),
    MeasureName.SCALED_AREA: _scaled,
    MeasureName.HOLED_COUNT: _holes,
    MeasureName.PATCH_COUNT: _patch_count,
    MeasureName.PATCH_ON_PATCH: _patch_on_patch,
    MeasureName.PATCH_FIXINGS: _fixings,
    MeasureName.PATCH_EDGE: _edge,
    MeasureName.PATCHED_MOUNTINGS: _mountings,
    MeasureName.RUSTED_MOUNTINGS: _mountings,
    MeasureName.ANY_RUST_MOUNTINGS: _mountings,
    MeasureName.NOT_SHOWN_SHARE: _not_shown,
    MeasureName.NOT_SEEN_WELL_SHARE: _not_shown,
}

_OVER_ALL: Mapping[MeasureName, Callable[[MeasureName, Measures, BodyTemplate], Reading]] = {
    **dict.fromkeys(_SHELL, _shell),
    **dict.fromkeys(
        (
            MeasureName.OPEN_SILL,
            MeasureName.OPEN_SILL_SHARE,
            MeasureName.UNSOUND_SILL,
            MeasureName.UNSOUND_SILL_SHARE,
        ),
        _sill,
    ),
    MeasureName.PATCHES_PER_METRE: _per_metre,
    MeasureName.PATCHES_AT_MOUNTING: _at_mounting,
}
