"""Sorption equations alone: limits, inverses, guards and values printed elsewhere."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from wareleaf.leaf import MODELS, check_parameters, parameters_from_percent
from wareleaf.leaf.sorption import isosteric_heat_of_model_j_kg
from wareleaf.measure import BadInput

R = 8.314462618
WATER = 0.018015

# One plausible set of constants a model (moisture in kg/kg), only to walk through the equations.
SETS = {
    "gab": {"monolayer_db": 0.07, "c": 12.0, "k": 0.9, "heat_c_j_mol": 9000.0},
    "modified_oswin": {"a": 0.09, "b": -0.0008, "c": 2.2},
    "modified_halsey": {"a": -3.6, "b": -0.02, "c": 1.6},
    "modified_henderson": {"a": 0.4, "b": 1.6, "c": 50.0},
    "modified_chung_pfost": {"a": 300.0, "b": 17.0, "c": 40.0},
    "peleg": {"c1": 0.24, "c2": 0.95, "c3": 0.8, "c4": 16.0, "heat_exponent_j_mol": -9000.0},
}
models = pytest.mark.parametrize("name", list(MODELS))


@models
def test_dry_air_leaves_no_water_and_dry_leaf_has_no_activity(name):
    model, constants = MODELS[name], SETS[name]
    assert model.moisture_db(0.0, 25.0, **constants) == 0.0
    if name != "modified_chung_pfost":  # that model keeps a foot at no moisture
        assert model.water_activity(0.0, 25.0, **constants) == pytest.approx(0.0, abs=1e-12)


@models
@settings(deadline=None, max_examples=40)
@given(aw=st.floats(0.02, 0.98), t=st.floats(-5.0, 90.0))
def test_moisture_and_water_activity_are_inverse(name, aw, t):
    model, constants = MODELS[name], SETS[name]
    db = model.moisture_db(aw, t, **constants)
    assume(db > 0.0)  # below Chung-Pfost's foot there is no moisture to invert
    assert model.water_activity(db, t, **constants) == pytest.approx(aw, rel=1e-9)


@models
@settings(deadline=None, max_examples=30)
@given(low=st.floats(0.0, 0.99), high=st.floats(0.0, 0.99), t=st.floats(0.0, 90.0))
def test_damper_air_never_means_drier_leaf(name, low, high, t):
    model, constants = MODELS[name], SETS[name]
    low, high = min(low, high), max(low, high)
    assert model.moisture_db(low, t, **constants) <= model.moisture_db(high, t, **constants)


@models
def test_arrays_give_what_scalars_give(name):
    model, constants = MODELS[name], SETS[name]
    aw, t = np.array([0.2, 0.5, 0.8]), np.array([10.0, 25.0, 60.0])
    db = model.moisture_db(aw, t, **constants)
    assert db == pytest.approx(
        [model.moisture_db(a, b, **constants) for a, b in zip(aw, t, strict=True)]
    )
    assert model.water_activity(db, t, **constants) == pytest.approx(aw)
    assert isinstance(model.moisture_db(0.5, 25.0, **constants), float)


@models
def test_nonsense_is_refused_by_name(name):
    model, constants = MODELS[name], SETS[name]
    with pytest.raises(BadInput, match=r"water_activity is 1\.2"):
        model.moisture_db(1.2, 25.0, **constants)
    with pytest.raises(BadInput, match=r"moisture_db is -0\.1"):
        model.water_activity(np.array([0.1, -0.1]), 25.0, **constants)
    with pytest.raises(BadInput, match="finite"):
        model.water_activity(float("nan"), 25.0, **constants)


@pytest.mark.parametrize(
    ("k", "edge"), [(1.143, 0.8749), (1.140, 0.8772), (1.097, 0.9116), (1.048, 0.9542)]
)
def test_gab_with_k_above_one_is_refused_where_it_diverges(k, edge):
    # K of Table 1, Korean J. Food Preserv. 25(6):627 (2018), read; the food it belongs to is not
    # known, so it is no seaweed data: only a printed table whose isotherm breaks at 1/K.
    constants = {"monolayer_db": 0.2, "c": 11.84, "k": k}
    gab = MODELS["gab"]
    assert np.isfinite(gab.moisture_db(edge - 0.001, 25.0, **constants))
    with pytest.raises(BadInput, match=f"{edge}"):
        gab.moisture_db(np.array([0.5, edge + 0.0005]), 25.0, **constants)
    # The other way round stays below the edge however wet the leaf is.
    assert gab.water_activity(1e6, 25.0, **constants) == pytest.approx(1.0 / k, rel=1e-4)


def test_gab_with_k_one_is_the_bet_isotherm_and_holds_a_monolayer_at_one_over_one_plus_root_c():
    # Definition of BET: at aw = 1/(1 + sqrt(C)) moisture is the monolayer.
    for c in (4.0, 25.0, 81.0):
        aw = 1.0 / (1.0 + np.sqrt(c))
        db = MODELS["gab"].moisture_db(aw, 25.0, monolayer_db=0.06, c=c, k=1.0)
        assert db == pytest.approx(0.06, rel=1e-12)


def test_gab_inverse_holds_for_c_of_one_and_below():
    for c in (0.5, 1.0, 2.0):
        db = MODELS["gab"].moisture_db(0.6, 25.0, monolayer_db=0.06, c=c, k=0.9)
        back = MODELS["gab"].water_activity(db, 25.0, monolayer_db=0.06, c=c, k=0.9)
        assert back == pytest.approx(0.6, rel=1e-12)


def test_yellow_dent_corn_by_two_models_of_the_standard():
    # ASAE D245.5 yellow dent corn, constants for percent moisture, from memory: two independent
    # fits of the same data must agree; both printed standard errors are near 1 % relative humidity.
    chung = parameters_from_percent(
        "modified_chung_pfost", {"a": 312.40, "b": 0.16958, "c": 30.205}
    )
    henderson = parameters_from_percent(
        "modified_henderson", {"a": 8.6541e-5, "b": 1.8634, "c": 49.810}
    )
    for aw in (0.4, 0.5, 0.6, 0.7, 0.8):
        one = MODELS["modified_chung_pfost"].moisture_db(aw, 25.0, **chung)
        two = MODELS["modified_henderson"].moisture_db(aw, 25.0, **henderson)
        assert one == pytest.approx(two, abs=0.006)
    # 14 % wb at 70 % and 25 degC is the trade's figure for corn that keeps (common practice).
    assert MODELS["modified_chung_pfost"].moisture_db(0.7, 25.0, **chung) == pytest.approx(
        0.14 / 0.86, abs=0.005
    )


def test_percent_constants_mean_the_same_isotherm():
    # X in percent must be 100 times X in kg/kg: evaluate the printed forms by hand at X = 12 %.
    percent = {
        "modified_oswin": ({"a": 9.0, "b": -0.08, "c": 2.2}, lambda: 1 / (1 + (7.0 / 12.0) ** 2.2)),
        "modified_halsey": (
            {"a": 3.8, "b": -0.02, "c": 1.6},
            lambda: np.exp(-np.exp(3.8 - 0.5) * 12.0**-1.6),
        ),
        "modified_henderson": (
            {"a": 2.5e-4, "b": 1.6, "c": 50.0},
            lambda: 1 - np.exp(-2.5e-4 * 75.0 * 12.0**1.6),
        ),
        "modified_chung_pfost": (
            {"a": 300.0, "b": 0.17, "c": 40.0},
            lambda: np.exp(-300.0 / 65.0 * np.exp(-0.17 * 12.0)),
        ),
    }
    for name, (constants, by_hand) in percent.items():
        fraction = parameters_from_percent(name, constants)
        assert MODELS[name].water_activity(0.12, 25.0, **fraction) == pytest.approx(by_hand())
    gab = parameters_from_percent("gab", {"monolayer_db": 7.0, "c": 12.0, "k": 0.9})
    assert gab["monolayer_db"] == pytest.approx(0.07)
    peleg = parameters_from_percent("peleg", {"c1": 24.0, "c2": 1.0, "c3": 80.0, "c4": 16.0})
    assert (peleg["c1"], peleg["c3"]) == pytest.approx((0.24, 0.8))


@pytest.mark.parametrize(
    ("name", "heat"),
    [
        # d ln aw / dT at constant moisture worked by hand from each printed form.
        ("modified_oswin", lambda aw, t, p: p["c"] * -p["b"] / (p["a"] + p["b"] * t) * (1 - aw)),
        ("modified_halsey", lambda aw, t, p: -p["b"] * -np.log(aw)),
        (
            "modified_henderson",
            lambda aw, t, p: (1 - aw) / aw * -np.log(1 - aw) / (t + p["c"]),
        ),
        ("modified_chung_pfost", lambda aw, t, p: -np.log(aw) / (t + p["c"])),
    ],
)
def test_isosteric_heat_is_clausius_clapeyron_on_the_printed_form(name, heat):
    p, t = SETS[name], 30.0
    for aw in (0.2, 0.5, 0.8):
        db = MODELS[name].moisture_db(aw, t, **p)
        by_hand = R * (t + 273.15) ** 2 * heat(aw, t, p) / WATER
        assert isosteric_heat_of_model_j_kg(name, p, db, t) == pytest.approx(by_hand, rel=1e-4)
        assert by_hand > 0.0  # bound water needs more heat than free water


def test_isosteric_heat_of_peleg_and_gab_follow_their_heats():
    # First Peleg term alone: q = heat_scale/c2 + heat_exponent ln aw (derived in the docstring).
    p = {"c1": 0.24, "c2": 0.95, "c3": 0.0, "c4": 16.0}
    p |= {"heat_scale_j_mol": 2000.0, "heat_exponent_j_mol": -9000.0}
    db = MODELS["peleg"].moisture_db(0.3, 25.0, **p)
    expected = (2000.0 / 0.95 - 9000.0 * np.log(0.3)) / WATER
    assert isosteric_heat_of_model_j_kg("peleg", p, db, 25.0) == pytest.approx(expected, rel=1e-4)
    # GAB far below the monolayer is Henry's law X = Xm C K aw: the heats add up.
    g = {"monolayer_db": 0.07, "c": 60.0, "k": 0.9}
    g |= {"heat_monolayer_j_mol": 1000.0, "heat_c_j_mol": 9000.0, "heat_k_j_mol": -500.0}
    assert isosteric_heat_of_model_j_kg("gab", g, 1e-3, 25.0) == pytest.approx(
        9500.0 / WATER, rel=0.02
    )


@pytest.mark.parametrize(
    ("model", "parameters", "field"),
    [
        ("bet", {}, "model"),
        ("gab", {"monolayer_db": 0.07, "c": 12.0}, "parameters.k"),
        ("gab", {"monolayer_db": -0.07, "c": 12.0, "k": 0.9}, "parameters.monolayer_db"),
        ("modified_oswin", {"a": 0.1, "b": 0.0, "c": 2.0, "d": 1.0}, "parameters.d"),
        ("peleg", {"c1": 0.2, "c2": 1.0, "c3": -0.1, "c4": 9.0}, "parameters.c3"),
        ("modified_halsey", {"a": float("inf"), "b": 0.0, "c": 2.0}, "parameters.a"),
    ],
)
def test_constants_that_make_no_isotherm_are_refused(model, parameters, field):
    with pytest.raises(BadInput) as refused:
        check_parameters(model, parameters)
    assert refused.value.problems[0].field == field


def test_a_linear_temperature_term_that_reaches_zero_is_refused():
    with pytest.raises(BadInput, match="temperature_c"):
        MODELS["modified_oswin"].moisture_db(0.5, 120.0, a=0.09, b=-0.0008, c=2.2)
