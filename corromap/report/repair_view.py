"""The repair plan as rows of text, for the page, the PDF, the app and the command line."""

from __future__ import annotations

from dataclasses import dataclass

from corromap.assessment import CAUTIONS
from corromap.evaluation import Evaluation
from corromap.messages import message
from corromap.repair import EdgeKind, Piece, Range, Rates, RepairPlan, SheetNeed, ZonePlan
from corromap.report.language import number, tr
from corromap.report.repair_words import EDGES, METHODS, POLICY_WORDS, WORK_WORDS
from corromap.report.welder_drawing import ZoneDrawing, seen_from, zone_drawing
from corromap.report.welder_svg import drawing_svg

__all__ = [
    "CornerRow",
    "PieceRow",
    "RateRow",
    "RepairView",
    "SheetRow",
    "StepRow",
    "ZoneRepairRow",
    "rate_rows",
    "repair_view",
]

MM2_PER_CM2, MM_PER_M, MM2_PER_M2 = 100.0, 1000.0, 1e6
MONEY_STEP = 10


@dataclass(frozen=True, slots=True)
class CornerRow:
    """A corner of a piece and how to find it; lengths in mm."""

    piece: str
    number: int
    from_: str
    right: str
    up: str
    tapes: str


@dataclass(frozen=True, slots=True)
class PieceRow:
    """A piece: label, size inside the cut line, sheet to cut, edges, what is near."""

    label: str
    size: str
    blank: str
    edges: tuple[str, ...]
    near: str


@dataclass(frozen=True, slots=True)
class ZoneRepairRow:
    """A zone with work; `drawing` is an SVG, empty when nothing is cut."""

    zone: str
    number: int
    name: str
    method: str
    pieces: tuple[PieceRow, ...]
    area: str
    area_range: str
    sheet: str
    seam: str
    plugs: str
    clean: str
    hours: str
    cost: str
    whole: str
    is_whole_cheaper: bool
    notes: tuple[str, ...]
    drawing: str
    drawing_alt: str
    references: tuple[tuple[str, str], ...]
    corners: tuple[CornerRow, ...]
    right: str
    up: str
    seen: str


@dataclass(frozen=True, slots=True)
class SheetRow:
    """Sheet of one thickness."""

    thickness: str
    pieces: int
    net: str
    bought: str
    waste: str
    sheets: str
    cost: str


@dataclass(frozen=True, slots=True)
class StepRow:
    """One step of the work."""

    number: int
    title: str
    text: str


@dataclass(frozen=True, slots=True)
class RateRow:
    """One value of the policy or one rate, with its source."""

    name: str
    value: str
    source: str


@dataclass(frozen=True, slots=True)
class RepairView:
    """The whole plan as text.

    Parameters
    ----------
    notes : tuple of str
        What the reader has to know; a lower bound first.
    totals : tuple of (str, str)
        Label and value.
    zones, sheet, steps, rates : tuple
        Rows.
    cautions : tuple of (str, str, str)
        Title, text, source; always printed.
    rates_name : str
        Name and version of the rates, with their currency.
    departures : tuple of str
        Where they differ from the usual ones; filled by who knows those.
    currency_note : str
        Empty, or that the survey names another currency than the rates.
    """

    notes: tuple[str, ...]
    totals: tuple[tuple[str, str], ...]
    zones: tuple[ZoneRepairRow, ...]
    sheet: tuple[SheetRow, ...]
    steps: tuple[StepRow, ...]
    rates: tuple[RateRow, ...]
    cautions: tuple[tuple[str, str, str], ...]
    rates_name: str
    departures: tuple[str, ...]
    currency_note: str


def repair_view(
    evaluation: Evaluation, plan: RepairPlan, rates: Rates, standard: Rates | None = None, *, with_drawings: bool = True
) -> RepairView:
    """Put a plan into words, in the language in use.

    Parameters
    ----------
    evaluation : Evaluation
        What it was made from.
    plan : RepairPlan
        The plan.
    rates : Rates
        In force.
    standard : Rates or None
        The usual ones, for the departures.
    with_drawings : bool
        Whether to draw the zones.

    Returns
    -------
    RepairView
        Rows.
    """
    flange = rates.policy["flange"].value
    drawings = {
        zone.zone: zone_drawing(zone, evaluation.template, flange_mm=flange) for zone in plan.zones if zone.pieces
    }
    svgs = {zone: drawing_svg(drawing) for zone, drawing in drawings.items()} if with_drawings else {}
    mine = evaluation.survey.settings.currency
    other = tr(
        "The survey names {mine}, the rates are in {currency}: no exchange rate is applied. Put in rates in {mine}.",
        mine=mine,
        currency=rates.currency,
    )
    return RepairView(
        notes=tuple(tr(note) for note in plan.notes),
        totals=_totals(plan),
        zones=tuple(
            _zone(zone, evaluation, plan, drawings.get(zone.zone), svgs.get(zone.zone, "")) for zone in plan.zones
        ),
        sheet=tuple(_sheet(need, plan.currency) for need in plan.sheet),
        steps=tuple(StepRow(n, tr(s.title), tr(s.text)) for n, s in enumerate(plan.order, start=1)),
        rates=rate_rows(rates),
        cautions=tuple((tr(c.title), tr(c.text), tr(c.source)) for c in CAUTIONS),
        rates_name=f"{rates.name} {rates.version}, {rates.currency}",
        departures=rates.departures_from(standard) if standard is not None else (),
        currency_note="" if mine == rates.currency else other,
    )


def _totals(plan: RepairPlan) -> tuple[tuple[str, str], ...]:
    area = sum(zone.area_mm2 for zone in plan.zones)
    area_range = Range(
        sum(zone.area_range_mm2.low for zone in plan.zones), sum(zone.area_range_mm2.high for zone in plan.zones)
    )
    return (
        (tr("Pieces"), str(len(plan.pieces))),
        (tr("Sheet inside the cut lines"), _with(_cm2(area), _cm2_range(area_range))),
        (tr("Run of seam weld"), f"{number(plan.seam_mm / MM_PER_M, '.1f')} m"),
        (tr("Plug welds"), str(plan.plugs)),
        (tr("Hours"), _hours(plan.hours)),
        (tr("Cost"), _money(plan.cost, plan.currency)),
    )


def _zone(
    zone: ZonePlan, evaluation: Evaluation, plan: RepairPlan, drawing: ZoneDrawing | None, svg: str
) -> ZoneRepairRow:
    name = tr(message(evaluation.template.zone_by_id[zone.zone].name))
    is_cut = bool(zone.pieces)
    return ZoneRepairRow(
        zone=str(zone.zone),
        number=zone.number,
        name=name,
        method=tr(METHODS[zone.method]),
        pieces=tuple(_piece(piece) for piece in zone.pieces),
        area=_cm2(zone.area_mm2) if is_cut else "",
        area_range=_cm2_range(zone.area_range_mm2) if is_cut else "",
        sheet=f"{number(zone.sheet_mm, '.1f')} mm",
        seam=f"{number(zone.seam_mm / MM_PER_M, '.2f')} m" if is_cut else "",
        plugs=str(zone.plugs) if is_cut else "",
        clean=_cm2(zone.clean_mm2) if zone.clean_mm2 >= MM2_PER_CM2 else "",
        hours=_hours(zone.hours),
        cost=_money(zone.cost, plan.currency),
        whole=_money(zone.whole_cost, plan.currency) if zone.whole_cost else "",
        is_whole_cheaper=zone.is_whole_cheaper,
        notes=tuple(tr(note) for note in zone.notes),
        drawing=svg,
        drawing_alt=tr("Cut lines in {zone}, with dimensions from datum points", zone=name) if is_cut else "",
        references=tuple((ref.label, ref.name) for ref in drawing.references) if drawing else (),
        corners=_corners(drawing) if drawing else (),
        right=drawing.right if drawing else "",
        up=drawing.up if drawing else "",
        seen=seen_from(drawing.panel) if drawing else "",
    )


def _piece(piece: Piece) -> PieceRow:
    low_u, low_v, high_u, high_v = piece.outline.bounds
    edges: dict[EdgeKind, float] = {}
    for edge in piece.edges:
        edges[edge.kind] = edges.get(edge.kind, 0.0) + edge.length_mm
    near = "; ".join(f"{tr(message(name))}: {number(distance, '.0f')} mm" for name, distance in piece.near_mountings)
    return PieceRow(
        label=piece.label,
        size=f"{number(high_u - low_u, '.0f')} x {number(high_v - low_v, '.0f')} mm",
        blank=f"{number(piece.blank_mm[0], '.0f')} x {number(piece.blank_mm[1], '.0f')} mm",
        edges=tuple(f"{number(length, '.0f')} mm {tr(EDGES[kind])}" for kind, length in edges.items()),
        near=near,
    )


def _corners(drawing: ZoneDrawing) -> tuple[CornerRow, ...]:
    return tuple(
        CornerRow(
            piece=corner.piece,
            number=corner.number,
            from_=corner.first.label,
            right=number(corner.right_mm, ".0f"),
            up=number(corner.up_mm, ".0f"),
            tapes=f"{corner.first.label} {number(corner.tape_first_mm, '.0f')}, "
            f"{corner.second.label} {number(corner.tape_second_mm, '.0f')}",
        )
        for corner in drawing.corners
    )


def _sheet(need: SheetNeed, currency: str) -> SheetRow:
    sheets = str(need.sheets)
    if need.oversize:
        sheets = tr("{sheets}, and {oversize} larger than a sheet", sheets=sheets, oversize=need.oversize)
    return SheetRow(
        thickness=f"{number(need.thickness_mm, '.1f')} mm",
        pieces=need.pieces,
        net=_m2(need.net_mm2),
        bought=_m2(need.bought_mm2),
        waste=f"{number(100 * need.waste_share, '.0f')} %",
        sheets=sheets,
        cost=f"{_ends(need.cost, 1.0, '.0f')} {currency}",
    )


def rate_rows(rates: Rates) -> tuple[RateRow, ...]:
    """List policy and rates with their sources.

    Parameters
    ----------
    rates : Rates
        In force.

    Returns
    -------
    tuple of RateRow
        Policy first.
    """
    rows = [
        RateRow(tr(POLICY_WORDS[name]), f"{number(s.value)} {s.unit}", tr(s.source)) for name, s in rates.policy.items()
    ]
    named = {tr(WORK_WORDS[name]): rate for name, rate in rates.work.items()}
    named |= {tr("Access, {part}", part=message(part.value)): rate for part, rate in rates.access.items()}
    named |= {tr("Sheet up to {thickness} mm", thickness=number(s.up_to_mm)): s.rate for s in rates.sheet}
    for name, rate in named.items():
        unit = rate.unit.replace("money", rates.currency)
        rows.append(RateRow(name, f"{_ends(rate.range, 1.0, 'g')} {unit}", tr(rate.source)))
    return tuple(rows)


def _ends(ends: Range, unit: float, spec: str) -> str:
    low, high = number(ends.low / unit, spec), number(ends.high / unit, spec)
    return low if low == high else tr("{low} to {high}", low=low, high=high)


def _cm2(area_mm2: float) -> str:
    return f"{number(area_mm2 / MM2_PER_CM2, ',.0f')} cm²"


def _cm2_range(ends: Range) -> str:
    """Both ends, or nothing where they are printed alike."""
    low, high = (number(end / MM2_PER_CM2, ",.0f") for end in (ends.low, ends.high))
    return "" if low == high else tr("{low} to {high}", low=low, high=high) + " cm²"


def _with(value: str, more: str) -> str:
    return f"{value} ({more})" if more else value


def _m2(area_mm2: float) -> str:
    return f"{number(area_mm2 / MM2_PER_M2, '.2f')} m²"


def _hours(hours: Range) -> str:
    spec = ".1f" if hours.high < 10 else ".0f"
    return f"{_ends(hours, 1.0, spec)} h"


def _money(money: Range, currency: str) -> str:
    rounded = Range(*(MONEY_STEP * round(end / MONEY_STEP) for end in (money.low, money.high)))
    return f"{_ends(rounded, 1.0, ',.0f')} {currency}"
