"""Finished mass, balance point and front of centre (FOC) of an arrow.

The model is a row of uniform rods on one axis, x from the very tip toward the nock:

    point    from 0.15 to 1.3 of its exposed length (part of it sits inside the shaft)
    shaft    over its cut length, from the rear of the exposed point
    insert   from the shaft's front over its own length
    nock     from 0.3 in ahead of the tube's rear end to the throat
    vanes    over the vane's length, ending the rear gap ahead of the nock throat
    wrap     over its own length, ending at the tube's rear end

Masses are kilograms, lengths metres. A part whose mass is 0 is absent: its length is then not
looked at, save for being a number and not negative.
"""

from advisor.physics.checks import not_negative, positive

POINT_FRONT = 0.15
"""Where the point's rod begins, as a share of its exposed length (the model's own estimate)."""

POINT_REAR = 1.3
"""Where the point's rod ends, as a share of its exposed length (the model's own estimate)."""

NOCK_INSIDE = 0.3 * 0.0254
"""Length of the nock inside the tube, metres: 0.3 in (the model's own estimate)."""

_SLACK = 1e-6
"""A micrometre: lengths that agree to it agree, so that a rounded inch refuses nothing."""


def finished_mass(
    *,
    point_mass: float,
    shaft_length: float,
    shaft_mass_per_length: float,
    insert_mass: float,
    nock_mass: float,
    vane_mass: float,
    fletching_count: int,
    wrap_mass: float,
) -> float:
    """Return the mass of the finished arrow in kg: the sum of its parts.

    `vane_mass` is that of one vane; `fletching_count` is how many there are (0 on a bare shaft).
    `shaft_mass_per_length` is in kg/m. Glue and primer are not counted. An absent part has mass 0.

    Source: a sum, exact; the parts are the project's own arrow model.

    Raises:
        ValueError: a mass or the count is negative, the shaft has no length or no mass, or a
            number is not finite.

    """
    positive("shaft_length", shaft_length)
    positive("shaft_mass_per_length", shaft_mass_per_length)
    not_negative("point_mass", point_mass)
    not_negative("insert_mass", insert_mass)
    not_negative("nock_mass", nock_mass)
    not_negative("vane_mass", vane_mass)
    not_negative("fletching_count", fletching_count)
    not_negative("wrap_mass", wrap_mass)
    shaft_mass = shaft_length * shaft_mass_per_length
    vanes_mass = vane_mass * fletching_count
    return point_mass + insert_mass + shaft_mass + vanes_mass + wrap_mass + nock_mass


def mass_per_draw_force(arrow_mass: float, bow_draw_weight: float) -> float:
    """Return the finished mass per unit of draw force in kg/N.

    `arrow_mass` is in kg, `bow_draw_weight` in N (the force at full draw). The trade writes the
    same quotient in grains per pound of draw weight.

    Source: a quotient, exact.

    Raises:
        ValueError: either number is not positive and finite.

    """
    positive("arrow_mass", arrow_mass)
    positive("bow_draw_weight", bow_draw_weight)
    return arrow_mass / bow_draw_weight


def arrow_length(shaft_length: float, nock_throat: float) -> float:
    """Return the arrow's length in the trade's sense in m: nock throat to the shaft's front end.

    The point is left out. `shaft_length` is the cut length of the tube, `nock_throat` the depth of
    the nock's throat behind the tube's rear end (0 or more), both in m.

    Source: AMO Standards, 2000 (from memory; the standard itself was not read).

    Raises:
        ValueError: the shaft has no length, the throat lies ahead of the tube's rear end, or a
            number is not finite.

    """
    positive("shaft_length", shaft_length)
    not_negative("nock_throat", nock_throat)
    return shaft_length + nock_throat


def overall_length(point_length: float, shaft_length: float, nock_throat: float) -> float:
    """Return the length from the very tip to the nock throat in m.

    `point_length` is the exposed length of the point (0 for a shaft without one); the others are
    as in `arrow_length`.

    Source: a sum, exact; the project's own arrow model.

    Raises:
        ValueError: as in `arrow_length`, or the exposed point is negative or not finite.

    """
    not_negative("point_length", point_length)
    return point_length + arrow_length(shaft_length, nock_throat)


Rod = tuple[str, float, float, float]
"""A part as a uniform rod: name, mass in kg, and from where to where behind the tip in m."""


def rods(
    *,
    point_mass: float,
    point_length: float,
    shaft_length: float,
    shaft_mass: float,
    insert_mass: float,
    insert_length: float,
    nock_mass: float,
    nock_throat: float,
    vanes_mass: float,
    vane_length: float,
    fletching_rear_gap: float,
    wrap_mass: float,
    wrap_length: float,
) -> tuple[Rod, ...]:
    """Return the parts where the model lays them, unchecked: `balance` checks that they fit.

    `vanes_mass` is that of all vanes together. Source: the project's own arrow model.
    """
    rear = point_length + shaft_length
    throat = rear + nock_throat
    vane_rear = throat - fletching_rear_gap
    return (
        ("point", point_mass, POINT_FRONT * point_length, POINT_REAR * point_length),
        ("shaft", shaft_mass, point_length, rear),
        ("insert", insert_mass, point_length, point_length + insert_length),
        ("nock", nock_mass, rear - NOCK_INSIDE, throat),
        ("vane", vanes_mass, vane_rear - vane_length, vane_rear),
        ("wrap", wrap_mass, rear - wrap_length, rear),
    )


def balance(
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
) -> tuple[float, float]:
    """Return where the finished arrow balances: (from the nock throat, from the very tip), in m.

    The two add up to `overall_length`; the first is B of the FOC formula. Masses are in kg (kg/m
    for the shaft), `vane_mass` that of one vane; lengths are in m: `point_length` the exposed one,
    `nock_throat` the throat's depth behind the tube, `fletching_rear_gap` from the nock throat
    forward to the vane's rear end.

    Source: the centre of mass of uniform rods (any textbook of mechanics), on the project's own
    arrow model as set out at the head of this module.

    Raises:
        ValueError: a number is negative or not finite, the shaft has no length or no mass, a part
            with mass has no length, or a part does not fit: an insert, vane or wrap that would
            reach past an end of the shaft, a point longer than the whole arrow leaves room for, a
            shaft shorter than the piece of the nock that sits in it.

    """
    mass = finished_mass(
        point_mass=point_mass,
        shaft_length=shaft_length,
        shaft_mass_per_length=shaft_mass_per_length,
        insert_mass=insert_mass,
        nock_mass=nock_mass,
        vane_mass=vane_mass,
        fletching_count=fletching_count,
        wrap_mass=wrap_mass,
    )
    throat = overall_length(point_length, shaft_length, nock_throat)
    not_negative("insert_length", insert_length)
    not_negative("vane_length", vane_length)
    not_negative("fletching_rear_gap", fletching_rear_gap)
    not_negative("wrap_length", wrap_length)

    front = point_length
    rear = point_length + shaft_length
    laid = rods(
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
    moment = 0.0
    for part, part_mass, start, end in laid:
        if part_mass == 0.0:
            continue
        if not start < end:
            raise ValueError(f"{part} has mass, so its length must be positive")
        # The point reaches ahead of the shaft and the nock behind it; all else must lie on it.
        foremost = 0.0 if part == "point" else front
        rearmost = throat if part in ("point", "nock") else rear
        if start < foremost - _SLACK or end > rearmost + _SLACK:
            raise ValueError(
                f"{part} would reach from {start:.4g} m to {end:.4g} m behind the tip, "
                f"but must lie between {foremost:.4g} m and {rearmost:.4g} m"
            )
        moment += part_mass * (start + end) / 2.0
    from_tip = moment / mass
    return throat - from_tip, from_tip


def front_of_centre(arrow_balance: float, shaft_length: float, nock_throat: float) -> float:
    """Return FOC in percent: how far the balance point lies ahead of the arrow's middle.

    FOC = 100 (B - L/2) / L. B is `arrow_balance`, in m from the nock throat, of the finished arrow
    with its point on; L is `arrow_length`, which leaves the point out. Negative when the balance
    point lies behind the middle.

    Source: AMO Standards, 2000 (from memory; the formula was read second-hand).

    Raises:
        ValueError: the balance point does not lie ahead of the nock throat, or as in
            `arrow_length`.

    """
    positive("arrow_balance", arrow_balance)
    length = arrow_length(shaft_length, nock_throat)
    return 100.0 * (arrow_balance - length / 2.0) / length
