"""Moments of inertia: worked by hand, by integration, limits, and what is refused."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.physics.fins import SILHOUETTES, fin_area, vane
from advisor.physics.inertia import STEEL, axial_inertia, plates_inertia, transverse_inertia
from tests.physics.plausible import GRAIN, INCH, A, Arrow, I

arrows = st.builds(
    Arrow,
    diameter_mm=st.floats(4.0, 10.0),
    bore_mm=st.floats(0.0, 3.9),
    shaft=st.floats(25.0, 32.0),
    per_inch=st.floats(5.0, 12.0),
    point=st.floats(75.0, 200.0),
    exposed=st.floats(0.8, 2.2),
    blades=st.sampled_from((0, 2, 3, 4)),
    insert=st.floats(0.0, 100.0),
    vane_mass=st.floats(0.5, 12.0),
    vane_length=st.floats(1.5, 5.0),
    height=st.floats(0.25, 0.7),
    count=st.sampled_from((3, 4)),
)


# --- across the axis --------------------------------------------------------------------------


def test_worked_by_hand() -> None:
    # Own arithmetic on the arrow model; the arrow of test_mass, whose balance point lies at
    # 242.93855 mm, in g mm^2: each rod's m (l^2 / 12 + a^2).
    #   point   8   (46^2 / 12 + 213.93855^2)     =  367 568.36
    #   shaft   7   (700^2 / 12 + 147.06145^2)    =  437 223.82
    #   insert  2   (20^2 / 12 + 192.93855^2)     =   74 517.23
    #   nock    0.6 (19.62^2 / 12 + 499.25145^2)  =  149 570.46
    #   vanes   1.2 (60^2 / 12 + 454.06145^2)     =  247 766.16
    #   wrap    0.5 (100^2 / 12 + 447.06145^2)    =  100 348.64
    found = transverse_inertia(
        point_mass=0.008,
        point_length=0.040,
        shaft_length=0.700,
        shaft_mass_per_length=0.010,
        insert_mass=0.002,
        insert_length=0.020,
        nock_mass=0.0006,
        nock_throat=0.012,
        vane_mass=0.0004,
        fletching_count=3,
        vane_length=0.060,
        fletching_rear_gap=0.025,
        wrap_mass=0.0005,
        wrap_length=0.100,
    )
    assert found == pytest.approx(1_376_994.7e-9, rel=2e-6)


def test_a_bare_tube_is_a_rod() -> None:
    # Any textbook of mechanics: m l^2 / 12 about the middle.
    bare = replace(A, point=0.0, insert=0.0, nock=0.0, vane_mass=0.0)
    mass, length = bare.mass(), 28 * INCH
    assert bare.across() == pytest.approx(mass * length**2 / 12, rel=1e-12)


@given(arrows, st.floats(1.0, 100.0))
def test_mass_at_either_end_adds(arrow: Arrow, grains: float) -> None:
    for heavier in (
        replace(arrow, point=arrow.point + grains),
        replace(arrow, nock=arrow.nock + grains),
    ):
        assert heavier.across() > arrow.across()


@given(arrows)
def test_no_more_than_all_the_mass_at_the_ends(arrow: Arrow) -> None:
    # Popoviciu: spread over a length, at most (length / 2)^2 per unit of mass.
    assert 0.0 < arrow.across() < arrow.mass() * arrow.length**2 / 4


def test_what_the_balance_refuses_is_refused() -> None:
    with pytest.raises(ValueError, match="vane would reach"):
        replace(A, rear_gap=0.2).across()


# --- about the axis ---------------------------------------------------------------------------


def test_axial_worked_by_hand() -> None:
    # Own arithmetic on the model, I (no blades): radii 2.9 and 2.1 mm, in grains mm^2.
    #   shaft  252 (8.41 + 4.41) / 2       = 1615.32
    #   head and nock 109 x 8.41 / 2       =  458.345
    #   insert 50 x 4.41 / 2               =  110.25
    #   vanes  12 x I_2 / I_0 (0.35 in high shield): (2.2 s^2 + 7.2 s r + 8.4 r^2) / 8.4 with
    #          s 8.89 and r 2.9 mm: 430.1378 / 8.4 = 51.2069 mm^2
    shape = vane(2.0 * INCH, 0.35 * INCH, SILHOUETTES["shield"])
    assert plates_inertia(1.0, shape, 0.0058) == pytest.approx(51.2069e-6, rel=1e-6)
    by_hand = 1615.32 + 458.345 + 110.25 + 12 * 51.2069
    assert I.about() == pytest.approx(by_hand * 1e-6 * GRAIN, rel=1e-6)


def test_blades_are_steel_plates_taken_from_the_head() -> None:
    blade = A.blade
    assert blade is not None
    mass = 3 * fin_area(blade) * 0.8e-3 * STEEL
    assert mass < A.point * GRAIN
    bare = replace(A, blades=0)
    expected = bare.about() - mass * 2.9e-3**2 / 2 + plates_inertia(mass, blade, A.diameter)
    assert A.about() == pytest.approx(expected, rel=1e-12)


def test_blades_weigh_no_more_than_their_head() -> None:
    # Blades so thick that they would outweigh the head: all of it is taken as blades.
    thick = replace(A, blade_mm=50.0)
    assert thick.about() == replace(A, blade_mm=500.0).about()
    blade = A.blade
    assert blade is not None
    whole_head = plates_inertia(A.point * GRAIN, blade, A.diameter)
    without = replace(A, point=0.0, blades=0).about()
    assert thick.about() == pytest.approx(without + whole_head, rel=1e-12)


def test_a_thin_tube_is_at_most_twice_an_even_rod() -> None:
    only = replace(A, point=0.0, insert=0.0, nock=0.0, vane_mass=0.0, blades=0)
    thin, solid = replace(only, bore_mm=5.8).about(), replace(only, bore_mm=0.0).about()
    # Any textbook of mechanics: m R^2 and m R^2 / 2.
    assert thin == pytest.approx(only.mass() * 2.9e-3**2, rel=1e-12)
    assert solid == pytest.approx(thin / 2, rel=1e-12)


def test_a_wrap_is_a_skin() -> None:
    shape, base = A.vane, A._rods() | {"wrap_mass": 0.0005}
    found = axial_inertia(
        shaft_outside_diameter=A.diameter,
        shaft_inside_diameter=0.0042,
        point_blades=3,
        blade=A.blade,
        blade_thickness=0.8e-3,
        fletching_count=3,
        vane=shape,
        **base,
    )
    assert found - A.about() == pytest.approx(0.0005 * 2.9e-3**2, rel=1e-9)


def test_plates_without_height_lie_on_the_shaft() -> None:
    flat = A.vane._replace(span=0.0)
    assert plates_inertia(2.0, flat, 0.006) == pytest.approx(2.0 * 0.003**2)
    low = A.vane._replace(span=1e-9)
    assert plates_inertia(2.0, low, 0.006) == pytest.approx(2.0 * 0.003**2, rel=1e-5)


@given(arrows, st.floats(1.02, 2.0))
def test_taller_and_heavier_vanes_add(arrow: Arrow, by: float) -> None:
    assert replace(arrow, height=arrow.height * by).about() > arrow.about()
    assert replace(arrow, vane_mass=arrow.vane_mass * by).about() > arrow.about()
    assert arrow.about() < arrow.across() / 100


# --- refused ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"diameter_mm": 0.0, "blades": 0}, "shaft_outside_diameter"),
        ({"bore_mm": -1.0}, "shaft_inside_diameter"),
        ({"bore_mm": 5.9}, "shaft_inside_diameter must not exceed"),
        ({"shaft": 0.0}, "shaft_length"),
        ({"per_inch": 0.0}, "shaft_mass_per_length"),
        ({"point": -1.0}, "point_mass"),
        ({"insert": -1.0}, "insert_mass"),
        ({"nock": math.nan}, "nock_mass"),
        ({"vane_mass": -1.0}, "vane_mass"),
        ({"count": -3}, "fletching_count"),
        ({"blade_mm": -0.1}, "blade_thickness"),
        ({"blades": -2}, "point_blades"),
    ],
)
def test_impossible_arrows(change: dict[str, float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        replace(A, **change).about()  # type: ignore[arg-type]


def test_impossible_plates() -> None:
    with pytest.raises(ValueError, match="plates_mass"):
        plates_inertia(-1.0, A.vane, 0.006)


def test_blades_without_a_shape() -> None:
    class Untold(Arrow):
        @property
        def blade(self) -> None:
            return None

    with pytest.raises(ValueError, match="blade must be told"):
        Untold().about()
