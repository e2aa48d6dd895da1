"""A blade in water whose temperature was measured: limits, the whole series, enzymes."""

import math

import numpy as np
import pytest

from wareleaf.air import CP_WATER_J_KG_K
from wareleaf.measure import BadInput
from wareleaf.stages import slab
from wareleaf.stages.blanch_leaf import warm
from wareleaf.stages.blanch_spec import figure
from wareleaf.stages.blanch_trace import EnzymeFraction, blade_in_water, peroxidase, survival

HELD = ([0.0, 120.0], [80.0, 80.0])
ONE = (EnzymeFraction(1.0, 2.0, 80_000.0, 80.0),)


def test_steady_water_is_the_bath_without_end():
    ours = blade_in_water(*HELD, half_thickness_m=5e-4, leaf_c=8.0, heat_transfer_w_m2_k=500.0)
    bath = warm(
        leaf_c=8.0, bath_c=80.0, leaf_j_k=1.0, bath_j_k=1e12, mass_j_kg_k=CP_WATER_J_KG_K,
        half_thickness_m=5e-4, heat_transfer_w_m2_k=500.0, immersion_s=120.0,
    )  # fmt: skip
    at = np.array([1.0, 5.0, 20.0, 60.0])
    for a, b in ((ours.mean_c, bath.mean_c), (ours.middle_c, bath.middle_c)):
        exact = np.interp(at, bath.time_s, b)
        assert np.interp(at, ours.time_s, a) == pytest.approx(exact, abs=0.5)


def test_the_slowest_mode_is_near_the_whole_series():
    """Crank's series with a surface resistance, heat in place of water: 1 K of a 72 K step."""
    half, h = 5e-4, 500.0
    heat = figure("leaf.density_kg_m3") * CP_WATER_J_KG_K
    body = slab.Slab(half, figure("leaf.conductivity_w_m_k") / heat, surface_m_s=h / heat)
    ours = blade_in_water(*HELD, half_thickness_m=half, leaf_c=8.0, heat_transfer_w_m2_k=h)
    late = ours.time_s > 0.2
    exact = 80.0 - slab.series(body, 72.0, 0.0, ours.time_s / 3600.0)
    assert np.abs(ours.mean_c - exact)[late].max() < 1.0


def test_on_a_long_ramp_the_blade_lags_by_rate_times_its_time_constant():
    time, water = [0.0, 600.0], [20.0, 80.0]
    thin, thick = (
        blade_in_water(time, water, half_thickness_m=x, leaf_c=20.0) for x in (2e-4, 2e-3)
    )
    assert 0.0 < 80.0 - thin.middle_c[-1] < 80.0 - thick.middle_c[-1]
    h, x = figure("bath.heat_transfer_w_m2_k"), 2e-4
    lumped = figure("leaf.density_kg_m3") * CP_WATER_J_KG_K * x / h  # tau of a very thin blade
    assert 80.0 - thin.mean_c[-1] == pytest.approx(0.1 * lumped, rel=0.1)


def test_a_dip_in_the_water_is_felt_late_and_less():
    time = [0.0, 60.0, 61.0, 70.0, 71.0, 120.0]
    water = [80.0, 80.0, 60.0, 60.0, 80.0, 80.0]
    thick = blade_in_water(time, water, half_thickness_m=2e-3, leaf_c=80.0)
    assert 60.5 < thick.mean_c.min() < 79.0
    assert thick.time_s[int(np.argmin(thick.mean_c))] > 69.0


def test_an_enzyme_at_one_temperature_fades_first_order():
    time = np.linspace(0.0, 60.0, 50)
    assert survival(time, np.full(50, 80.0), ONE) == pytest.approx(math.exp(-2.0))
    # Ten kelvin more by Arrhenius.
    rate = 2.0 * math.exp(-80_000.0 / 8.314462618 * (1 / 363.15 - 1 / 353.15))
    assert survival(time, np.full(50, 90.0), ONE) == pytest.approx(math.exp(-rate))


def test_more_survives_in_a_thicker_blade_and_a_shorter_dip():
    def left(half, seconds):
        course = blade_in_water([0.0, seconds], [95.0, 95.0], half_thickness_m=half, leaf_c=8.0)
        return survival(course.time_s, course.middle_c, peroxidase())

    assert left(5e-4, 60.0) < left(3e-3, 60.0) < left(3e-3, 20.0) <= 1.0


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: blade_in_water([0, 5, 3], [20, 30, 40], half_thickness_m=1e-3, leaf_c=8), "rise"),
        (lambda: blade_in_water(*HELD, half_thickness_m=0.0, leaf_c=8.0), "half_thickness_m is 0"),
        (lambda: blade_in_water([0, 1e9], [80, 80], half_thickness_m=1e-4, leaf_c=8), "far longer"),
        (lambda: EnzymeFraction(0.5, -1.0, 8e4), "rate_per_min is -1"),
        (lambda: survival(np.array([0.0, 1.0]), np.array([80.0, 80.0]),
                          (EnzymeFraction(0.5, 1.0, 8e4),)), "must add to 1"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(make, says):
    with pytest.raises(BadInput, match=says):
        make()
