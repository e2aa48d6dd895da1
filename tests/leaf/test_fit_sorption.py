"""Isotherm fits: recovery of known constants, certified points, temperature, and refusals."""

import numpy as np
import pytest

from wareleaf.leaf.fit_sorption import fit_sorption, least_constants
from wareleaf.leaf.models import MODELS
from wareleaf.measure import BadInput

ACTIVITY = np.array([0.11, 0.23, 0.33, 0.43, 0.53, 0.65, 0.75, 0.84, 0.90])
KNOWN = {
    "gab": {
        "monolayer_db": 0.07,
        "c": 12.0,
        "k": 0.9,
        "heat_monolayer_j_mol": 2000.0,
        "heat_c_j_mol": 6000.0,
        "heat_k_j_mol": -800.0,
        "reference_c": 30.0,
    },
    "modified_oswin": {"a": 0.12, "b": -0.0008, "c": 2.2},
    "modified_halsey": {"a": -3.6, "b": -0.02, "c": 1.6},
    "modified_henderson": {"a": 0.4, "b": 1.6, "c": 50.0},
    "modified_chung_pfost": {"a": 300.0, "b": 17.0, "c": 40.0},
    "peleg": {
        "c1": 0.24,
        "c2": 0.95,
        "c3": 0.8,
        "c4": 16.0,
        "heat_scale_j_mol": 1000.0,
        "heat_exponent_j_mol": -2000.0,
        "reference_c": 30.0,
    },
}


def points(model, constants, temperatures=(20.0, 30.0, 40.0), noise=0.0, seed=1):
    aw, t = np.tile(ACTIVITY, len(temperatures)), np.repeat(temperatures, ACTIVITY.size)
    db = MODELS[model].moisture_db(aw, t, **constants)
    return aw, db * (1.0 + noise * np.random.default_rng(seed).standard_normal(aw.size)), t


@pytest.mark.slow
@pytest.mark.parametrize("model", KNOWN)
def test_known_constants_are_recovered_at_three_temperatures(model):
    found = fit_sorption(*points(model, KNOWN[model]), [model])[0]
    assert found.held == ()
    for name, value in KNOWN[model].items():
        assert found.constants[name] == pytest.approx(value, rel=1e-5)


@pytest.mark.slow
@pytest.mark.parametrize("model", KNOWN)
def test_noisy_points_give_constants_within_their_errors(model):
    """3 % of noise; every true value within four standard errors (a miss is 1 in 16,000)."""
    found = fit_sorption(*points(model, KNOWN[model], noise=0.03, seed=8), [model])[0]
    for name, error in found.fit.standard_errors.items():
        if not found.held:
            assert abs(found.constants[name] - KNOWN[model][name]) < 4.0 * error


@pytest.mark.parametrize("model", KNOWN)
def test_at_one_temperature_the_temperature_term_is_held(model):
    aw, db, t = points(model, KNOWN[model], temperatures=(30.0,))
    found = fit_sorption(aw, db, t, [model])[0]
    assert found.held
    assert found.fit.rmse < 1e-6
    assert len(found.fit.parameters) == least_constants(model)
    again = MODELS[model].moisture_db(aw, t, **found.constants)
    assert again == pytest.approx(db, rel=1e-5)


@pytest.mark.slow
@pytest.mark.parametrize("model", ["modified_oswin", "modified_halsey", "gab"])
def test_points_name_their_own_model(model):
    found = fit_sorption(*points(model, KNOWN[model], noise=0.01), list(KNOWN))
    assert found[0].fit.model == model
    aicc = [f.fit.aicc for f in found]
    assert aicc == sorted(aicc)


def test_temperature_that_does_nothing_is_left_out():
    flat = KNOWN["modified_oswin"] | {"b": 0.0}
    found = fit_sorption(*points("modified_oswin", flat, noise=0.01, seed=4), ["modified_oswin"])
    assert found[0].held == ("b",)


def test_a_gab_of_salty_or_hungry_stuff_may_have_k_above_one():
    """Korean J. Food Preserv. 25(6):627 (2018), Table 1 (read, food unknown): K 1.143 at 25 degC.

    Such an isotherm ends at 1/K = 0.875; points below that are fitted, none beyond is invented.
    """
    aw = np.array([0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8])
    db = MODELS["gab"].moisture_db(aw, 25.0, monolayer_db=0.2, c=11.84, k=1.143)
    found = fit_sorption(aw, db, np.full(8, 25.0), ["gab"])[0]
    assert found.constants["k"] == pytest.approx(1.143, rel=1e-6)


@pytest.mark.parametrize(
    ("aw", "db", "t", "field"),
    [
        ([0.2, 0.4, 1.0, 0.8], [0.05, 0.08, 0.1, 0.2], [25.0] * 4, "points.2.water_activity"),
        ([0.2, -0.4, 0.6, 0.8], [0.05, 0.08, 0.1, 0.2], [25.0] * 4, "points.1.water_activity"),
        ([0.2, 0.4, 0.6, 0.8], [0.05, 0.0, 0.1, 0.2], [25.0] * 4, "points.1.moisture_db"),
        ([0.2, 0.4, 0.6, 0.8], [0.05, np.nan, 0.1, 0.2], [25.0] * 4, "points.1.moisture_db"),
        ([0.2, 0.4, 0.6, 0.8], [0.05, 0.08, 0.1, 0.2], [25.0, 25, 400, 25], "points.2.temperature"),
        ([0.2, 0.4, 0.6, 0.8], [0.1, 0.1, 0.1, 0.1], [25.0] * 4, "points"),
        ([0.4, 0.4, 0.4, 0.4], [0.1, 0.2, 0.3, 0.4], [25.0] * 4, "points"),
        ([0.2, 0.4, 0.6, 0.8], [0.4, 0.3, 0.2, 0.1], [25.0] * 4, "points"),
        ([0.2, 0.4, 0.6], [0.05, 0.08, 0.1], [25.0] * 3, "points"),
    ],
)
def test_what_is_no_sorption_is_refused(aw, db, t, field):
    with pytest.raises(BadInput) as refused:
        fit_sorption(aw, db, t, ["gab"])
    assert refused.value.problems[0].field.startswith(field)


@pytest.mark.parametrize("models", [[], ["bet"]])
def test_unknown_or_no_models_are_refused(models):
    with pytest.raises(BadInput, match="models"):
        fit_sorption([0.2, 0.4, 0.6], [0.05, 0.08, 0.1], [25.0] * 3, models)


KELP_AIR = np.array([0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.68, 0.76, 0.8, 0.85, 0.9])


def kelp_points():
    """Raw kelp taking water up at 25 degC, across the step of its salts."""
    from wareleaf import leaf

    kelp = leaf.profile("sugar_kelp_raw")
    db = leaf.equilibrium_moisture_db(kelp, KELP_AIR, 25.0, "adsorption")
    db = db * (1.0 + 0.01 * np.random.default_rng(3).standard_normal(KELP_AIR.size))
    return kelp, KELP_AIR, db, np.full(KELP_AIR.size, 25.0)


def test_salty_leaf_fits_once_its_salt_is_given():
    """The step of the salt bends a bare curve, and a profile would count the brine twice."""
    kelp, *noisy = kelp_points()
    salts = (kelp.salt_nacl_fraction, kelp.salt_kcl_fraction)
    with_salt, without = (fit_sorption(*noisy, ["gab"], s)[0].fit.rmse for s in (salts, (0.0, 0.0)))
    assert with_salt < 0.3 * without


def test_more_salt_than_the_points_can_hold_is_refused():
    _, *points_of_kelp = kelp_points()
    with pytest.raises(BadInput, match=r"point 8 holds 0\.4.* give smaller shares of salt"):
        fit_sorption(*points_of_kelp, ["peleg"], (0.3, 0.2))
    with pytest.raises(BadInput, match="salt_kcl_fraction is"):
        fit_sorption(*points_of_kelp, ["peleg"], (0.1, -0.1))
    with pytest.raises(BadInput, match="add up to"):
        fit_sorption(*points_of_kelp, ["peleg"], (0.4, 0.3))
