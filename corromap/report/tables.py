"""Zones and groups of zones as rows of printed text."""

from __future__ import annotations

from dataclasses import dataclass

from corromap.evaluation import Evaluation
from corromap.frames import ZoneId
from corromap.measures import Figure, GroupMeasure, ZoneMeasure
from corromap.messages import to_say
from corromap.report import figures
from corromap.report.language import number, tr, trn
from corromap.survey import MarkKind, RustStage
from corromap.template import Role

__all__ = ["NOTHING_SEEN", "AreaCell", "FindingRow", "GroupRow", "ZoneRow", "group_rows", "zone_rows"]

NOTHING_SEEN = 1e-4
"""A zone of which less than this share was shown counts as not seen."""

ROLE_NAMES = {
    Role.PRIMARY: to_say("load-bearing"),
    Role.SECONDARY: to_say("secondary"),
    Role.CLOSING: to_say("closing panel"),
}


@dataclass(frozen=True, slots=True)
class AreaCell:
    """One area as printed.

    Parameters
    ----------
    value, interval, share, share_interval : str
        Empty where there is nothing to print.
    is_marked : bool
        Whether anything is marked.
    """

    value: str
    interval: str
    share: str
    share_interval: str
    is_marked: bool


@dataclass(frozen=True, slots=True)
class FindingRow:
    """What zone rows and group rows share.

    Parameters
    ----------
    name, area : str
        As printed.
    affected, rust, filler, patch : AreaCell
        Affected is the union; each kind keeps all the ground it was marked on.
    stages : tuple of (str, str)
        Rust by stage, worst first, those marked only: name and area.
    pieces, patch_count, patch_on_patch : int
        Separate pieces of affected ground; patches; patches on patches.
    patches : str
        How many, in words; empty for none.
    seen, well, hidden, never_seen : str
        Coverage as printed; well is the part of seen on which the smallest
        hole could have been found.
    seen_share, well_share, hidden_share, never_seen_share : float
        The same as numbers, for bars.
    """

    name: str
    area: str
    affected: AreaCell
    rust: AreaCell
    filler: AreaCell
    patch: AreaCell
    stages: tuple[tuple[str, str], ...]
    pieces: int
    patch_count: int
    patch_on_patch: int
    patches: str
    seen: str
    well: str
    hidden: str
    never_seen: str
    seen_share: float
    well_share: float
    hidden_share: float
    never_seen_share: float


@dataclass(frozen=True, slots=True)
class ZoneRow:
    """One zone as printed.

    Parameters
    ----------
    number : int
        As on the map.
    zone : ZoneId
        The zone.
    role, sheet, about : str
        What it carries; nominal sheet thickness; both with the area.
    is_load_bearing : bool
        Whether the role is primary.
    found : FindingRow
        The figures.
    """

    number: int
    zone: ZoneId
    role: str
    sheet: str
    about: str
    is_load_bearing: bool
    found: FindingRow


@dataclass(frozen=True, slots=True)
class GroupRow:
    """One group of zones as printed.

    Parameters
    ----------
    id : str
        As in the measures.
    zones : int
        How many.
    about : str
        The same in words, with their area.
    found : FindingRow
        The figures.
    """

    id: str
    zones: int
    about: str
    found: FindingRow


def _cell(figure: Figure, seen_share: float) -> AreaCell:
    is_marked = figure.area_mm2 > 0
    if not is_marked and seen_share < NOTHING_SEEN:
        return AreaCell(tr("not seen"), "", "", "", is_marked=False)
    return AreaCell(
        figures.area(figure),
        figures.area_interval(figure),
        figures.share(figure),
        figures.share_interval(figure),
        is_marked=is_marked,
    )


def _found(name: str, measure: ZoneMeasure | GroupMeasure) -> FindingRow:
    seen = measure.seen_share
    stages = [
        (tr(stage.value), _cell(measure.stages[stage], seen))
        for stage in (RustStage.HOLED, RustStage.SCALED, RustStage.SURFACE)
        if stage in measure.stages
    ]
    return FindingRow(
        name=tr(name),
        area=figures.zone_area(measure.area_mm2),
        affected=_cell(measure.affected, seen),
        rust=_cell(measure.kinds[MarkKind.RUST], seen),
        filler=_cell(measure.kinds[MarkKind.FILLER], seen),
        patch=_cell(measure.kinds[MarkKind.PATCH], seen),
        stages=tuple((stage, cell.value) for stage, cell in stages if cell.is_marked) + _unstaged(measure),
        pieces=measure.affected.pieces,
        patch_count=measure.kinds[MarkKind.PATCH].separate,
        patch_on_patch=measure.patch_on_patch,
        patches=_patches(measure),
        seen=figures.fraction(seen),
        well=figures.fraction(measure.well_share),
        hidden=figures.fraction(measure.hidden_share),
        never_seen=figures.fraction(measure.never_seen_share),
        seen_share=seen,
        well_share=measure.well_share,
        hidden_share=measure.hidden_share,
        never_seen_share=measure.never_seen_share,
    )


def _patches(measure: ZoneMeasure | GroupMeasure) -> str:
    count = measure.kinds[MarkKind.PATCH].separate
    if not count:
        return ""
    on_another = tr("{count} on another", count=measure.patch_on_patch) if measure.patch_on_patch else ""
    return ", ".join(filter(None, (trn("{count} patch", "{count} patches", count), on_another)))


def _unstaged(measure: ZoneMeasure | GroupMeasure) -> tuple[tuple[str, str], ...]:
    """Rust without a stage: what is left when each place with a stage is taken off once."""
    left = measure.kinds[MarkKind.RUST].area_mm2 - sum(figure.area_mm2 for figure in measure.stages.values())
    return ((tr("stage not given"), figures.plain_area(left)),) if left > 0.05 * figures.MM2_PER_CM2 else ()


def zone_rows(evaluation: Evaluation) -> tuple[ZoneRow, ...]:
    """List every zone, most prominent first.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.

    Returns
    -------
    tuple of ZoneRow
        In the order of ``template.zones``, numbered as on the map.
    """
    zones = evaluation.template.zone_by_id
    rows = []
    for index, measure in enumerate(evaluation.measures.zones, start=1):
        zone = zones[measure.zone]
        rows.append(
            ZoneRow(
                number=index,
                zone=zone.id,
                role=tr(ROLE_NAMES[zone.role]),
                sheet=f"{number(zone.sheet_mm)} mm",
                about=tr(
                    "{role}; {area}; sheet {thickness} mm",
                    role=tr(ROLE_NAMES[zone.role]),
                    area=figures.zone_area(measure.area_mm2),
                    thickness=number(zone.sheet_mm),
                ),
                is_load_bearing=zone.role is Role.PRIMARY,
                found=_found(zone.name, measure),
            )
        )
    return tuple(rows)


def group_rows(evaluation: Evaluation) -> tuple[GroupRow, ...]:
    """List every group of zones: the whole, sides, roles, parts.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.

    Returns
    -------
    tuple of GroupRow
        In the order of the measures.
    """
    return tuple(
        GroupRow(
            group.id,
            len(group.zones),
            f"{trn('{count} zone', '{count} zones', len(group.zones))}; {figures.zone_area(group.area_mm2)}",
            _found(group.name, group),
        )
        for group in evaluation.measures.groups
    )
