"""Moisture bases: limits first, then the trade's own sums."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wareleaf.measure import (
    BadInput,
    dry_matter_kg,
    mass_at_moisture_kg,
    moisture_db_from_wb,
    moisture_wb_from_db,
    water_kg,
)


@given(st.floats(0.0, 0.999))
def test_the_two_bases_are_inverse(moisture_wb):
    assert moisture_wb_from_db(moisture_db_from_wb(moisture_wb)) == pytest.approx(moisture_wb)


@given(st.floats(0.001, 1e6), st.floats(0.0, 0.999))
def test_dry_matter_and_water_make_the_mass(mass_kg, moisture_wb):
    total = dry_matter_kg(mass_kg, moisture_wb) + water_kg(mass_kg, moisture_wb)
    assert total == pytest.approx(mass_kg)


def test_arrays_pass_through():
    wb = np.array([0.0, 0.5, 0.8])
    np.testing.assert_allclose(moisture_db_from_wb(wb), [0.0, 1.0, 4.0])


def test_evaporation_of_a_works_example():
    """Arithmetic of an 80 to 10 % wb dryer: 100 kg of leaf leaves 22.22 kg (definition)."""
    assert mass_at_moisture_kg(100.0, 0.80, 0.10) == pytest.approx(22.2222, abs=1e-4)


def test_out_turn_of_tea():
    """78.2 % wb fresh to 3 % wb made: 100 kg gives 22.5 kg (Tocklai out-turn, secondary copy)."""
    assert mass_at_moisture_kg(100.0, 0.782, 0.03) == pytest.approx(22.5, abs=0.05)


@pytest.mark.parametrize("moisture_wb", [-0.01, 1.0, 1.3, float("nan")])
def test_impossible_moisture_is_refused_by_name(moisture_wb):
    with pytest.raises(BadInput, match="moisture_wb is"):
        moisture_db_from_wb(moisture_wb)
