"""How fast the vanes turn the arrow, and how soon. Radians per second, metres; angles in radians.

Strip theory: a strip of chord c at distance xi from the axis meets the air at the offset less
omega xi / V. Driving and damping use the same slope, so that it cancels out of the steady state.
The head's blades, which damp the spin too, are not modelled; no measured arrow spin was found.
"""

import math

from advisor.physics.checks import acute, one_of, positive
from advisor.physics.fins import VANE_COUNTS, Fin, fin_area, fin_slope, strip_integral
from advisor.physics.layer import AIR_DENSITY


def spin_radius(vane: Fin, shaft_outside_diameter: float) -> float:
    """Return I_2 / I_1 in m: where a vane, taken as one point, would follow its own helix.

    Source: RocketPy technical notes 2022 for I_2; own choice of one slope for both.

    Raises:
        ValueError: the vane has no height, or the diameter is not positive and finite.

    """
    positive("vane.span", vane.span)
    force = strip_integral(vane, 1, shaft_outside_diameter)
    return strip_integral(vane, 2, shaft_outside_diameter) / force


def spin_rate(
    vane: Fin, shaft_outside_diameter: float, fletching_offset: float, arrow_speed: float
) -> float:
    """Return the steady spin in rad/s, V tan(offset) I_1 / I_2; to be shown with +/-40 %.

    The number of vanes does not change it.

    Source: own derivation after RocketPy technical notes 2022 and Niskanen 2009, chapter 3.

    Raises:
        ValueError: a length or the speed is not positive and finite, or the offset is not from 0
            to below a right angle.

    """
    positive("arrow_speed", arrow_speed)
    acute("fletching_offset", fletching_offset)
    return arrow_speed * math.tan(fletching_offset) / spin_radius(vane, shaft_outside_diameter)


def travel_per_turn(vane: Fin, shaft_outside_diameter: float, fletching_offset: float) -> float:
    """Return the flight in m in which a spun-up arrow turns once; infinite without offset.

    2 pi (I_2 / I_1) / tan(offset).

    Source and errors: as in `spin_rate`.
    """
    acute("fletching_offset", fletching_offset)
    radius = spin_radius(vane, shaft_outside_diameter)
    if fletching_offset == 0.0:
        return math.inf
    return 2.0 * math.pi * radius / math.tan(fletching_offset)


def slope_per_area(vane: Fin, shaft_outside_diameter: float) -> float:
    """Return a, the lift slope of one vane by itself per unit of its own area.

    Source: `fins.fin_slope`, on the vane's area in place of pi d^2 / 4.

    Raises:
        ValueError: the vane has no height, or the diameter is not positive and finite.

    """
    positive("vane.span", vane.span)
    reference = math.pi * shaft_outside_diameter * shaft_outside_diameter / 4.0
    return fin_slope(vane, shaft_outside_diameter) * reference / fin_area(vane)


def build_up_distance(
    *,
    vane: Fin,
    fletching_count: int,
    shaft_outside_diameter: float,
    axial_inertia: float,
    eta: float,
    air_density: float = AIR_DENSITY,
) -> float:
    """Return the flight in m after which the spin has reached 63 % (1 - 1/e) of its steady rate.

    I_x / (0.5 rho N a eta I_2), the same for every offset; of the speed only eta knows. `eta` is
    the dynamic-pressure factor of `layer`, `axial_inertia` in kg m^2 that of `inertia`.

    Source: own derivation.

    Raises:
        ValueError: another count than 3 or 4, or a number is not positive and finite.

    """
    one_of("fletching_count", fletching_count, VANE_COUNTS)
    positive("axial_inertia", axial_inertia)
    positive("eta", eta)
    positive("air_density", air_density)
    damping = fletching_count * slope_per_area(vane, shaft_outside_diameter) * eta
    damping *= strip_integral(vane, 2, shaft_outside_diameter)
    return axial_inertia / (0.5 * air_density * damping)
