"""Kinetic energy and momentum of an arrow in flight. Kilograms, metres per second, joules."""

import math


def _check(arrow_mass: float, arrow_speed: float) -> None:
    if not 0.0 < arrow_mass < math.inf:
        raise ValueError(f"arrow_mass must be a positive finite number, not {arrow_mass!r}")
    if not 0.0 <= arrow_speed < math.inf:
        raise ValueError(
            f"arrow_speed must be a finite number and not negative, not {arrow_speed!r}"
        )


def kinetic_energy(arrow_mass: float, arrow_speed: float) -> float:
    """Return the kinetic energy m v^2 / 2 in J.

    `arrow_mass` is the finished mass in kg, `arrow_speed` in m/s. The energy of spin is left out:
    it is some hundredths of a percent (own estimate).

    Source: the definition, exact (any textbook of mechanics).

    Raises:
        ValueError: the mass is not positive, the speed is negative, or either is not finite.

    """
    _check(arrow_mass, arrow_speed)
    return 0.5 * arrow_mass * arrow_speed * arrow_speed


def momentum(arrow_mass: float, arrow_speed: float) -> float:
    """Return the momentum m v in kg m/s.

    `arrow_mass` is the finished mass in kg, `arrow_speed` in m/s.

    Source: the definition, exact (any textbook of mechanics).

    Raises:
        ValueError: the mass is not positive, the speed is negative, or either is not finite.

    """
    _check(arrow_mass, arrow_speed)
    return arrow_mass * arrow_speed
