"""What the report prints, as plain values: page and PDF only lay it out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from corromap.assessment import Caution
from corromap.report.digests import Digests
from corromap.report.disagreement_page import DisagreementRow
from corromap.report.evidence_page import AskView
from corromap.report.finding_cards import FindingCard
from corromap.report.findings import MarkRow, MountingRow, RuleRow
from corromap.report.photo_page import PhotoPage
from corromap.report.repair_view import RepairView
from corromap.report.structure_rows import StructureView
from corromap.report.tables import GroupRow, ZoneRow
from corromap.report.texts import Texts

__all__ = ["Fact", "Length", "Limit", "Maps", "Named", "NoteRow", "OutcomeView", "ReportView", "WholeView"]


class Length(StrEnum):
    """How much of the report is printed."""

    FULL = "full"
    ONE_PAGE = "one-page"
    WELDER = "welder"


@dataclass(frozen=True, slots=True)
class Fact:
    """A label and a value.

    Parameters
    ----------
    label, value : str
        As printed.
    """

    label: str
    value: str


@dataclass(frozen=True, slots=True)
class Named:
    """One or several zones in a list.

    Parameters
    ----------
    numbers, name : str
        As printed; the name of the panel where all its zones are meant.
    """

    numbers: str
    name: str


@dataclass(frozen=True, slots=True)
class NoteRow:
    """A note as printed.

    Parameters
    ----------
    text, zone, author, at : str
        As printed.
    """

    text: str
    zone: str
    author: str
    at: str


@dataclass(frozen=True, slots=True)
class Limit:
    """A rule that was reached, with the places where it was.

    Parameters
    ----------
    rule : RuleRow
        Its title, limit, source.
    places : tuple of RuleRow
        Worst first.
    """

    rule: RuleRow
    places: tuple[RuleRow, ...]


@dataclass(frozen=True, slots=True)
class OutcomeView:
    """The outcome as printed.

    Parameters
    ----------
    word : str
        The outcome's name.
    style : str
        Class of the block.
    headline : str
        One sentence.
    reasons : tuple of RuleRow
        Limits reached, most severe first; those about evidence are told by
        the zones that were not shown.
    limits : tuple of Limit
        The same by rule.
    uncertain : tuple of RuleRow
        Limits inside the interval.
    advice, always : tuple of str
        What to do next; what always holds.
    """

    word: str
    style: str
    headline: str
    reasons: tuple[RuleRow, ...]
    limits: tuple[Limit, ...]
    uncertain: tuple[RuleRow, ...]
    advice: tuple[str, ...]
    always: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Maps:
    """The same map for three sizes; the page shows one of them.

    Parameters
    ----------
    phone, wide, sheet : str
        SVG: narrow screens, wide screens, paper.
    alt : str
        The map in words.
    """

    phone: str
    wide: str
    sheet: str
    alt: str


@dataclass(frozen=True, slots=True)
class WholeView:
    """All photos on one small picture of the body.

    Parameters
    ----------
    svg, alt, scale : str
        The picture, the same in words, and its scale as printed.
    """

    svg: str
    alt: str
    scale: str


@dataclass(frozen=True, slots=True)
class ReportView:
    """Everything that is printed, in its order."""

    length: Length
    title: str
    language: str
    made_at: str
    made: str
    texts: Texts
    evidence_line: str
    unplaced_line: str
    car: tuple[Fact, ...]
    outcome: OutcomeView
    whole: GroupRow
    scarce: tuple[ZoneRow, ...]
    never: tuple[Named, ...]
    never_count: int
    never_others: tuple[Named, ...]
    never_others_count: int
    unplaced: tuple[MarkRow, ...]
    ask: AskView
    disagreements: tuple[DisagreementRow, ...]
    disagreement_count: int
    judged: Mapping[int, tuple[str, ...]]
    maps: Maps
    detail: Maps | None
    found: tuple[ZoneRow, ...]
    quiet: tuple[ZoneRow, ...]
    groups: tuple[GroupRow, ...]
    patches: tuple[RuleRow, ...]
    patched: tuple[ZoneRow, ...]
    structure: StructureView
    mountings: tuple[MountingRow, ...]
    repair: RepairView | None
    whole_picture: WholeView | None
    findings: tuple[FindingCard, ...]
    finding_count: int
    photos: tuple[PhotoPage, ...]
    marks: tuple[MarkRow, ...]
    notes: tuple[NoteRow, ...]
    settings: tuple[Fact, ...]
    template: tuple[Fact, ...]
    rules: tuple[Fact, ...]
    departures: tuple[str, ...]
    digests: Digests
    cautions: tuple[Caution, ...]
