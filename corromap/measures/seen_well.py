"""How much of what was seen was seen well enough, put beside the areas."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from corromap.frames import ZoneId
from corromap.measures.result import GroupMeasure, Measures, ZoneMeasure

__all__ = ["with_well_seen"]


def with_well_seen(measures: Measures, well_of_seen: Mapping[ZoneId, float]) -> Measures:
    """Put the share seen well enough beside every zone's and group's figures.

    Parameters
    ----------
    measures : Measures
        From `corromap.measures.measure`.
    well_of_seen : mapping of ZoneId to float
        Of the seen part of each zone, the share seen well enough, 0 to 1.

    Returns
    -------
    Measures
        The same figures; groups by the area seen.
    """
    zones = tuple(replace(zone, well_of_seen=well_of_seen[zone.zone]) for zone in measures.zones)
    by_id = {zone.zone: zone for zone in zones}
    return replace(measures, zones=zones, groups=tuple(_group(group, by_id) for group in measures.groups))


def _group(group: GroupMeasure, zones: Mapping[ZoneId, ZoneMeasure]) -> GroupMeasure:
    members = [zones[zone] for zone in group.zones]
    seen = sum(zone.seen_share * zone.area_mm2 for zone in members)
    well = sum(zone.well_share * zone.area_mm2 for zone in members)
    return replace(group, well_of_seen=min(well / seen, 1.0) if seen > 0 else 1.0)
