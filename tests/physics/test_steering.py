"""Steering, margin and the parts they rest on: worked by hand, limits, and what is refused."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.physics.layer import AIR_VISCOSITY, laminar_pressure_factor, laminar_thickness
from advisor.physics.steering import (
    Lift,
    Part,
    head,
    margin,
    pitch_damping,
    steering_ratio,
    steering_ratio_plain,
    whole,
)
from tests.physics.plausible import INCH, A, Arrow, I

# Three parts in round numbers: arms 0.20, 0.25 and 0.40 m about a balance point at 0.30 m.
ROUND = Lift(Part(2.0, 0.10), Part(10.0, 0.05), Part(20.0, 0.70), 0.8, 0.75)

arrows = st.builds(
    Arrow,
    diameter_mm=st.floats(4.0, 10.0),
    bore_mm=st.just(3.0),
    shaft=st.floats(25.0, 32.0),
    per_inch=st.floats(5.0, 12.0),
    point=st.floats(75.0, 200.0),
    exposed=st.floats(0.8, 2.2),
    nose=st.sampled_from(("ogive", "cone")),
    blades=st.sampled_from((0, 2, 3, 4)),
    width=st.floats(0.5, 1.5),
    insert=st.floats(0.0, 100.0),
    vane_length=st.floats(1.5, 5.0),
    height=st.floats(0.25, 0.7),
    silhouette=st.sampled_from(("swept", "shield", "parabolic")),
    count=st.sampled_from((3, 4)),
    rear_gap=st.floats(0.5, 1.5),
    speed=st.floats(45.0, 110.0),
)


# --- worked numbers ---------------------------------------------------------------------------


def test_ratio_worked_by_hand() -> None:
    # Own arithmetic: 20 x 0.40 = 8.0 over 2 x 0.20 + 10 x 0.25 = 2.9; with eta 6.4 over 2.9.
    assert steering_ratio_plain(ROUND, 0.30) == pytest.approx(8.0 / 2.9, rel=1e-12)
    assert steering_ratio(ROUND, 0.30) == pytest.approx(6.4 / 2.9, rel=1e-12)


def test_centres_and_margin_worked_by_hand() -> None:
    # Own arithmetic: head (0.2 + 0.5) / 12; whole (0.7 + 16 x 0.7) / 28 = 0.425 m.
    assert head(ROUND) == pytest.approx((12.0, 0.7 / 12.0))
    assert whole(ROUND) == pytest.approx((28.0, 0.425))
    assert margin(ROUND, 0.30) == pytest.approx(100 * 0.125 / 0.75)


def test_pitch_damping_worked_by_hand() -> None:
    # Own arithmetic: 2 x 0.04 + 10 x 0.0625 + 16 x 0.16.
    assert pitch_damping(ROUND, 0.30) == pytest.approx(3.265)


def test_every_part_lies_where_the_arrow_model_puts_it() -> None:
    # Own arithmetic on the arrow model, A: tip to throat 1.6 + 28 + 0.3 = 29.9 in. The nose is a
    # cone, 2/3 of 1.6 in. A blade's lift: setback 0.9, chords 1.0 and 0.1 in, from 0.4 in on:
    # 0.3 x 1.2 / 1.1 + (1.1 - 0.1 / 1.1) / 6 = 0.495454... A vane begins at 29.9 - 1 - 2.6 =
    # 26.3 in; its lift is 0.4 of its length behind that (1.04 in), as it is for every shield.
    lift = A.lift()
    assert lift.length == pytest.approx(29.9 * INCH)
    assert lift.nose == pytest.approx((2.0, 1.6 * 2 / 3 * INCH))
    assert lift.blades.centre == pytest.approx(0.8954545 * INCH, rel=1e-7)
    assert lift.vanes.centre == pytest.approx((26.3 + 1.04) * INCH)


def test_slopes_of_the_worked_vane() -> None:
    # Barrowman 1966, worked: 2.0 in shield, 0.5 in high, 5.8 mm: 32.4966 for three.
    short = replace(A, vane_length=2.0)
    assert short.lift().vanes.slope == pytest.approx(32.4966, abs=5e-5)


def test_eta_is_that_of_the_mid_vane() -> None:
    # A bare point at Re_d of 1.9e4: laminar, 26.8 in behind the tip of I (0.8 + 28.3 - 1 - 1).
    slow = replace(I, speed=1.9e4 * AIR_VISCOSITY / I.diameter)
    thickness = laminar_thickness((0.8 + 28.3 - 1.0 - 1.0) * INCH, slow.speed)
    expected = laminar_pressure_factor(thickness, 0.35 * INCH)
    assert slow.lift().eta == pytest.approx(expected, rel=1e-12)
    assert replace(slow, blades=3).lift().eta < expected


def test_worst_plane_of_two_blades_is_twice_the_mean() -> None:
    two = replace(A, blades=2)
    assert two.lift(worst_plane=True).blades.slope == 2 * two.lift().blades.slope
    for blades in (0, 3, 4):
        assert replace(A, blades=blades).lift(worst_plane=True) == replace(A, blades=blades).lift()


# --- what must hold of any arrow --------------------------------------------------------------


@given(arrows)
def test_ratio_and_margin_agree_on_what_is_neutral(arrow: Arrow) -> None:
    lift, from_tip = arrow.lift(), arrow.from_tip()
    ratio = steering_ratio(lift, from_tip)
    assert (ratio > 1.0) == (margin(lift, from_tip) > 0.0)
    # At the centre of pressure itself neither turns the arrow.
    neutral = whole(lift).centre
    assert steering_ratio(lift, neutral) == pytest.approx(1.0, rel=1e-9)
    assert margin(lift, neutral) == pytest.approx(0.0, abs=1e-9)
    assert steering_ratio_plain(lift, from_tip) > ratio > 0.0


@given(arrows, st.floats(1.02, 1.5))
def test_more_at_the_rear_steers_more(arrow: Arrow, by: float) -> None:
    from_tip = arrow.from_tip()
    plain = steering_ratio(arrow.lift(), from_tip)
    taller = replace(arrow, height=arrow.height * by).lift()
    assert steering_ratio(taller, from_tip) > plain
    three, four = replace(arrow, count=3).lift(), replace(arrow, count=4).lift()
    ratio = steering_ratio(four, from_tip) / steering_ratio(three, from_tip)
    assert ratio == pytest.approx(4 / 3, rel=1e-12)


@given(arrows, st.floats(1.02, 1.5))
def test_more_in_front_steers_less(arrow: Arrow, by: float) -> None:
    bladed = replace(arrow, blades=3)
    from_tip = bladed.from_tip()
    plain = steering_ratio(bladed.lift(), from_tip)
    assert steering_ratio(replace(bladed, width=bladed.width * by).lift(), from_tip) < plain
    assert steering_ratio(replace(bladed, blades=4).lift(), from_tip) < plain
    assert steering_ratio_plain(replace(bladed, blades=0).lift(), from_tip) > steering_ratio_plain(
        bladed.lift(), from_tip
    )


@given(arrows, st.floats(10.0, 100.0))
def test_mass_in_front_steers_more(arrow: Arrow, grains: float) -> None:
    heavier = replace(arrow, point=arrow.point + grains)
    assert heavier.from_tip() < arrow.from_tip()
    assert heavier.steering() > arrow.steering()
    assert heavier.margin() > arrow.margin()


def test_blades_flush_with_the_shaft_lift_nothing() -> None:
    flush = replace(A, width=A.diameter / INCH * (1 + 1e-12)).lift()
    assert flush.blades.slope == pytest.approx(0.0, abs=1e-15)
    bare = replace(A, blades=0).lift()
    assert steering_ratio_plain(flush, 0.3) == pytest.approx(steering_ratio_plain(bare, 0.3))


@given(arrows)
def test_the_whole_lies_between_head_and_vanes(arrow: Arrow) -> None:
    lift = arrow.lift()
    assert head(lift).centre < whole(lift).centre < lift.vanes.centre
    assert head(lift).slope < whole(lift).slope < head(lift).slope + lift.vanes.slope


# --- refused ----------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [0, 1, 2, 5, 6])
def test_vanes_without_theory(count: int) -> None:
    with pytest.raises(ValueError, match="fletching_count must be one of 3, 4"):
        replace(A, count=count).lift()


@pytest.mark.parametrize("blades", [1, 5, -1])
def test_blades_without_theory(blades: int) -> None:
    with pytest.raises(ValueError, match="count must be one of 2, 3, 4"):
        replace(A, blades=blades).lift()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"vane_length": 29.0, "rear_gap": 0.3}, "vane would reach"),
        ({"vane_length": 27.4}, "vane would reach"),
        ({"rear_gap": 0.2}, "vane would reach"),
        ({"width": 28.1}, "wider than the shaft is long"),
        ({"width": 0.2}, "blade_width must not be less"),
        ({"exposed": 0.0}, "point_length"),
        ({"shaft": -1.0}, "shaft_length"),
        ({"throat": -0.1}, "nock_throat"),
        ({"blade_start": -0.1}, "blade_start"),
        ({"rear_gap": math.nan}, "fletching_rear_gap"),
        ({"speed": 0.0}, "arrow_speed"),
    ],
)
def test_impossible_arrows(change: dict[str, float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        replace(A, **change).lift()  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "change", [{"vane_length": 27.3}, {"rear_gap": 0.3}, {"width": 28.0}, {"blade_start": 0.0}]
)
def test_arrows_at_the_edge_of_the_possible(change: dict[str, float]) -> None:
    assert replace(A, **change).lift().vanes.slope > 0.0  # type: ignore[arg-type]


def test_blades_without_a_shape() -> None:
    class Untold(Arrow):
        @property
        def blade(self) -> None:
            return None

    with pytest.raises(ValueError, match="blade must be told"):
        Untold().lift()


@pytest.mark.parametrize("bad", [0.0, -0.1, math.inf, math.nan])
def test_impossible_balance(bad: float) -> None:
    for call in (steering_ratio, steering_ratio_plain, margin, pitch_damping):
        with pytest.raises(ValueError, match="from_tip"):
            call(ROUND, bad)


def test_a_balance_point_ahead_of_the_head_has_no_ratio() -> None:
    with pytest.raises(ValueError, match="from_tip must lie behind the lift of the head"):
        steering_ratio(ROUND, 0.05)
