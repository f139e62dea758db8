"""What is measured beside areas: patchwork, closed sections, findings by hand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from corromap.by_hand import ShellKind
from corromap.frames import HandFindingId, MarkId, MountingId, ShellCheckId
from corromap.survey import PatchFixing

__all__ = [
    "STATION_MM",
    "Continuity",
    "Counted",
    "HandMeasure",
    "Patchwork",
    "ShellMeasure",
    "SillPatches",
    "Span",
    "Stretch",
    "Structure",
    "WallState",
]

STATION_MM = 10.0
"""Length of one station along a closed section."""


@dataclass(frozen=True, slots=True)
class Counted:
    """A number of things, and what was counted.

    Parameters
    ----------
    count : int
        Largest number of them no two of which touch, so that it cannot fall
        when one is added.
    marks : tuple of MarkId
        The marks among them.
    findings : tuple of HandFindingId
        The findings by hand among them.
    """

    count: int = 0
    marks: tuple[MarkId, ...] = ()
    findings: tuple[HandFindingId, ...] = ()


@dataclass(frozen=True, slots=True)
class Span:
    """A length, or a number a length, with its 95 % interval.

    Parameters
    ----------
    value, low, high : float
        In mm, unless said otherwise.
    """

    value: float = 0.0
    low: float = 0.0
    high: float = 0.0


@dataclass(frozen=True, slots=True)
class Patchwork:
    """How patches lie and are held, in a zone or over all.

    Parameters
    ----------
    place : str
        Id of the zone, or of the group of zones.
    on_seam : Counted
        Patches with ground in more than one zone.
    rust_at_edge : Counted
        Patches with rust at their edge.
    rust_through_edge : Counted
        Those where one rust mark lies on both sides of the edge.
    rusted_edge_mm : float
        Length of patch edge at rust.
    fixings : tuple of PatchFixing
        The different fixings stated, "unknown" left out.
    not_seam_welded, not_welded : Counted
        Patches stated to be held by anything but a seam weld; by brazing,
        bonding or rivets.
    edge : Span
        Run of the patches' edge; of weld, if welded all round.
    holed : Counted
        Holed marks and points a probe went through.
    """

    place: str
    on_seam: Counted = Counted()
    rust_at_edge: Counted = Counted()
    rust_through_edge: Counted = Counted()
    rusted_edge_mm: float = 0.0
    fixings: tuple[PatchFixing, ...] = ()
    not_seam_welded: Counted = Counted()
    not_welded: Counted = Counted()
    edge: Span = Span()
    holed: Counted = Counted()


@dataclass(frozen=True, slots=True)
class SillPatches:
    """Patches along one sill.

    Parameters
    ----------
    side : str
        The car's own, ``left`` or ``right``.
    length_mm : float
        Of the sill, along the car.
    patches : Counted
        Separate patches on any of its faces.
    """

    side: str
    length_mm: float
    patches: Counted

    @property
    def per_metre(self) -> float:
        """Patches a metre of sill."""
        return 1000.0 * self.patches.count / self.length_mm


class WallState(IntEnum):
    """What is known of one wall of a box at one station; the worst is kept."""

    INSIDE = -1
    """No photo of the underside can show it."""
    NOT_SHOWN = 0
    SHOWN = 1
    PATCHED = 2
    UNSOUND = 3
    HOLED = 4


@dataclass(frozen=True, slots=True)
class Stretch:
    """Neighbouring stations where the same walls are open.

    Parameters
    ----------
    from_x_mm, to_x_mm : float
        Car frame.
    open_walls : tuple of str
        Ids of the walls that are holed somewhere in each of its stations.
    closed : tuple of str
        Cells that still close there, provided every wall that was not shown
        is sound.
    slit_share : float
        What the theory says a slit along the whole length would leave of the
        torsion constant: an explanation, not a strength. A short hole loses
        far less.
    """

    from_x_mm: float
    to_x_mm: float
    open_walls: tuple[str, ...]
    closed: tuple[str, ...]
    slit_share: float


@dataclass(frozen=True, slots=True, eq=False)
class Continuity:
    """Whether a closed section closes, station by station.

    Parameters
    ----------
    section : str
        Id of the template's section.
    name : str
        As printed.
    length_mm : float
        Of the section.
    walls : tuple of str
        Ids, in the section's order.
    states : ndarray of int8, shape (W, S)
        `WallState` of each wall at each station of `STATION_MM`.
    open, unsound : Span
        Length over which some wall is holed; over which some wall is holed or
        unsound (scaled rust, filler, a dull tap, a magnet that does not hold,
        sheet too thin to weld).
    stretches : tuple of Stretch
        Where it is open, from the rear.
    shown_share : float
        Share of the stations of its visible walls that was shown.
    open_marks, unsound_marks : tuple of MarkId
        Marks behind `open`, and behind `unsound`.
    open_findings, unsound_findings : tuple of HandFindingId
        Findings by hand behind them.
    """

    section: str
    name: str
    length_mm: float
    walls: tuple[str, ...]
    states: NDArray[np.int8]
    open: Span
    unsound: Span
    stretches: tuple[Stretch, ...]
    shown_share: float
    open_marks: tuple[MarkId, ...] = ()
    unsound_marks: tuple[MarkId, ...] = ()
    open_findings: tuple[HandFindingId, ...] = ()
    unsound_findings: tuple[HandFindingId, ...] = ()


@dataclass(frozen=True, slots=True)
class HandMeasure:
    """What was found by hand in a zone, or over all.

    Parameters
    ----------
    place : str
        Id of the zone, or of the group of zones.
    pierced, dull, not_held, covered : tuple of HandFindingId
        By kind: probe, tap, magnet, fresh underseal.
    thinnest_mm : float or None
        The least sheet a gauge found.
    loss_percent : float
        The largest loss against the zone's nominal sheet; 0 without a gauge.
    thin : tuple of HandFindingId
        The gauge readings.
    """

    place: str
    pierced: tuple[HandFindingId, ...] = ()
    dull: tuple[HandFindingId, ...] = ()
    not_held: tuple[HandFindingId, ...] = ()
    covered: tuple[HandFindingId, ...] = ()
    thinnest_mm: float | None = None
    loss_percent: float = 0.0
    thin: tuple[HandFindingId, ...] = ()


@dataclass(frozen=True, slots=True)
class ShellMeasure:
    """What the checks of the whole shell come to, by kind.

    Parameters
    ----------
    values : mapping of ShellKind to float
        Largest change of a door gap when raised; largest deflection of a
        sill; largest difference of ride height between left and right at one
        axle, all mm; number of doors that drop, and that bind. A kind nobody
        looked at is left out.
    places : mapping of ShellKind to str
        Where that was.
    checks : mapping of ShellKind to tuple of ShellCheckId
        What it stands on.
    """

    values: Mapping[ShellKind, float] = field(default_factory=dict)
    places: Mapping[ShellKind, str] = field(default_factory=dict)
    checks: Mapping[ShellKind, tuple[ShellCheckId, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Structure:
    """All of it.

    Parameters
    ----------
    patchwork : mapping of str to Patchwork
        By id of zone or group (``all`` is the whole underside). Those without
        patches, holes and pierced points are left out.
    sills : tuple of SillPatches
        Left and right.
    around_mountings : mapping of MountingId to Counted
        Patches within the prescribed distance of each mounting; those with
        none are left out.
    continuity : tuple of Continuity
        One for each section of the template.
    by_hand : mapping of str to HandMeasure
        Zones and groups with findings.
    shell : ShellMeasure
        The shell as a whole.
    """

    patchwork: Mapping[str, Patchwork] = field(default_factory=dict)
    sills: tuple[SillPatches, ...] = ()
    around_mountings: Mapping[MountingId, Counted] = field(default_factory=dict)
    continuity: tuple[Continuity, ...] = ()
    by_hand: Mapping[str, HandMeasure] = field(default_factory=dict)
    shell: ShellMeasure = field(default_factory=ShellMeasure)

    def patchwork_of(self, place: str) -> Patchwork:
        """Return the patchwork of a zone or group, also where there is none.

        Parameters
        ----------
        place : str
            Its id; ``all`` is the whole underside.

        Returns
        -------
        Patchwork
            Empty where there are no patches.
        """
        return self.patchwork.get(place) or Patchwork(place)

    def by_hand_of(self, place: str) -> HandMeasure:
        """Return the findings by hand of a zone or group, also where there is none.

        Parameters
        ----------
        place : str
            Its id; ``all`` is the whole underside.

        Returns
        -------
        HandMeasure
            Empty where nobody found anything.
        """
        return self.by_hand.get(place) or HandMeasure(place)
