"""Moments of inertia of a finished arrow, in kg m^2: across its axis and about it.

Across: the row of uniform rods of `mass`. About the axis the parts need a radius, which the arrow
model does not give; the simplest honest one is taken (own choice, no source):

    shaft    an even tube from the bore to the outside diameter
    insert   a solid cylinder that fills the bore
    nock     a solid cylinder as thick as the shaft
    head     a solid cylinder as thick as the shaft, save for its blades
    blades   flat solid steel plates on the shaft's radius, at most as heavy as the head
    vanes    flat even plates on the shaft's radius
    wrap     a thin skin on the shaft
"""

from advisor.physics import mass
from advisor.physics.checks import not_negative, positive
from advisor.physics.fins import Fin, fin_area, strip_integral

STEEL = 7850.0
"""Density of a blade in kg/m^3 (common value, from memory)."""


def transverse_inertia(
    *,
    point_mass: float,
    point_length: float,
    shaft_length: float,
    shaft_mass_per_length: float,
    insert_mass: float,
    insert_length: float,
    nock_mass: float,
    nock_throat: float,
    vane_mass: float,
    fletching_count: int,
    vane_length: float,
    fletching_rear_gap: float,
    wrap_mass: float,
    wrap_length: float,
) -> float:
    """Return the moment of inertia across the axis through the balance point, in kg m^2.

    The sum over the rods of m (l^2 / 12 + a^2), with l a rod's length and a the distance of its
    middle from the balance point. Parameters as in `mass.balance`.

    Source: the parallel-axis theorem (any textbook of mechanics) on the project's own arrow model.

    Raises:
        ValueError: as in `mass.balance`.

    """
    _, balance = mass.balance(
        point_mass=point_mass,
        point_length=point_length,
        shaft_length=shaft_length,
        shaft_mass_per_length=shaft_mass_per_length,
        insert_mass=insert_mass,
        insert_length=insert_length,
        nock_mass=nock_mass,
        nock_throat=nock_throat,
        vane_mass=vane_mass,
        fletching_count=fletching_count,
        vane_length=vane_length,
        fletching_rear_gap=fletching_rear_gap,
        wrap_mass=wrap_mass,
        wrap_length=wrap_length,
    )
    laid = mass.rods(
        point_mass=point_mass,
        point_length=point_length,
        shaft_length=shaft_length,
        shaft_mass=shaft_length * shaft_mass_per_length,
        insert_mass=insert_mass,
        insert_length=insert_length,
        nock_mass=nock_mass,
        nock_throat=nock_throat,
        vanes_mass=vane_mass * fletching_count,
        vane_length=vane_length,
        fletching_rear_gap=fletching_rear_gap,
        wrap_mass=wrap_mass,
        wrap_length=wrap_length,
    )
    inertia = 0.0
    for _, part_mass, start, end in laid:
        length = end - start
        arm = (start + end) / 2.0 - balance
        inertia += part_mass * (length * length / 12.0 + arm * arm)
    return inertia


def plates_inertia(plates_mass: float, shape: Fin, shaft_outside_diameter: float) -> float:
    """Return what even flat plates of that shape on the shaft add about its axis, in kg m^2.

    `plates_mass` is that of all of them together: m I_2 / I_0 with I_p of `strip_integral`.

    Source: the definition, exact.

    Raises:
        ValueError: the mass is negative, the diameter not positive, or a number not finite.

    """
    not_negative("plates_mass", plates_mass)
    radius = shaft_outside_diameter / 2.0
    area = strip_integral(shape, 0, shaft_outside_diameter)
    if area == 0.0:
        return plates_mass * radius * radius
    return plates_mass * strip_integral(shape, 2, shaft_outside_diameter) / area


def axial_inertia(
    *,
    shaft_outside_diameter: float,
    shaft_inside_diameter: float,
    shaft_length: float,
    shaft_mass_per_length: float,
    point_mass: float,
    point_blades: int,
    blade: Fin | None,
    blade_thickness: float,
    insert_mass: float,
    nock_mass: float,
    vane_mass: float,
    fletching_count: int,
    vane: Fin,
    wrap_mass: float,
) -> float:
    """Return the moment of inertia about the axis, in kg m^2, of the model set out above.

    `vane_mass` is that of one vane. `shaft_inside_diameter` is 0 for a solid shaft; where the bore
    is not known, the outside diameter makes a thin tube, which is at most twice too much for the
    shaft. A head without blades has `point_blades` 0, and its blades are not looked at.

    Source: sums over tubes, cylinders and plates (any textbook of mechanics); own model.

    Raises:
        ValueError: a mass, count or thickness is negative, the shaft has no length, mass or
            diameter, its bore is wider than itself, or a number is not finite.

    """
    positive("shaft_outside_diameter", shaft_outside_diameter)
    positive("shaft_length", shaft_length)
    positive("shaft_mass_per_length", shaft_mass_per_length)
    not_negative("shaft_inside_diameter", shaft_inside_diameter)
    if shaft_inside_diameter > shaft_outside_diameter:
        raise ValueError(
            f"shaft_inside_diameter must not exceed the outside diameter of "
            f"{shaft_outside_diameter!r}, not {shaft_inside_diameter!r}"
        )
    not_negative("point_mass", point_mass)
    not_negative("insert_mass", insert_mass)
    not_negative("nock_mass", nock_mass)
    not_negative("vane_mass", vane_mass)
    not_negative("fletching_count", fletching_count)
    not_negative("wrap_mass", wrap_mass)
    outer = shaft_outside_diameter * shaft_outside_diameter / 4.0
    bore = shaft_inside_diameter * shaft_inside_diameter / 4.0
    blades_mass = 0.0
    inertia = 0.0
    if point_blades:
        if blade is None:
            raise ValueError("blade must be told for a head with blades")
        not_negative("point_blades", point_blades)
        not_negative("blade_thickness", blade_thickness)
        blades_mass = min(point_mass, point_blades * fin_area(blade) * blade_thickness * STEEL)
        inertia = plates_inertia(blades_mass, blade, shaft_outside_diameter)
    inertia += plates_inertia(vane_mass * fletching_count, vane, shaft_outside_diameter)
    inertia += shaft_length * shaft_mass_per_length * (outer + bore) / 2.0
    inertia += (point_mass - blades_mass + nock_mass) * outer / 2.0 + insert_mass * bore / 2.0
    return inertia + wrap_mass * outer
