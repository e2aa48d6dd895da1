"""Thin-layer fits: limits, recovery of known curves, a printed table, and what is refused."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wareleaf import leaf
from wareleaf.leaf.fit_thin_layer import (
    CURVES,
    EQUILIBRIUM,
    SLAB_RATE,
    fit_thin_layer,
    slab_moisture_ratio,
)
from wareleaf.measure import BadInput

# Ultrasonics Sonochemistry 100 (2023) 106633, doi 10.1016/j.ultsonch.2023.106633, Table 1 (read):
# coated sour cherry. Minutes were inferred from the printed curves, they are not printed.
MINUTES = 15.0 * np.arange(7)
READ = [1.000, 0.646, 0.525, 0.408, 0.329, 0.258, 0.192]
PRINTED = {
    "midilli": ([0.9999, 0.0944, 0.5083, -0.0023], "1.000 .653 .518 .417 .331 .256 .188"),
    "page": ([0.0504, 0.761], "1.000 .673 .511 .401 .321 .260 .213"),
    "wang_singh": ([-0.0184, 0.0001], "1.000 .745 .536 .374 .257 .183 .154"),
    "lewis": ([0.0198], "1.000 .743 .552 .410 .305 .227 .168"),
    "henderson_pabis": ([0.9533, 0.0187], ".953 .720 .544 .411 .310 .235 .177"),
    "logarithmic": ([0.8362, 0.0269, 0.1435], ".980 .702 .517 .393 .310 .255 .218"),
}
KNOWN = {
    "lewis": [0.8],
    "page": [0.9, 1.28],  # n of Bifurcaria, Univ. Santiago de Compostela (abstract)
    "henderson_pabis": [1.0, 0.8],
    "logarithmic": [0.9, 0.8, 0.1],
    "two_term": [0.4, 3.0, 0.6, 0.5],
    "midilli": [1.0, 0.8, 1.2, -0.002],
    "wang_singh": [-0.3, 0.03],
    "diffusion_slab": [0.3],
}
HOURS = np.linspace(0.0, 5.0, 30)


@pytest.mark.parametrize("name", PRINTED)
def test_printed_curves_follow_from_printed_constants(name):
    """Within 0.002 (printed digits); Wang-Singh has one digit of b: half of it times t^2."""
    constants, text = PRINTED[name]
    ours = CURVES[name].ratio(MINUTES, np.array(constants))
    slack = 0.5e-4 * MINUTES**2 if name == "wang_singh" else 0.0
    assert np.all(np.abs(ours - np.array([float(v) for v in text.split()])) <= 0.0025 + slack)


@pytest.mark.parametrize("name", PRINTED)
def test_printed_readings_give_the_printed_constants(name):
    """Within one standard error of our own fit, and never a worse fit than the printed one."""
    constants, text = PRINTED[name]
    found = fit_thin_layer(MINUTES, READ, [name])[0]
    ours, errors = found.parameters.values(), found.standard_errors.values()
    for value, error, printed in zip(ours, errors, constants, strict=True):
        assert abs(value - printed) <= error + 1e-4
    printed_rss = np.sum((np.array(READ) - np.array([float(v) for v in text.split()])) ** 2)
    assert found.rss <= printed_rss + 1e-5


def test_the_ranking_of_the_printed_table():
    """Midilli and Page are the closest by RMSE of the six, as printed predictions show too."""
    found = fit_thin_layer(MINUTES, READ, list(PRINTED))
    by_rmse = [f.model for f in sorted(found, key=lambda f: f.rmse)]
    assert by_rmse[:2] == ["midilli", "page"]


@pytest.mark.parametrize("name", KNOWN)
def test_a_known_curve_is_recovered(name):
    x = 0.1 + 5.9 * CURVES[name].ratio(HOURS, np.array(KNOWN[name]))
    found = fit_thin_layer(HOURS, x, [name], 0.1)[0]
    assert list(found.parameters.values()) == pytest.approx(KNOWN[name], rel=1e-6)
    assert found.rmse < 1e-9


@pytest.mark.parametrize("name", ["lewis", "page", "two_term", "diffusion_slab"])
def test_an_unknown_equilibrium_is_found_too(name):
    x = 0.1 + 5.9 * CURVES[name].ratio(HOURS, np.array(KNOWN[name]))
    found = fit_thin_layer(HOURS, x, [name], None)[0]
    assert found.parameters[EQUILIBRIUM] == pytest.approx(0.1, rel=1e-4)


@settings(deadline=None, max_examples=25)
@given(k=st.floats(0.05, 40.0), n=st.floats(0.6, 1.6), start=st.floats(0.3, 9.0))
def test_page_is_recovered_at_any_pace(k, n, start):
    t = np.linspace(0.0, 3.0 / k, 15)
    x = start * np.exp(-((k * t) ** n))
    found = fit_thin_layer(t, x, ["page"])[0]
    assert found.parameters["n"] == pytest.approx(n, rel=1e-5)
    assert found.parameters["k"] == pytest.approx(k**n, rel=1e-5)


def test_the_slab_series_at_its_ends():
    """Crank: 1 - sqrt(4 Fo/pi) at first, (8/pi^2) exp(-pi^2 Fo/4) at last, no step between."""
    assert slab_moisture_ratio(0.0) == 1.0
    early = np.array([1e-8, 1e-4, 1e-2])
    assert slab_moisture_ratio(early) == pytest.approx(1.0 - np.sqrt(4.0 * early / np.pi), rel=1e-9)
    late = np.array([1.0, 2.0])
    assert slab_moisture_ratio(late) == pytest.approx(
        8.0 / np.pi**2 * np.exp(-(np.pi**2) * late / 4.0), rel=1e-7
    )
    below, above = slab_moisture_ratio(np.array([0.2 - 1e-12, 0.2 + 1e-12]))
    assert below == pytest.approx(above, abs=1e-11)


def test_the_slab_rate_of_the_first_term_is_the_houses_own():
    diffusivity, half = 3e-10, 1e-3
    found = fit_thin_layer(
        HOURS,
        slab_moisture_ratio(diffusivity / half**2 * 3600.0 * HOURS),
        ["diffusion_slab"],
    )[0]
    first_term = found.parameters[SLAB_RATE] * np.pi**2 / 4.0
    assert first_term == pytest.approx(leaf.slab_rate_constant_per_h(diffusivity, half), rel=1e-9)


def test_the_quicker_of_two_terms_comes_first():
    x = 0.7 * np.exp(-0.4 * HOURS) + 0.3 * np.exp(-6.0 * HOURS)
    found = fit_thin_layer(HOURS, x, ["two_term"])[0]
    assert found.parameters["k1"] > found.parameters["k2"]
    assert found.parameters["b"] == pytest.approx(0.7, rel=1e-6)


@pytest.mark.parametrize(
    ("time", "db", "end", "field"),
    [
        ([0.0, 1.0, 2.0], [2.0, 2.0, 2.0], 0.0, "moisture_db"),
        ([0.0], [2.0], 0.0, "moisture_db"),
        ([0.0, 2.0, 1.0, 3.0], [4.0, 3.0, 2.0, 1.0], 0.0, "time_h"),
        ([0.0, 1.0, 1.0, 3.0], [4.0, 3.0, 2.0, 1.0], 0.0, "time_h"),
        ([0.0, 1.0, np.nan, 3.0], [4.0, 3.0, 2.0, 1.0], 0.0, "time_h"),
        ([0.0, 1.0, 2.0], [4.0, -1.0, 1.0], 0.0, "moisture_db"),
        ([0.0, 1.0, 2.0], [1.0, 2.0, 3.0], 0.0, "moisture_db"),
        ([0.0, 1.0, 2.0], [4.0, 3.0], 0.0, "moisture_db"),
        ([0.0, 1.0, 2.0], [4.0, 3.0, 2.0], 4.0, "equilibrium_moisture_db"),
        ([0.0, 1.0, 2.0], [4.0, 3.0, 2.0], -0.1, "equilibrium_moisture_db"),
        ([0.0, 1.0, 2.0], [4.0, np.inf, 2.0], 0.0, "moisture_db"),
        ([0.0, 1.0, 2.0], [400.0, 300.0, 12.0], 0.0, "moisture_db"),
    ],
)
def test_what_is_no_drying_run_is_refused(time, db, end, field):
    with pytest.raises(BadInput) as refused:
        fit_thin_layer(time, db, ["lewis"], end)
    assert refused.value.problems[0].field == field


def test_fewer_readings_than_constants_are_refused_by_model():
    with pytest.raises(BadInput, match="midilli has 4 constants and needs at least 5"):
        fit_thin_layer([0.0, 1.0, 2.0, 3.0], [4.0, 3.0, 2.0, 1.0], ["lewis", "midilli"])


@pytest.mark.parametrize("models", [[], ["verma"]])
def test_unknown_or_no_models_are_refused(models):
    with pytest.raises(BadInput, match="models"):
        fit_thin_layer([0.0, 1.0, 2.0], [4.0, 3.0, 2.0], models)
