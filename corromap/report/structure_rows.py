"""Degrees of rusting, patchwork and sills, and what else is printed beside areas, as rows of printed text."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from corromap.evaluation import Evaluation
from corromap.frames import MarkId
from corromap.measures import GroupMeasure, ZoneMeasure
from corromap.measures.rusting import RUSTING_NOTE, rust_degree
from corromap.measures.structure import Continuity, Span, Stretch
from corromap.messages import to_say
from corromap.report import figures
from corromap.report.findings import mark_numbers
from corromap.report.hand_rows import HandRow, ShellRow, hand_rows, shell_rows
from corromap.report.language import number, tr
from corromap.report.sill_drawing import section_svg, sill_legend, strip_svg
from corromap.report.what_if_rows import WhatIfRow, what_if_rows
from corromap.sections import BoxSection
from corromap.survey import MarkKind

__all__ = ["DegreeRow", "PatchworkRow", "SillRow", "StretchRow", "StructureView", "structure_view"]

SILL_NOTE = to_say(
    "A closed box carries twisting by shear that runs round its cells (Bredt and Batho: J = 4 A² / Σ s/t for one cell, "
    "the cells of two together by their common twist); slit along its whole length, only its walls are left "
    "(Σ b t³/3), for a box of 100 mm by 150 mm in 1.2 mm sheet 7500 times less. That is why a sill must close. A short "
    "hole loses far less than a full slit, because the metal beyond its ends still carries the shear round; no figure "
    "of strength follows from this. A patched wall counts as closed, which holds only where the patch is welded all "
    "round; walls inside the box count as closed, which nobody has shown."
)


@dataclass(frozen=True, slots=True)
class DegreeRow:
    """How far a place is rusted, on two scales for painted surfaces.

    Parameters
    ----------
    place, percent, interval, grade, picture, seen_well : str
        As printed; per cent first.
    """

    place: str
    percent: str
    interval: str
    grade: str
    picture: str
    seen_well: str


@dataclass(frozen=True, slots=True)
class PatchworkRow:
    """How patches lie and are held in one place.

    Parameters
    ----------
    place, area, area_interval, share, edge, edge_interval, fixings, seen_well : str
        As printed.
    patches, pieces, on_patch, on_seam, rust_at_edge, rust_through_edge, holes : int
        Counts; `patches` counts what was drawn as separate, `pieces` what does not touch.
    rusted_edge, holed_area : str
        Length of patch edge at rust; area of holes.
    marks : tuple of int
        Numbers of the patch marks.
    """

    place: str
    patches: int
    pieces: int
    on_patch: int
    on_seam: int
    rust_at_edge: int
    rust_through_edge: int
    rusted_edge: str
    fixings: str
    area: str
    area_interval: str
    share: str
    edge: str
    edge_interval: str
    holes: int
    holed_area: str
    seen_well: str
    marks: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class StretchRow:
    """A stretch of a sill whose box is open.

    Parameters
    ----------
    where, walls, closed : str
        As printed; `where` from the sill's rear end.
    drawing : str
        SVG of the box cut across.
    """

    where: str
    walls: str
    closed: str
    drawing: str


@dataclass(frozen=True, slots=True)
class SillRow:
    """One closed section.

    Parameters
    ----------
    name, length, open, open_interval, unsound, unsound_interval, shown, patches, per_metre : str
        As printed.
    stretches : tuple of StretchRow
        Where it is open, from the rear.
    strip : str
        SVG: every wall along the car.
    marks : tuple of int
        Numbers of the marks behind `open` and `unsound`.
    """

    name: str
    length: str
    open: str
    open_interval: str
    unsound: str
    unsound_interval: str
    shown: str
    patches: str
    per_metre: str
    stretches: tuple[StretchRow, ...]
    strip: str
    marks: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class StructureView:
    """All of it.

    Parameters
    ----------
    degrees : tuple of DegreeRow
        Places with rust; the whole underside first.
    degrees_note, sills_note : str
        What the scales are worth; the theory, and what it is not.
    patchwork : tuple of PatchworkRow
        The whole underside first, then zones with patches or holes.
    sills : tuple of SillRow
        One for each closed section of the template.
    sill_legend : tuple of (str, str)
        Swatches and words of the strips.
    by_hand : tuple of HandRow
        Findings at points.
    shell : tuple of ShellRow
        Checks of the shell.
    what_if : tuple of WhatIfRow
        At most three; empty when no single uncertain thing would change the outcome.
    """

    degrees: tuple[DegreeRow, ...]
    degrees_note: str
    patchwork: tuple[PatchworkRow, ...]
    sills: tuple[SillRow, ...]
    sills_note: str
    sill_legend: tuple[tuple[str, str], ...]
    by_hand: tuple[HandRow, ...]
    shell: tuple[ShellRow, ...]
    what_if: tuple[WhatIfRow, ...]


def structure_view(evaluation: Evaluation, prefix: str = "sill") -> StructureView:
    """Gather what is printed beside the areas.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.
    prefix : str
        Of ids in the drawings.

    Returns
    -------
    StructureView
        Text and drawings.
    """
    numbers = mark_numbers(evaluation)
    places = _places(evaluation)
    by_section = {section.id: section for section in evaluation.template.sections}
    return StructureView(
        degrees=tuple(_degree(name, m) for name, m in places if m.kinds[MarkKind.RUST].area_mm2 > 0),
        degrees_note=tr(RUSTING_NOTE),
        patchwork=tuple(
            _patchwork(evaluation, name, m, numbers)
            for name, m in places
            if m.kinds[MarkKind.PATCH].area_mm2 > 0 or evaluation.measures.structure.patchwork_of(_id(m)).holed.count
        ),
        sills=tuple(
            _sill(evaluation, by_section[found.section], found, f"{prefix}{index}", numbers)
            for index, found in enumerate(evaluation.measures.structure.continuity)
        ),
        sills_note=tr(SILL_NOTE),
        sill_legend=sill_legend(f"{prefix}key"),
        by_hand=hand_rows(evaluation),
        shell=shell_rows(evaluation),
        what_if=what_if_rows(evaluation),
    )


def _places(evaluation: Evaluation) -> list[tuple[str, ZoneMeasure | GroupMeasure]]:
    whole = next(group for group in evaluation.measures.groups if group.id == "all")
    zones = evaluation.template.zone_by_id
    return [(tr(whole.name), whole), *((tr(zones[m.zone].name), m) for m in evaluation.measures.zones)]


def _id(measure: ZoneMeasure | GroupMeasure) -> str:
    return measure.zone if isinstance(measure, ZoneMeasure) else measure.id


def _degree(name: str, measure: ZoneMeasure | GroupMeasure) -> DegreeRow:
    rust = measure.kinds[MarkKind.RUST]
    degree = rust_degree(rust.likely_share, rust.low_share, rust.high_share)
    if degree.low_grade == degree.high_grade:
        grade = tr("grade {grade}", grade=str(degree.grade))
    else:
        ends = {"low": str(degree.low_grade), "high": str(degree.high_grade)}
        grade = tr("grade {grade}, {low} to {high}", grade=str(degree.grade), **ends)
    return DegreeRow(
        name,
        figures.share(rust),
        figures.share_interval(rust),
        grade,
        degree.picture,
        figures.fraction(measure.well_share),
    )


def _interval(span: Span) -> str:
    if span.high <= span.low:
        return ""
    return tr("{low} to {high}", low=figures.distance_or_zero(span.low), high=figures.distance_or_zero(span.high))


def _patchwork(
    evaluation: Evaluation, name: str, measure: ZoneMeasure | GroupMeasure, numbers: Mapping[MarkId, int]
) -> PatchworkRow:
    patch, work = measure.kinds[MarkKind.PATCH], evaluation.measures.structure.patchwork_of(_id(measure))
    holed = next(figure for stage, figure in measure.stages.items() if stage.value == "holed")
    return PatchworkRow(
        place=name,
        patches=patch.separate,
        pieces=patch.pieces,
        on_patch=measure.patch_on_patch,
        on_seam=work.on_seam.count,
        rust_at_edge=work.rust_at_edge.count,
        rust_through_edge=work.rust_through_edge.count,
        rusted_edge=figures.distance_or_zero(work.rusted_edge_mm) if work.rust_at_edge.count else "",
        fixings=", ".join(tr(fixing.value) for fixing in work.fixings) or tr("not stated"),
        area=figures.area(patch),
        area_interval=figures.area_interval(patch),
        share=figures.share(patch),
        edge=figures.distance_or_zero(work.edge.value) if work.edge.value else "",
        edge_interval=_interval(work.edge),
        holes=work.holed.count,
        holed_area=figures.area(holed) if holed.area_mm2 > 0 else "",
        seen_well=figures.fraction(measure.well_share),
        marks=tuple(sorted(numbers[mark] for mark in patch.marks if mark in numbers)),
    )


def _sill(
    evaluation: Evaluation, section: BoxSection, found: Continuity, prefix: str, numbers: Mapping[MarkId, int]
) -> SillRow:
    sills = {f"sill-{sill.side}": sill for sill in evaluation.measures.structure.sills}
    patches = sills.get(found.section)
    marks = {*found.open_marks, *found.unsound_marks}
    return SillRow(
        name=tr(found.name),
        length=figures.distance_or_zero(found.length_mm),
        open=figures.distance_or_zero(found.open.value),
        open_interval=_interval(found.open),
        unsound=figures.distance_or_zero(found.unsound.value),
        unsound_interval=_interval(found.unsound),
        shown=figures.fraction(found.shown_share),
        patches=str(patches.patches.count) if patches else "",
        per_metre=number(round(patches.per_metre, 1)) if patches else "",
        stretches=tuple(_stretch(section, stretch) for stretch in found.stretches),
        strip=strip_svg(section, found, prefix),
        marks=tuple(sorted(numbers[mark] for mark in marks if mark in numbers)),
    )


def _stretch(section: BoxSection, stretch: Stretch) -> StretchRow:
    ends = (figures.distance_or_zero(x - section.from_x_mm) for x in (stretch.from_x_mm, stretch.to_x_mm))
    start, end = ends
    cells = {cell.id: tr(cell.name) for cell in section.cells}
    if not stretch.closed:
        closed = tr("nothing closes here")
    elif len(section.cells) == 1:
        closed = ""
    else:
        names = " + ".join(cells[cell] for cell in stretch.closed[0].split("+"))
        closed = tr("the {cells} still closes, if the walls inside are sound", cells=names)
    return StretchRow(
        where=tr("from {start} to {end} from the rear end", start=start, end=end),
        walls=", ".join(tr(section.wall_by_id[wall].name) for wall in stretch.open_walls),
        closed=closed,
        drawing=section_svg(section, frozenset(stretch.open_walls)),
    )
