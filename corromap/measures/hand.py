"""Findings by hand and checks of the shell, as figures that rules can read."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import shapely

from corromap.by_hand import HandFinding, HandKind, ShellCheck, ShellKind
from corromap.frames import HandFindingId, PanelId, ShellCheckId, ZoneId
from corromap.measures.structure import HandMeasure, ShellMeasure
from corromap.template import BodyTemplate

__all__ = ["hand_measures", "shell_measure", "zone_of"]


def zone_of(panel: PanelId, at_mm: Sequence[float], template: BodyTemplate) -> ZoneId | None:
    """Zone that a point of a panel lies in.

    Parameters
    ----------
    panel : PanelId
        The panel.
    at_mm : sequence of float, shape (2,)
        The point.
    template : BodyTemplate
        The body.

    Returns
    -------
    ZoneId or None
        None on ground that belongs to no zone, or on a panel that is not there.
    """
    point = shapely.Point(at_mm[0], at_mm[1])
    for zone in template.zones:
        if zone.panel == panel and shapely.intersects(zone.outline.polygon, point):
            return zone.id
    return None


def hand_measures(
    findings: Sequence[HandFinding], places: Mapping[str, Collection[ZoneId]], template: BodyTemplate
) -> Mapping[str, HandMeasure]:
    """Gather findings by zone and group.

    Parameters
    ----------
    findings : sequence of HandFinding
        Of the survey.
    places : mapping of str to collection of ZoneId
        Zones of each zone or group, by its id.
    template : BodyTemplate
        The body.

    Returns
    -------
    mapping of str to HandMeasure
        Places with findings; ``all`` holds those on no zone too.
    """
    if not findings:
        return {}
    zones = [zone_of(finding.panel, finding.at_mm.tolist(), template) for finding in findings]
    found = {}
    for place, members in places.items():
        here = [f for f, zone in zip(findings, zones, strict=True) if place == "all" or zone in members]
        if here:
            found[place] = _of_place(place, here, template)
    return found


def _of_place(place: str, findings: list[HandFinding], template: BodyTemplate) -> HandMeasure:
    def ids(kind: HandKind) -> tuple[HandFindingId, ...]:
        return tuple(finding.id for finding in findings if finding.kind is kind)

    gauged = [finding for finding in findings if finding.thickness_mm is not None]
    losses = [_loss_percent(finding, template) for finding in gauged]
    return HandMeasure(
        place,
        pierced=ids(HandKind.PROBE),
        dull=ids(HandKind.TAP),
        not_held=ids(HandKind.MAGNET),
        covered=ids(HandKind.COVERED),
        thinnest_mm=min((f.thickness_mm for f in gauged if f.thickness_mm is not None), default=None),
        loss_percent=max(losses, default=0.0),
        thin=tuple(finding.id for finding in gauged),
    )


def _loss_percent(finding: HandFinding, template: BodyTemplate) -> float:
    """Loss of thickness against the nominal sheet; none where the sheet is thicker or in no zone."""
    zone = zone_of(finding.panel, finding.at_mm.tolist(), template)
    if zone is None or finding.thickness_mm is None:
        return 0.0
    nominal = template.zone_by_id[zone].sheet_mm
    return max(0.0, 100.0 * (nominal - finding.thickness_mm) / nominal)


def shell_measure(checks: Sequence[ShellCheck]) -> ShellMeasure:
    """Work out what the checks of the shell come to.

    Parameters
    ----------
    checks : sequence of ShellCheck
        Of the survey.

    Returns
    -------
    ShellMeasure
        Every look counts; the largest value of each kind is kept.
    """
    found: dict[ShellKind, list[tuple[float, str, tuple[ShellCheckId, ...]]]] = {}
    for check in checks:
        value = _change_mm(check)
        if value is not None:
            found.setdefault(check.kind, []).append((value, check.place, (check.id,)))
    leaning = _height_differences(checks)
    if leaning:
        found[ShellKind.RIDE_HEIGHT] = leaning
    values, places, stands_on = {}, {}, {}
    for kind, looks in found.items():
        if kind.is_length:
            values[kind], places[kind], stands_on[kind] = max(looks, key=lambda look: look[0])
        else:
            bad = [look for look in looks if look[0]]
            values[kind] = float(len({place for _, place, _ in bad}))
            places[kind] = ", ".join(sorted({place for _, place, _ in bad}))
            stands_on[kind] = tuple(i for _, _, ids in bad for i in ids)
    return ShellMeasure(values, places, stands_on)


def _change_mm(check: ShellCheck) -> float | None:
    """Return what one check says by itself; a gap on the ground alone says nothing yet."""
    if check.found is not None:
        return float(check.found)
    if check.kind is ShellKind.RIDE_HEIGHT or check.raised_mm is None:
        return None
    if check.kind is ShellKind.SILL_DEFLECTION and check.ground_mm is None:
        return abs(check.raised_mm)
    return abs(check.raised_mm - check.ground_mm) if check.ground_mm is not None else None


def _height_differences(checks: Sequence[ShellCheck]) -> list[tuple[float, str, tuple[ShellCheckId, ...]]]:
    """Left against right at each axle; of several readings of a corner, those that differ most."""
    found = []
    for axle in ("front", "rear"):
        corners: dict[str, list[ShellCheck]] = {
            side: [
                check
                for check in checks
                if check.kind is ShellKind.RIDE_HEIGHT
                and check.place == f"{axle} {side}"
                and check.ground_mm is not None
            ]
            for side in ("left", "right")
        }
        if all(corners.values()):
            heights = [[c.ground_mm for c in corner if c.ground_mm is not None] for corner in corners.values()]
            ids = tuple(check.id for corner in corners.values() for check in corner)
            found.append((max(abs(left - right) for left in heights[0] for right in heights[1]), axle, ids))
    return found
