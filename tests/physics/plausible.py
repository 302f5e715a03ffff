"""Eleven plausible arrows, A to K, all invented, and everything the physics says of one.

No test of its own: the sizes are those that the trade calls ordinary, so that what the model says
of rules of thumb can be asked of them.
"""

from dataclasses import dataclass, replace

from advisor.physics.drag import Drag, drag_coefficient, drag_parts
from advisor.physics.fins import NOSE_CENTRE, SILHOUETTES, Fin, blade, vane
from advisor.physics.flight import drag_per_distance
from advisor.physics.glue import end_gap
from advisor.physics.inertia import axial_inertia, transverse_inertia
from advisor.physics.layer import AIR_VISCOSITY
from advisor.physics.mass import balance, finished_mass, front_of_centre
from advisor.physics.spin import build_up_distance, spin_rate, travel_per_turn
from advisor.physics.steering import (
    Lift,
    arrow_lift,
    margin,
    pitch_damping,
    steering_ratio,
    steering_ratio_plain,
    whole,
)

GRAIN = 64.79891e-6
INCH = 0.0254
DEGREE = 0.017453292519943295


@dataclass(frozen=True)
class Arrow:
    """Grains, inches, degrees and millimetres as a bench writes them; m/s for the speed."""

    says: str = "three blades, three vanes"
    diameter_mm: float = 5.8
    bore_mm: float = 4.2
    shaft: float = 28.0
    per_inch: float = 9.0
    point: float = 100.0
    exposed: float = 1.6
    nose: str = "cone"
    blades: int = 3
    width: float = 1.125
    blade_length: float = 1.0
    blade_start: float = 0.4
    blade_mm: float = 0.8
    insert: float = 50.0
    insert_length: float = 1.0
    nock: float = 9.0
    throat: float = 0.3
    vane_mass: float = 7.0
    vane_length: float = 2.6
    height: float = 0.5
    silhouette: str = "shield"
    vane_mm: float = 0.9
    count: int = 3
    offset: float = 2.0
    rear_gap: float = 1.0
    speed: float = 84.0

    @property
    def diameter(self) -> float:
        return self.diameter_mm * 1e-3

    @property
    def length(self) -> float:
        return (self.exposed + self.shaft + self.throat) * INCH

    @property
    def vane(self) -> Fin:
        return vane(self.vane_length * INCH, self.height * INCH, SILHOUETTES[self.silhouette])

    @property
    def blade(self) -> Fin | None:
        if not self.blades:
            return None
        return blade(self.width * INCH, self.blade_length * INCH, self.diameter)

    def _rods(self) -> dict[str, float]:
        return {
            "point_mass": self.point * GRAIN,
            "shaft_length": self.shaft * INCH,
            "shaft_mass_per_length": self.per_inch * GRAIN / INCH,
            "insert_mass": self.insert * GRAIN,
            "nock_mass": self.nock * GRAIN,
            "vane_mass": self.vane_mass * GRAIN,
            "wrap_mass": 0.0,
        }

    def _places(self) -> dict[str, float]:
        return {
            "point_length": self.exposed * INCH,
            "insert_length": self.insert_length * INCH,
            "nock_throat": self.throat * INCH,
            "vane_length": self.vane_length * INCH,
            "fletching_rear_gap": self.rear_gap * INCH,
            "wrap_length": 0.0,
        }

    def mass(self) -> float:
        return finished_mass(fletching_count=self.count, **self._rods())

    def balance(self) -> tuple[float, float]:
        return balance(fletching_count=self.count, **self._rods(), **self._places())

    def from_tip(self) -> float:
        return self.balance()[1]

    def foc(self) -> float:
        return front_of_centre(self.balance()[0], self.shaft * INCH, self.throat * INCH)

    def across(self) -> float:
        return transverse_inertia(fletching_count=self.count, **self._rods(), **self._places())

    def about(self) -> float:
        return axial_inertia(
            shaft_outside_diameter=self.diameter,
            shaft_inside_diameter=self.bore_mm * 1e-3,
            point_blades=self.blades,
            blade=self.blade,
            blade_thickness=self.blade_mm * 1e-3,
            fletching_count=self.count,
            vane=self.vane,
            **self._rods(),
        )

    def lift(self, *, worst_plane: bool = False) -> Lift:
        return arrow_lift(
            shaft_outside_diameter=self.diameter,
            shaft_length=self.shaft * INCH,
            nock_throat=self.throat * INCH,
            point_length=self.exposed * INCH,
            nose_centre=NOSE_CENTRE[self.nose],
            point_blades=self.blades,
            blade=self.blade,
            blade_start=self.blade_start * INCH,
            vane=self.vane,
            fletching_count=self.count,
            fletching_rear_gap=self.rear_gap * INCH,
            arrow_speed=self.speed,
            worst_plane=worst_plane,
        )

    def steering(self, *, worst_plane: bool = False) -> float:
        return steering_ratio(self.lift(worst_plane=worst_plane), self.from_tip())

    def steering_plain(self) -> float:
        return steering_ratio_plain(self.lift(), self.from_tip())

    def margin(self) -> float:
        return margin(self.lift(), self.from_tip())

    def travel(self) -> float:
        return travel_per_turn(self.vane, self.diameter, self.offset * DEGREE)

    def spin(self) -> float:
        return spin_rate(self.vane, self.diameter, self.offset * DEGREE, self.speed)

    def build_up(self) -> float:
        return build_up_distance(
            vane=self.vane,
            fletching_count=self.count,
            shaft_outside_diameter=self.diameter,
            axial_inertia=self.about(),
            eta=self.lift().eta,
        )

    def gap(self) -> float:
        return end_gap(self.diameter, self.vane_length * INCH, self.offset * DEGREE)

    def drag_parts(self, *, turbulent: bool) -> Drag:
        return drag_parts(
            turbulent=turbulent,
            shaft_outside_diameter=self.diameter,
            overall_length=self.length,
            vane=self.vane,
            vane_thickness=self.vane_mm * 1e-3,
            fletching_count=self.count,
            fletching_offset=self.offset * DEGREE,
            point_blades=self.blades,
            blade=self.blade,
            blade_thickness=self.blade_mm * 1e-3,
            arrow_speed=self.speed,
        )

    def drag(self, *, turbulent: bool) -> float:
        return drag_coefficient(self.drag_parts(turbulent=turbulent))

    def loss(self, *, turbulent: bool) -> float:
        return drag_per_distance(self.drag(turbulent=turbulent), self.diameter, self.mass())

    def at_diameter_reynolds(self, number: float) -> "Arrow":
        return replace(self, speed=number * AIR_VISCOSITY / self.diameter)

    def yaw(self) -> dict[str, float]:
        lift, from_tip = self.lift(), self.from_tip()
        total = whole(lift)
        return {
            "lift_slope": total.slope,
            "stability_arm": total.centre - from_tip,
            "pitch_damping": pitch_damping(lift, from_tip),
            "shaft_outside_diameter": self.diameter,
            "arrow_mass": self.mass(),
            "transverse_inertia": self.across(),
        }


_FIELD = {"blades": 0, "nose": "ogive", "exposed": 0.8}

A = Arrow()
B = replace(A, says="as A, four vanes", count=4)
C = replace(A, says="as A, vanes 0.40 in high", height=0.40, vane_mass=5.6)
D = replace(A, says="as A, vanes 4 in long", vane_length=4.0, vane_mass=10.8)
E = replace(B, says="1.25 in cut, four vanes", width=1.25)
F = replace(B, says="four blades 1.0 in, four vanes", blades=4, width=1.0)
G = replace(A, says="two long blades 1.125 in", blades=2, exposed=2.0, blade_length=1.6)
H = replace(
    A,
    says="mechanical, closed 0.6 in, short vanes",
    blades=2,
    width=0.6,
    exposed=1.8,
    vane_length=2.0,
    height=0.45,
    vane_mass=5.0,
)
I = replace(A, says="field point, low vanes", vane_length=2.0, height=0.35, vane_mass=4.0, **_FIELD)  # type: ignore[arg-type]  # noqa: E741
J = replace(
    A,
    says="27/64 in hall arrow, field point",
    diameter_mm=10.716,
    bore_mm=9.6,
    shaft=29.0,
    per_inch=9.5,
    point=150.0,
    insert=30.0,
    nock=12.0,
    vane_length=3.0,
    vane_mass=9.0,
    offset=2.5,
    speed=75.0,
    **_FIELD,  # type: ignore[arg-type]
)
K = replace(
    A,
    says="thin recurve target arrow",
    diameter_mm=5.5,
    bore_mm=4.0,
    shaft=28.0,
    per_inch=6.2,
    point=110.0,
    insert=0.0,
    nock=6.0,
    vane_length=1.75,
    height=0.3,
    silhouette="parabolic",
    vane_mass=1.5,
    vane_mm=0.4,
    speed=57.0,
    blades=0,
    nose="ogive",
    exposed=0.6,
)

ALL = {"A": A, "B": B, "C": C, "D": D, "E": E, "F": F, "G": G, "H": H, "I": I, "J": J, "K": K}
