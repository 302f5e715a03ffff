"""The air along the shaft: Reynolds numbers, boundary layer, and what it leaves of the wind.

Metres, metres per second, m^2/s. The shaft is taken as a flat plate that begins at the very tip;
on a thin rod the true layer is thinner, so the thickness is an over-estimate.

Source: H. Schlichting, Boundary-Layer Theory (from memory), save where another is named.
"""

import math

from advisor.physics.checks import not_negative, positive

AIR_DENSITY = 1.225
"""kg/m^3, ISO 2533: sea level, 15 C."""

AIR_VISCOSITY = 1.4607e-5
"""Kinematic viscosity in m^2/s, ISO 2533: sea level, 15 C."""

TRANSITION = 2.0e4
"""Reynolds number on the diameter above which a point without blades has a turbulent layer.

Own choice after Ortiz et al., Proceedings 49 (2020) 56, where the flow turned laminar again near a
mean of 1.8e4.
"""

LEAST_PLATE = 1.0e3
"""Reynolds number on the length below which the friction formulas mean nothing (own choice)."""


def reynolds(arrow_speed: float, length: float, air_viscosity: float = AIR_VISCOSITY) -> float:
    """Return V x / nu, without unit, for any length in m.

    Source: the definition, exact.

    Raises:
        ValueError: a number is not positive and finite.

    """
    positive("arrow_speed", arrow_speed)
    positive("length", length)
    positive("air_viscosity", air_viscosity)
    return arrow_speed * length / air_viscosity


def is_turbulent(
    point_blades: int,
    shaft_outside_diameter: float,
    arrow_speed: float,
    air_viscosity: float = AIR_VISCOSITY,
) -> bool:
    """Say whether the layer at the vanes is taken as turbulent.

    It is behind a head with blades, open or folded, and above `TRANSITION`.

    Source: own choice after Mukaiyama et al., Procedia Engineering 13 (2011) 265-270, where all
    but a streamlined point made it turbulent, and Ortiz et al. 2020.

    Raises:
        ValueError: the blades are negative, or a number is not positive and finite.

    """
    not_negative("point_blades", point_blades)
    return (
        reynolds(arrow_speed, shaft_outside_diameter, air_viscosity) > TRANSITION
        or point_blades > 0
    )


def laminar_friction(plate_reynolds: float) -> float:
    """Return the mean friction coefficient of a laminar flat plate, 1.328 / sqrt(Re).

    Raises:
        ValueError: the Reynolds number is below `LEAST_PLATE` or not finite.

    """
    if not LEAST_PLATE <= plate_reynolds < math.inf:
        raise ValueError(f"plate_reynolds must be at least {LEAST_PLATE}, not {plate_reynolds!r}")
    return 1.328 / math.sqrt(plate_reynolds)


def turbulent_friction(plate_reynolds: float) -> float:
    """Return the mean friction coefficient of a turbulent flat plate, 0.455 / (log10 Re)^2.58.

    Raises:
        ValueError: as in `laminar_friction`.

    """
    if not LEAST_PLATE <= plate_reynolds < math.inf:
        raise ValueError(f"plate_reynolds must be at least {LEAST_PLATE}, not {plate_reynolds!r}")
    return float(0.455 / math.log10(plate_reynolds) ** 2.58)


def laminar_thickness(
    distance: float, arrow_speed: float, air_viscosity: float = AIR_VISCOSITY
) -> float:
    """Return the thickness in m of a laminar layer `distance` behind the tip: 5 x / sqrt(Re_x).

    Raises:
        ValueError: a number is not positive and finite.

    """
    return 5.0 * distance / math.sqrt(reynolds(arrow_speed, distance, air_viscosity))


def turbulent_thickness(
    distance: float, arrow_speed: float, air_viscosity: float = AIR_VISCOSITY
) -> float:
    """Return the thickness in m of a turbulent layer `distance` behind the tip: 0.37 x / Re_x^0.2.

    Raises:
        ValueError: a number is not positive and finite.

    """
    return float(0.37 * distance / reynolds(arrow_speed, distance, air_viscosity) ** 0.2)


def laminar_pressure_factor(thickness: float, vane_height: float) -> float:
    """Return the mean of (u/U)^2 over the height: u/U = 2 s - s^2 with s = y / thickness.

    Source: the parabolic profile of any textbook; the integral is own work, exact.

    Raises:
        ValueError: a length is not positive and finite.

    """
    positive("thickness", thickness)
    positive("vane_height", vane_height)
    share = vane_height / thickness
    if share >= 1.0:
        return 1.0 - 7.0 / 15.0 / share
    return share * share * (4.0 / 3.0 - share + share * share / 5.0)


def turbulent_pressure_factor(thickness: float, vane_height: float) -> float:
    """Return the mean of (u/U)^2 over the height: u/U = (y / thickness)^(1/7).

    Source: the 1/7-power law of any textbook; the integral is own work, exact.

    Raises:
        ValueError: a length is not positive and finite.

    """
    positive("thickness", thickness)
    positive("vane_height", vane_height)
    share = vane_height / thickness
    if share >= 1.0:
        return 1.0 - 2.0 / 9.0 / share
    return float(7.0 / 9.0 * share ** (2.0 / 7.0))


def pressure_factor(
    *,
    turbulent: bool,
    distance: float,
    vane_height: float,
    arrow_speed: float,
    air_viscosity: float = AIR_VISCOSITY,
) -> float:
    """Return eta: what share of the free stream's dynamic pressure a vane meets on average.

    `distance` is that of the vane's mid-length behind the very tip. The mean is over the height,
    every height counting alike whatever the chord there (own choice, the literal reading).

    Source: own estimate from the layer's thickness and profile.

    Raises:
        ValueError: a number is not positive and finite.

    """
    if turbulent:
        thickness = turbulent_thickness(distance, arrow_speed, air_viscosity)
        return turbulent_pressure_factor(thickness, vane_height)
    thickness = laminar_thickness(distance, arrow_speed, air_viscosity)
    return laminar_pressure_factor(thickness, vane_height)
