"""What a rule can read, and in which unit."""

from __future__ import annotations

from enum import StrEnum

__all__ = ["MeasureName", "Scope", "Unit"]


class Unit(StrEnum):
    """Unit of a limit."""

    PIECES = "pieces"
    PERCENT = "%"
    CM2 = "cm2"
    MM = "mm"
    PER_METRE = "per m"


class Scope(StrEnum):
    """Over what a rule sums up."""

    ZONE = "zone"
    ALL = "all"


class MeasureName(StrEnum):
    """What a rule can read.

    Every one of them can only grow when marks or findings are added, so that
    more of them never lead to a milder outcome (tested).
    """

    RUST_AREA = "rust area"
    RUST_SHARE = "rust share"
    SCALED_AREA = "scaled rust area"
    HOLED_AREA = "holed area"
    HOLED_COUNT = "holed marks"
    """Holed marks and points a probe went through; the name is kept from the first rule sets."""
    FILLER_AREA = "filler area"
    FILLER_SHARE = "filler share"
    PATCH_AREA = "patch area"
    PATCH_SHARE = "patch share"
    PATCH_COUNT = "patch count"
    PATCH_ON_PATCH = "patch on patch"
    AFFECTED_AREA = "affected area"
    AFFECTED_SHARE = "affected share"

    PATCH_ON_SEAM = "patches across a zone seam"
    RUST_AT_PATCH_EDGE = "patches with rust at the edge"
    RUST_THROUGH_PATCH_EDGE = "patches with rust through the edge"
    PATCH_FIXINGS = "kinds of patch fixing"
    NOT_SEAM_WELDED = "patches not seam-welded"
    NOT_WELDED = "patches not welded"
    PATCH_EDGE = "patch edge length"
    PATCHES_PER_METRE = "patches per metre of sill"

    PATCHED_MOUNTINGS = "mountings with a patch near"
    RUSTED_MOUNTINGS = "mountings with rust near"
    """Scaled or holed rust."""
    ANY_RUST_MOUNTINGS = "mountings with any rust near"
    PATCHES_AT_MOUNTING = "patches near one mounting"

    OPEN_SILL = "open sill length"
    OPEN_SILL_SHARE = "open sill share"
    UNSOUND_SILL = "open or unsound sill length"
    UNSOUND_SILL_SHARE = "open or unsound sill share"

    PIERCED = "pierced points"
    DULL_TAPS = "dull taps"
    MAGNET = "points a magnet does not hold"
    THICKNESS_LOSS = "thickness loss"

    DOOR_GAP = "door gap change"
    SILL_DEFLECTION = "sill deflection"
    RIDE_HEIGHT = "ride height difference"
    DOORS_DROP = "doors that drop"
    DOORS_BIND = "doors that bind"

    NOT_SHOWN_SHARE = "not shown share"
    NOT_SEEN_WELL_SHARE = "not seen well share"
    COVERED_POINTS = "points under fresh underseal"

    @property
    def unit(self) -> Unit:
        """The unit this measure is given in."""
        if self in _UNITS:
            return _UNITS[self]
        if self.value.endswith("share"):
            return Unit.PERCENT
        return Unit.CM2 if self.value.endswith("area") else Unit.PIECES

    @property
    def is_evidence(self) -> bool:
        """Whether it says what was seen, not what was found."""
        return self in {MeasureName.NOT_SHOWN_SHARE, MeasureName.NOT_SEEN_WELL_SHARE, MeasureName.COVERED_POINTS}

    @property
    def is_by_hand(self) -> bool:
        """Whether only somebody at the car can find it."""
        return self in _BY_HAND or self.is_of_shell

    @property
    def is_of_shell(self) -> bool:
        """Whether it is a check of the whole shell."""
        return self in _OF_SHELL

    @property
    def scopes(self) -> frozenset[Scope]:
        """Over what it can be summed."""
        return frozenset({Scope.ALL}) if self in _ONLY_ALL or self.is_of_shell else frozenset(Scope)


_UNITS = {
    MeasureName.PATCH_EDGE: Unit.MM,
    MeasureName.PATCHES_PER_METRE: Unit.PER_METRE,
    MeasureName.OPEN_SILL: Unit.MM,
    MeasureName.UNSOUND_SILL: Unit.MM,
    MeasureName.THICKNESS_LOSS: Unit.PERCENT,
    MeasureName.DOOR_GAP: Unit.MM,
    MeasureName.SILL_DEFLECTION: Unit.MM,
    MeasureName.RIDE_HEIGHT: Unit.MM,
}
_BY_HAND = {
    MeasureName.PIERCED,
    MeasureName.DULL_TAPS,
    MeasureName.MAGNET,
    MeasureName.THICKNESS_LOSS,
}
_OF_SHELL = {
    MeasureName.DOOR_GAP,
    MeasureName.SILL_DEFLECTION,
    MeasureName.RIDE_HEIGHT,
    MeasureName.DOORS_DROP,
    MeasureName.DOORS_BIND,
}
_ONLY_ALL = {
    MeasureName.PATCHES_PER_METRE,
    MeasureName.PATCHES_AT_MOUNTING,
    MeasureName.OPEN_SILL,
    MeasureName.OPEN_SILL_SHARE,
    MeasureName.UNSOUND_SILL,
    MeasureName.UNSOUND_SILL_SHARE,
}
