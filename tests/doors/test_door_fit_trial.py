"""The fit-trial door: one trial a stage, what stands beside it, and its constants put to use."""

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

MILL = {
    "stage": "mill",
    "feed_um": [5000, 4000, 3000],
    "product_um": [500, 300, 200],
    "work_kj_kg": [34.8, 49.1, 60.2],
}


def test_a_trial_gives_constants_beside_what_stands():
    out = doors.call("fit-trial", {"trial": MILL})
    constant = next(f for f in out["fits"] if f["model"] == "bond")["constants"][0]
    assert constant["standing"] == 40
    assert constant["standing_evidence"] == "demo"
    away = abs(constant["value"] - 40) / constant["standard_error"]
    assert constant["standard_errors_away"] == pytest.approx(away)
    assert len(out["fits"][0]["residuals"]) == 3
    # The constant goes back into the mill door and gives the work that was metered.
    mill = {"law": "bond", "constant": constant["value"]}
    load = {"leaf": "sugar_kelp_blanched", "mass_kg": 300, "moisture_wb": 0.09}
    again = doors.call("mill", load | {"feed_um": 4000, "product_um": 300, "mill": mill})
    assert again["work_kj_kg"] == pytest.approx(49.1, rel=0.1)


@pytest.mark.parametrize(
    "trial",
    [
        {"stage": "roll", "minutes": [5, 15, 40], "disruption": [0.15, 0.38, 0.72]},
        {"stage": "sieve", "aperture_mm": 1.0, "size_mm": [0.5, 0.8, 0.9, 1.2],
         "share_staying": [0.06, 0.35, 0.5, 0.9]},
        {"stage": "sizes", "size_mm": [0.5, 1.0, 1.4, 2.0], "share_coarser": [0.93, 0.6, 0.4, 0.2]},
        {"stage": "wither", "mass_kg": 1220, "moisture_wb": 0.78, "dry_bulb_c": [24],
         "relative_humidity": [0.75], "time_h": [3, 8, 14], "reading_wb": [0.75, 0.70, 0.62]},
        {"stage": "blanch", "leaf": "sugar_kelp_raw", "mass_kg": 0.5, "moisture_wb": 0.9,
         "iodine_before_mg_kg_dw": 4600, "bath": {"water_kg": 20, "dip_kg": 0.5},
         "immersion_s": [20, 60, 180], "iodine_mg_kg_dw": [3000, 900, 300]},
        {"stage": "oxidise", "moisture_wb": 0.62, "minutes": [15, 40, 70],
         "theaflavin_fraction": [0.0035, 0.006, 0.0055]},
        {"stage": "colour", "moisture_wb": 0.62, "minutes": [5, 30, 60],
         "colour_index": [5.2, 12.0, 17.0]},
        {"stage": "loss", "what": "vitamin_c", "leaf_c": [50, 60, 70], "hours": [2, 2, 2],
         "kept": [0.9, 0.8, 0.6]},
        {"stage": "rates", "temperature_c": [40, 55, 70], "rate": [0.5, 0.9, 1.7]},
    ],
    ids=lambda t: t["stage"],
)  # fmt: skip
def test_every_stage_takes_its_trial(trial):
    out = doors.call("fit-trial", {"trial": trial})
    first = out["fits"][0]
    assert out["best"] == first["model"]
    assert all(c["value"] > 0.0 for c in first["constants"])
    assert first["use"].endswith(".")


def test_a_fitted_floor_and_bath_take_their_constants():
    leaf = {"mass_kg": 100, "moisture_wb": 0.62, "minutes": 40}
    plain = doors.call("oxidise", leaf)["theaflavin_fraction"]
    factors = {"theaflavin_factor": 0.5, "loss_ratio": 3.0}
    assert doors.call("oxidise", leaf | factors)["theaflavin_fraction"] == pytest.approx(plain / 2)
    dip = {"leaf": "sugar_kelp_raw", "mass_kg": 500, "moisture_wb": 0.9, "iodine_mg_kg_dw": 4600,
           "bath": {"water_kg": 1500, "dip_kg": 50}}  # fmt: skip
    slow = doors.call("blanch", dip | {"leach_factor": 0.5})
    assert slow["iodine_mg_kg_dw"] > doors.call("blanch", dip)["iodine_mg_kg_dw"]


def test_one_temperature_is_said_to_tell_no_activation_energy():
    trial = {"stage": "loss", "what": "chlorophyll", "leaf_c": [60, 60], "hours": [1, 3],
             "kept": [0.8, 0.5]}  # fmt: skip
    said = doors.call("fit-trial", {"trial": trial})["warnings"]
    assert sum("tells no activation energy of chlorophyll" in s for s in said) == 1
    hot = trial | {"leaf_c": [60, 75, 90], "hours": [3, 1, 0.4], "kept": [0.8, 0.8, 0.77]}
    out = doors.call("fit-trial", {"trial": hot})
    assert not any("tells no activation" in s for s in out["warnings"])
    by_heat = next(f for f in out["fits"] if f["model"] == "first_order_by_heat")
    assert by_heat["constants"][1]["standard_error"] > 0.0


def test_rates_of_one_temperature_are_refused_in_words():
    trial = {"stage": "rates", "temperature_c": [60, 60, 61], "rate": [0.5, 0.6, 0.5]}
    with pytest.raises(BadInput, match="at least 5 K away") as refused:
        doors.call("fit-trial", {"trial": trial})
    assert refused.value.problems[0].field == "temperature_c"


def test_fitted_activation_energies_go_back_into_their_doors():
    leaf = {"mass_kg": 100, "moisture_wb": 0.62, "minutes": 40, "dry_bulb_c": 34}
    plain = doors.call("oxidise", leaf)["oxidised_share"]
    steep = doors.call("oxidise", leaf | {"formation_activation_j_mol": 90_000})
    assert steep["oxidised_share"] > plain
    dip = {"leaf": "sugar_kelp_raw", "mass_kg": 500, "moisture_wb": 0.9, "iodine_mg_kg_dw": 4600,
           "bath": {"water_kg": 1500, "dip_kg": 50, "temperature_c": 60}}  # fmt: skip
    flat = doors.call("blanch", dip | {"leach_activation_j_mol": 10_000})
    assert flat["iodine_mg_kg_dw"] < doors.call("blanch", dip)["iodine_mg_kg_dw"]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"stage": "brew"}, "trial"),
        ({"work_kj_kg": [30, 30, 30]}, "work_kj_kg"),
        ({"work_kj_kg": [30, 31]}, "work_kj_kg"),
        ({"work_kj_kg": [30, -1, 40]}, "work_kj_kg.1"),
        ({"product_um": [500, 9000, 200]}, "product_um"),
        ({"colour": "green"}, "trial.colour"),
    ],
)
def test_bad_input_names_its_field(change, field):
    with pytest.raises(BadInput) as refused:
        doors.call("fit-trial", {"trial": MILL | change})
    assert refused.value.problems[0].field == field
