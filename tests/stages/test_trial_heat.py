"""Activation energies from trials at several temperatures; what one does not tell."""

import math
from dataclasses import replace

import numpy as np
import pytest

from wareleaf.measure import BadInput
from wareleaf.stages import blanch, oxidise, quality, trial_floor, trial_heat, trial_stage
from wareleaf.stages.oxidise_rate import figure as oxidise_figure

GAS = 8.314462618


def noise(n, seed):
    return np.random.default_rng(seed).standard_normal(n)


def near(constant, true, errors=3.5):
    assert constant.standard_error is not None
    assert abs(constant.value - true) <= errors * constant.standard_error, constant


def by_name(found):
    return {c.name: c for c in found.constants}


# ---- Any rate ------------------------------------------------------------------------------


def test_the_decay_of_dinitrogen_pentoxide():
    """Rate constants of Daniels and Johnston 1921 as textbooks reprint them, and their 103 kJ/mol.

    Both from memory; textbooks give 102 to 104 by how the line is drawn.
    """
    celsius = [0.0, 25.0, 35.0, 45.0, 55.0, 65.0]
    rate = [7.87e-7, 3.46e-5, 1.35e-4, 4.98e-4, 1.50e-3, 4.87e-3]
    (found,) = trial_heat.fit_rates(celsius, rate, reference_c=25.0)
    told = by_name(found)
    assert told["activation_j_mol"].value == pytest.approx(103e3, rel=0.01)
    assert told["rate"].value == pytest.approx(3.46e-5, rel=0.05)
    assert told["activation_j_mol"].standard_error < 2e3


def test_the_line_is_that_of_textbook_regression():
    """Slope, level and their errors against the closed forms of a straight line (any textbook)."""
    celsius = np.array([40.0, 50.0, 60.0, 70.0, 80.0])
    y = np.log(0.3) + 0.05 * noise(5, 1) + 40e3 / GAS * (1 / 333.15 - 1 / (celsius + 273.15))
    (found,) = trial_heat.fit_rates(celsius.tolist(), np.exp(y).tolist())
    x = -1.0 / (GAS * (celsius + 273.15))
    slope, level = np.polyfit(x, y, 1)
    rest = y - level - slope * x
    error = math.sqrt(rest @ rest / 3 / np.sum((x - x.mean()) ** 2))
    told = by_name(found)["activation_j_mol"]
    assert told.value == pytest.approx(slope, rel=1e-6)
    assert told.standard_error == pytest.approx(error, rel=1e-6)


def test_the_scatter_of_many_trials_is_what_the_error_says():
    celsius = [40.0, 50.0, 60.0, 70.0, 80.0]
    true = [math.exp(45e3 / GAS * (1 / 333.15 - 1 / (c + 273.15))) for c in celsius]
    z = []
    for seed in range(200):
        read = np.array(true) * np.exp(0.05 * noise(5, seed))
        told = by_name(trial_heat.fit_rates(celsius, read.tolist())[0])["activation_j_mol"]
        z.append((told.value - 45e3) / told.standard_error)
    # Student's t with three degrees of freedom: 95 % lie within 3.18.
    assert np.mean(np.abs(z) < 3.182) == pytest.approx(0.95, abs=0.04)


def test_a_rate_that_falls_with_heat_is_said():
    (found,) = trial_heat.fit_rates([40.0, 60.0, 80.0], [3.0, 2.0, 1.1])
    assert "does not rise with temperature" in found.said[0]


# ---- What heat takes from leaf -----------------------------------------------------------


HOT = [50.0] * 3 + [65.0] * 3 + [80.0] * 3
HOURS = [2.0, 6.0, 14.0, 1.0, 3.0, 7.0, 0.3, 1.0, 2.5]


def kept(energy, rate=0.1, at=65.0, seed=None):
    loss = quality.Loss("vitamin_c", rate, at, energy)
    shares = [math.exp(-loss.rate_at(c) * h) for c, h in zip(HOT, HOURS, strict=True)]
    return shares if seed is None else np.clip(shares + 0.01 * noise(9, seed), 0.0, 1.0).tolist()


def test_vitamin_c_of_a_trial_at_three_temperatures():
    found = trial_heat.fit_loss("vitamin_c", HOT, HOURS, kept(60e3, seed=4))
    best = found[0]
    assert best.fit.model == "first_order_by_heat"
    told = by_name(best)
    near(told["activation_j_mol"], 60e3)
    # Against what is published of another leaf, and it says so.
    assert told["activation_j_mol"].standing.evidence == "secondary"
    at = float(best.use.split("reference_c = ")[1].split(",")[0])
    near(told["rate_per_h"], quality.Loss("vitamin_c", 0.1, 65.0, 60e3).rate_at(at))
    assert all("half" not in s for s in best.said)


def test_without_noise_the_constants_come_back_and_go_back_into_the_loss():
    best = trial_heat.fit_loss("theaflavin", HOT, HOURS, kept(85e3))[0]
    told = by_name(best)
    assert told["activation_j_mol"].value == pytest.approx(85e3, rel=1e-5)
    assert told["activation_j_mol"].standing is None  # nothing is published
    at = float(best.use.split("reference_c = ")[1].split(",")[0])
    again = quality.Loss("theaflavin", told["rate_per_h"].value, at, told["activation_j_mol"].value)
    assert math.exp(-again.rate_at(50.0) * 6.0) == pytest.approx(kept(85e3)[1], rel=1e-3)


def test_one_temperature_gives_a_rate_and_says_what_it_does_not_tell():
    shares = [math.exp(-0.2 * h) for h in (1.0, 2.0, 4.0)]
    (found,) = trial_heat.fit_loss("chlorophyll", [60.0] * 3, [1.0, 2.0, 4.0], shares)
    assert found.fit.parameters == {"rate_per_h": pytest.approx(0.2)}
    assert "at 60 degC: one temperature tells no activation energy of chlorophyll" in found.said[0]
    assert "[[loss]] also wants an activation energy" in found.use


def test_a_loss_that_does_not_grow_with_heat_is_said():
    shares = [math.exp(-r * h) for r, h in zip((0.3, 0.3, 0.2, 0.2, 0.1, 0.1), (1, 3) * 3)]  # noqa: B905
    found = trial_heat.fit_loss("own_thing", [50.0, 50, 60, 60, 70, 70], [1.0, 3.0] * 3, shares)
    said = [s for f in found for s in f.said]
    assert any("does not go faster when hotter" in s for s in said)


# ---- Leaching ------------------------------------------------------------------------------

BATH = blanch.Bath(20.0, dip_kg=0.5)
DIP = blanch.BlanchRun("sugar_kelp_raw", 0.5, 0.9, 4605.0)
SECONDS = [15.0, 40.0, 120.0] * 3
BATHS_C = [60.0] * 3 + [75.0] * 3 + [90.0] * 3


def dips(energy, seed):
    true = replace(DIP, leach_factor=0.7, residual_factor=1.5, leach_activation_j_mol=energy)
    left = [
        blanch.simulate(
            replace(BATH, temperature_c=c), replace(true, immersion_s=s)
        ).iodine_mg_kg_dw
        for s, c in zip(SECONDS, BATHS_C, strict=True)
    ]
    return (np.array(left) + 20.0 * noise(9, seed)).tolist()


@pytest.mark.slow
def test_dips_at_three_temperatures_tell_how_leaching_rises_with_heat():
    found = trial_stage.fit_blanch(BATH, DIP, SECONDS, dips(45e3, 3), BATHS_C)
    best = found[0]
    assert best.fit.model == "first_order_with_bound_part_by_heat"
    told = by_name(best)
    near(told["leach_activation_j_mol"], 45e3)
    near(told["leach_factor"], 0.7)
    near(told["residual_factor"], 1.5)
    assert told["leach_activation_j_mol"].standing.value == 64_000.0
    assert "leach_activation_j_mol" in best.use


def test_dips_of_one_bath_tell_none():
    seconds, left = [15.0, 40.0, 120.0, 200.0], [2500.0, 1200.0, 500.0, 450.0]
    (found,) = trial_stage.fit_blanch(BATH, DIP, seconds, left)
    assert "leach_activation_j_mol" not in found.fit.parameters
    assert "at 80 degC: one temperature tells no activation energy of leaching" in found.said[0]


def test_three_dips_are_too_few_for_three_constants():
    (found,) = trial_stage.fit_blanch(
        BATH, DIP, [15.0, 40.0, 120.0], [3000.0, 1400.0, 500.0], [60.0, 75.0, 90.0]
    )
    assert "3 points are too few for 3 constants" in found.said[0]
    assert "at least 4" in found.said[0]


def test_the_activation_energy_is_that_of_the_bath_and_stands_where_none_is_given():
    hot = replace(BATH, temperature_c=95.0)
    plain = blanch.simulate(hot, replace(DIP, immersion_s=90.0)).iodine_mg_kg_dw
    steep = replace(DIP, immersion_s=90.0, leach_activation_j_mol=100e3)
    assert blanch.simulate(hot, steep).iodine_mg_kg_dw < plain
    same = replace(DIP, immersion_s=90.0, leach_activation_j_mol=64e3)
    assert blanch.simulate(hot, same).iodine_mg_kg_dw == plain
    with pytest.raises(BadInput, match="leach_activation_j_mol"):
        replace(DIP, leach_activation_j_mol=-1.0)


# ---- Oxidation -----------------------------------------------------------------------------

FLOOR = oxidise.Floor()
LEAF = oxidise.OxidiseRun("tea_black", 1.0, 0.62)
MINUTES = [15.0, 40.0, 80.0, 140.0]
AIRS_C = [18.0] * 4 + [25.0] * 4 + [32.0] * 4


def samples(leaf, seed, size=2e-5):
    rows = []
    for celsius in (18.0, 25.0, 32.0):
        made = oxidise.simulate(replace(FLOOR, dry_bulb_c=celsius), replace(leaf, minutes=140.0))
        rows += np.interp(MINUTES, made.course_min, made.course_theaflavin).tolist()
    return (np.array(rows) + size * noise(12, seed)).tolist()


@pytest.mark.slow
def test_a_floor_at_three_temperatures_tells_both_activation_energies():
    true = {
        "rate_factor": 1.2,
        "theaflavin_factor": 0.8,
        "loss_ratio": 4.0,
        "formation_activation_j_mol": 60e3,
        "loss_activation_j_mol": 95e3,
    }
    read = samples(replace(LEAF, **true), 5)
    found = trial_floor.fit_oxidise(FLOOR, LEAF, MINUTES * 3, read, AIRS_C)
    assert found[0].fit.model == "consecutive_own_loss_by_heat"
    told = by_name(found[0])
    for name, value in true.items():
        near(told[name], value)
    standing = oxidise_figure("all.formation_activation_j_mol")
    assert told["formation_activation_j_mol"].standing.value == standing
    # Without it the same points fit far worse.
    by_model = {f.fit.model: f.fit for f in found}
    assert by_model["consecutive_own_loss"].aicc > found[0].fit.aicc + 20.0


def test_a_floor_at_one_temperature_tells_none():
    read = samples(LEAF, 6)[:3]
    found = trial_floor.fit_oxidise(FLOOR, LEAF, MINUTES[:3], read)
    assert {f.fit.model for f in found} == {"consecutive"}
    assert "at 24 degC: one temperature tells no activation energy of oxidation" in found[0].said[0]


def test_temperatures_that_hardly_differ_count_as_one():
    read = samples(LEAF, 6)[:3]
    (found,) = trial_floor.fit_oxidise(FLOOR, LEAF, MINUTES[:3], read, [24.0, 24.0, 26.0])
    assert "between 24 and 26 degC" in found.said[0]


def test_a_hotter_floor_with_more_activation_is_quicker():
    warm = replace(FLOOR, dry_bulb_c=32.0)
    steep = replace(LEAF, formation_activation_j_mol=80e3, minutes=20.0)
    plain = replace(LEAF, minutes=20.0)
    assert (
        oxidise.simulate(warm, steep).oxidised_share > oxidise.simulate(warm, plain).oxidised_share
    )
    with pytest.raises(BadInput, match="loss_activation_j_mol"):
        replace(LEAF, loss_activation_j_mol=1e6)


# ---- Colour --------------------------------------------------------------------------------


def colours(rate=1.0, size=0.2, seed=8):
    at = [5.0, 20.0, 40.0, 60.0, 75.0, 90.0]
    made = oxidise.simulate(FLOOR, replace(LEAF, minutes=90.0, rate_factor=rate))
    share = np.interp(at, made.course_min, made.course_oxidised)
    return at, (-8.0 + 32.0 * share + size * noise(6, seed)).tolist()


def test_a_colour_is_linked_to_the_share_by_the_works_own_trial():
    at, read = colours()
    told = by_name(trial_floor.fit_colour(FLOOR, LEAF, at, read)[0])
    near(told["colour_start"], -8.0)
    near(told["colour_end"], 24.0)
    assert told["colour_end"].unit == "of the meter"


@pytest.mark.slow
def test_a_colour_that_bends_otherwise_gives_its_own_rate():
    at, read = colours(rate=2.5, size=0.05)
    best = trial_floor.fit_colour(FLOOR, LEAF, at, read)[0]
    assert best.fit.model == "linear_in_oxidised_share_own_rate"
    near(by_name(best)["rate_factor"], 2.5)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: trial_heat.fit_rates([60.0, 60.0, 60.0], [1.0, 1.1, 0.9]), "one temperature"),
        (lambda: trial_heat.fit_rates([50.0, 70.0], [1.0, 2.0]), "2 points are too few"),
        (lambda: trial_heat.fit_rates([50.0, 60.0, 70.0], [1.0, 0.0, 2.0]), "rate of point 2 is 0"),
        (lambda: trial_heat.fit_rates([50.0, 60.0], [1.0]), "1 values and temperature_c has 2"),
        (lambda: trial_heat.fit_loss(" ", [50.0], [1.0], [0.5]), "what is empty"),
        (
            lambda: trial_heat.fit_loss("x", [50.0] * 3, [1.0, 0.0, 2.0], [0.5] * 3),
            "hours of point",
        ),
        (lambda: trial_heat.fit_loss("x", [50.0] * 2, [1.0, 2.0], [0.5, 1.5]), "kept of point 2"),
        (lambda: trial_heat.fit_loss("x", [], [], []), "leaf_c is empty"),
        (lambda: trial_heat.fit_loss("x", [60.0] * 3, [1.0, 2.0, 4.0], [0.3, 0.5, 0.8]), "rises"),
        (
            lambda: trial_floor.fit_oxidise(FLOOR, LEAF, [40.0, 15.0], [0.1, 0.1], [20.0, 20.0]),
            "point 2 is 15 after 40",
        ),
        (
            lambda: trial_floor.fit_oxidise(FLOOR, LEAF, [15.0, 40.0], [0.1, 0.1], [20.0]),
            "air_c has 1 values",
        ),
        (lambda: trial_floor.fit_colour(FLOOR, LEAF, [5.0, 9.0, 12.0], [3.0] * 3), "all 3; a fit"),
    ],
)
def test_a_bad_trial_is_refused_in_words(make, says):
    with pytest.raises(BadInput, match=says):
        make()
