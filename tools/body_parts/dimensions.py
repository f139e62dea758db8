"""Dimensions of the three invented bodies, millimetres in the car frame.

They belong to no car that was ever made: round figures within what small
unitary bodies have, so that sills, floors and rails have sensible proportions.
Car frame: x forward, y left, z up; origin on the centre line, at the floor's
lower face, midway along the sills (ISO 8855 axes).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

__all__ = ["BODIES", "Body", "Crossmember", "RearSprings"]


class RearSprings(StrEnum):
    """How the rear axle is sprung: decides what is mounted where."""

    LEAF = "leaf"
    COIL = "coil"
    TORSION = "torsion"


@dataclass(frozen=True, slots=True)
class Crossmember:
    """A box section across one floor, standing below it."""

    at_x: float
    width: float
    depth: float


@dataclass(frozen=True, slots=True)
class Body:
    """One body. Half widths are distances from the centre line."""

    id: str
    name: str
    description: str
    revision: int
    springs: RearSprings
    has_front_subframe: bool
    front_axle_x: float
    rear_axle_x: float
    # sills and floors
    sill_half_length: float
    sill_inner_height: float
    sill_width: float
    sill_outer_height: float
    sill_membrane_share: float  # where the membrane stands across the sill; 0 for a box of one cell
    floor_rear_x: float
    floor_front_x: float
    floor_half_width: float
    floor_edge_width: float
    crossmember_front: Crossmember
    crossmember_rear: Crossmember
    # tunnel
    tunnel_half_base: float
    tunnel_half_roof: float
    tunnel_height: float
    # front
    toe_run: float
    toe_rise: float
    front_end_x: float
    front_rail_outer_y: float
    front_rail_width: float
    front_rail_height: float
    front_arch_height: float
    # rear
    heel_run: float
    boot_floor_z: float
    rear_end_x: float
    rear_rail_outer_y: float
    rear_rail_width: float
    rear_rail_z: float
    rear_arch_height: float
    has_spare_wheel_well: bool
    # screen frame
    screen_rear_x: float
    screen_depth: float
    screen_half_width: float
    screen_z: float

    @property
    def sill_length(self) -> float:
        """Whole length of a sill."""
        return 2 * self.sill_half_length

    @property
    def floor_length(self) -> float:
        """Along the car."""
        return self.floor_front_x - self.floor_rear_x

    @property
    def floor_width(self) -> float:
        """Of one floor, tunnel to sill."""
        return self.floor_half_width - self.tunnel_half_base

    @property
    def tunnel_slope(self) -> float:
        """Length of a tunnel wall along its slope."""
        return ((self.tunnel_half_base - self.tunnel_half_roof) ** 2 + self.tunnel_height**2) ** 0.5

    @property
    def map_shift(self) -> float:
        """How far unfolding the tunnel pushes each floor outwards on the map."""
        return self.tunnel_half_roof + self.tunnel_slope - self.tunnel_half_base

    @property
    def toe_slope(self) -> float:
        """Length of the toe-board along its slope."""
        return (self.toe_run**2 + self.toe_rise**2) ** 0.5

    @property
    def heel_slope(self) -> float:
        """Length of the heel-board along its slope."""
        return (self.heel_run**2 + self.boot_floor_z**2) ** 0.5


BODIES = (
    Body(
        id="two-seat-open",
        name="Small open two-seater",
        description=(
            "An invented small open car with two seats, leaf springs at the back and no roof: the sills and the tunnel"
            " carry what a roof would. Wheelbase 2130 mm."
        ),
        revision=2,
        springs=RearSprings.LEAF,
        has_front_subframe=False,
        front_axle_x=1075,
        rear_axle_x=-1055,
        sill_half_length=740,
        sill_inner_height=130,
        sill_width=105,
        sill_outer_height=165,
        sill_membrane_share=0.5,
        floor_rear_x=-700,
        floor_front_x=600,
        floor_half_width=590,
        floor_edge_width=130,
        crossmember_front=Crossmember(200, 110, 45),
        crossmember_rear=Crossmember(-360, 90, 40),
        tunnel_half_base=140,
        tunnel_half_roof=90,
        tunnel_height=190,
        toe_run=180,
        toe_rise=260,
        front_end_x=1500,
        front_rail_outer_y=410,
        front_rail_width=80,
        front_rail_height=110,
        front_arch_height=340,
        heel_run=150,
        boot_floor_z=200,
        rear_end_x=-1500,
        rear_rail_outer_y=460,
        rear_rail_width=80,
        rear_rail_z=90,
        rear_arch_height=330,
        has_spare_wheel_well=False,
        screen_rear_x=690,
        screen_depth=140,
        screen_half_width=610,
        screen_z=520,
    ),
    Body(
        id="four-door-saloon",
        name="Four-door saloon",
        description=(
            "An invented four-door saloon of middle size with coil springs all round, a front subframe and a"
            " spare-wheel well in the boot floor. Wheelbase 2585 mm."
        ),
        revision=2,
        springs=RearSprings.COIL,
        has_front_subframe=True,
        front_axle_x=1290,
        rear_axle_x=-1295,
        sill_half_length=945,
        sill_inner_height=140,
        sill_width=112,
        sill_outer_height=178,
        sill_membrane_share=0.6,
        floor_rear_x=-880,
        floor_front_x=790,
        floor_half_width=640,
        floor_edge_width=140,
        crossmember_front=Crossmember(310, 120, 50),
        crossmember_rear=Crossmember(-330, 110, 45),
        tunnel_half_base=150,
        tunnel_half_roof=105,
        tunnel_height=170,
        toe_run=200,
        toe_rise=280,
        front_end_x=1830,
        front_rail_outer_y=450,
        front_rail_width=90,
        front_rail_height=125,
        front_arch_height=390,
        heel_run=190,
        boot_floor_z=220,
        rear_end_x=-2060,
        rear_rail_outer_y=505,
        rear_rail_width=90,
        rear_rail_z=105,
        rear_arch_height=380,
        has_spare_wheel_well=True,
        screen_rear_x=880,
        screen_depth=170,
        screen_half_width=660,
        screen_z=590,
    ),
    Body(
        id="small-hatchback",
        name="Small hatchback",
        description=(
            "An invented small three-door hatchback with trailing arms on torsion bars at the back, a front subframe"
            " and a short flat boot floor. Wheelbase 2270 mm."
        ),
        revision=2,
        springs=RearSprings.TORSION,
        has_front_subframe=True,
        front_axle_x=1125,
        rear_axle_x=-1145,
        sill_half_length=800,
        sill_inner_height=115,
        sill_width=95,
        sill_outer_height=150,
        sill_membrane_share=0,
        floor_rear_x=-750,
        floor_front_x=650,
        floor_half_width=615,
        floor_edge_width=125,
        crossmember_front=Crossmember(230, 100, 40),
        crossmember_rear=Crossmember(-420, 130, 55),
        tunnel_half_base=105,
        tunnel_half_roof=75,
        tunnel_height=110,
        toe_run=170,
        toe_rise=270,
        front_end_x=1540,
        front_rail_outer_y=430,
        front_rail_width=75,
        front_rail_height=105,
        front_arch_height=380,
        heel_run=160,
        boot_floor_z=190,
        rear_end_x=-1620,
        rear_rail_outer_y=490,
        rear_rail_width=75,
        rear_rail_z=85,
        rear_arch_height=345,
        has_spare_wheel_well=False,
        screen_rear_x=740,
        screen_depth=150,
        screen_half_width=635,
        screen_z=570,
    ),
)
