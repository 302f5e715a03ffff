"""What lifts besides at larger angles: the shaft's own side, and vortices off the vanes' edges.

Both grow with the square of the angle and vanish where the Barrowman equations hold, so neither is
part of the steering ratio. Given as CN / angle per radian on pi d^2 / 4, to stand beside a slope.
"""

import math

from advisor.physics.checks import acute, one_of, positive
from advisor.physics.fins import VANE_COUNTS
from advisor.physics.steering import Part

CROSS_FLOW = 1.1
"""Drag of a blunt body across the flow (Galejs after Hoerner); 0.8 to 1.3 on an arrow."""

VORTEX = math.pi
"""Polhamus' factor for a sharp delta wing (from memory), borrowed for vanes: +/-50 %."""


def body_lift(overall_length: float, shaft_outside_diameter: float, angle: float) -> Part:
    """Return what the shaft's side lifts at an angle to the flow: (CN / angle, middle in m).

    K (A_plan / A_ref) sin^2(angle) / angle at the planform's centre, with A_plan = d L.

    Source: R. Galejs, Wind instability: what Barrowman left out (read in Niskanen 2009).

    Raises:
        ValueError: a length is not positive and finite, or the angle not from 0 to a right angle.

    """
    positive("overall_length", overall_length)
    positive("shaft_outside_diameter", shaft_outside_diameter)
    acute("angle", angle)
    if angle == 0.0:
        return Part(0.0, overall_length / 2.0)
    plan = 4.0 * overall_length / (math.pi * shaft_outside_diameter)
    return Part(CROSS_FLOW * plan * math.sin(angle) ** 2 / angle, overall_length / 2.0)


def vortex_lift(
    vane_area: float, fletching_count: int, shaft_outside_diameter: float, angle: float
) -> float:
    """Return CN / angle that the vortices off the vanes' edges add, averaged over roll.

    N (A / A_ref) Kv (4 / (3 pi)) sin^2(angle) / angle, 4 / (3 pi) being the mean of |sin|^3.
    Where it acts is not said; the middle of the vanes is a fair guess (own choice).

    Source: E. C. Polhamus, NASA TN D-3767, 1966 (from memory).

    Raises:
        ValueError: an area or length is not positive and finite, another count than 3 or 4, or
            the angle not from 0 to a right angle.

    """
    positive("vane_area", vane_area)
    one_of("fletching_count", fletching_count, VANE_COUNTS)
    positive("shaft_outside_diameter", shaft_outside_diameter)
    acute("angle", angle)
    if angle == 0.0:
        return 0.0
    areas = fletching_count * vane_area / (math.pi * shaft_outside_diameter**2 / 4.0)
    return areas * VORTEX * 4.0 / (3.0 * math.pi) * math.sin(angle) ** 2 / angle
