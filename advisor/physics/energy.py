"""Kinetic energy and momentum of an arrow in flight. Kilograms, metres per second, joules."""

from advisor.physics.checks import not_negative, positive


def _check(arrow_mass: float, arrow_speed: float) -> None:
    positive("arrow_mass", arrow_mass)
    not_negative("arrow_speed", arrow_speed)


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
