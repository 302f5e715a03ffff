"""Bending stiffness from static spine and back: worked number, beam theory, round trip."""

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.physics.stiffness import LOAD, SPAN, bending_stiffness, static_spine

UNITS: pint.UnitRegistry[float] = pint.UnitRegistry()


def si(value: float, unit: str) -> float:
    return float(UNITS.Quantity(value, unit).to_base_units().magnitude)


spines = st.floats(0.003, 0.060)
spans = st.floats(0.3, 1.0)
loads = st.floats(1.0, 20.0)


def test_the_standards_span_and_load() -> None:
    # ASTM F2031-05, reapproved 2010 (second-hand, several concordant pages): 28 in and 1.94 lb,
    # also told as 880 g.
    assert pytest.approx(si(28, "inch"), rel=1e-12) == SPAN
    assert pytest.approx(si(1.94, "force_pound"), rel=1e-12) == LOAD
    assert pytest.approx(si(880, "gram * standard_gravity"), rel=1e-4) == LOAD


def test_stiffness_of_a_340_shaft() -> None:
    # ASTM F2031-05 for span and load, beam theory (any textbook): 0.340 in is 7.48875 N m^2.
    assert bending_stiffness(si(0.340, "inch")) == pytest.approx(7.48875, abs=5e-6)


def test_deflection_by_integrating_the_bending_moment() -> None:
    # Beam theory by another road (any textbook: unit-load method): the deflection under the load
    # is the integral of M m / EI along the beam, M = P x / 2 and m = x / 2 up to mid-span.
    stiffness, steps = 5.0, 2000
    step = SPAN / 2 / steps
    middles = ((i + 0.5) * step for i in range(steps))
    deflection = 2 * sum(LOAD * x / 2 * x / 2 * step for x in middles) / stiffness
    assert static_spine(stiffness) == pytest.approx(deflection, rel=1e-6)


def test_older_practice_for_wood_reads_less_for_the_same_shaft() -> None:
    # 2 lb on 26 in (second-hand): (2 / 1.94)(26 / 28)^3 = 0.825419 of the standard's deflection.
    span, load = si(26, "inch"), si(2, "force_pound")
    stiffness = bending_stiffness(si(0.500, "inch"))
    wood = static_spine(stiffness, span=span, load=load)
    assert wood == pytest.approx(si(0.500 * 0.825419, "inch"), rel=2e-6)
    assert bending_stiffness(wood, span=span, load=load) == pytest.approx(stiffness, rel=1e-12)


@given(spines, spans, loads)
def test_there_and_back(spine: float, span: float, load: float) -> None:
    assert static_spine(bending_stiffness(spine)) == pytest.approx(spine, rel=1e-12)
    stiffness = bending_stiffness(spine, span=span, load=load)
    assert static_spine(stiffness, span=span, load=load) == pytest.approx(spine, rel=1e-12)


@given(spines, spans, loads, st.floats(1.01, 3.0))
def test_proportions(spine: float, span: float, load: float, by: float) -> None:
    stiffness = bending_stiffness(spine, span=span, load=load)
    softer = bending_stiffness(spine * by, span=span, load=load)
    assert softer == pytest.approx(stiffness / by, rel=1e-12)
    under_more = bending_stiffness(spine, span=span, load=load * by)
    assert under_more == pytest.approx(stiffness * by, rel=1e-12)
    on_longer = bending_stiffness(spine, span=span * by, load=load)
    assert on_longer == pytest.approx(stiffness * by**3, rel=1e-12)


@pytest.mark.parametrize("bad", [0.0, -0.01, math.inf, math.nan])
def test_impossible_numbers_are_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="shaft_spine"):
        bending_stiffness(bad)
    with pytest.raises(ValueError, match="shaft_bending_stiffness"):
        static_spine(bad)
    for function in (bending_stiffness, static_spine):
        with pytest.raises(ValueError, match="span"):
            function(0.01, span=bad)
        with pytest.raises(ValueError, match="load"):
            function(0.01, load=bad)
