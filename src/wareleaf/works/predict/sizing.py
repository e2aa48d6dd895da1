"""Predict the sifter, the mill and the packing bench."""

from __future__ import annotations

from dataclasses import replace

from wareleaf.stages import mill, sift
from wareleaf.works.machines import mill_of, sifter_of
from wareleaf.works.predict.base import Ask, Prediction, corrected, readings_as, unchanged
from wareleaf.works.predict.tea import as_prediction

# A scale at the mill shows all product so far.
READS = {
    "moisture_wb": "moisture_wb",
    "mass_kg": "mass_kg",
    "temperature_c": "leaf_temperature_c",
}


def predict_sift(ask: Ask) -> Prediction:
    """Predict the grades: kilograms on each deck."""
    charge = ask.charge
    run = sift.SiftRun(
        leaf_id=charge.leaf_id,
        mass_kg=charge.mass_kg,
        moisture_wb=charge.moisture_wb,
        moisture_wb_sd=charge.moisture_sd,
    )
    stack = sifter_of(ask.machine)
    result = sift.simulate(stack, run)
    grades = ", ".join(f"{g.name} {g.mass_kg:.0f} kg" for g in result.grades)
    shares = {f"share {g.name}": g.share for g in result.grades}
    advice = f"Expect {grades}. Keep dust down: it can explode and it is not for lungs."
    told = as_prediction(ask, result, result.duration_h, advice, **shares)
    # A scale does not say which grade was on it, so a weight is kept only.
    usable, kept = readings_as(
        ask, {"moisture_wb": "moisture_wb", "temperature_c": "leaf_temperature_c"}
    )
    if not usable:
        return replace(told, advice=f"{advice} {kept}".strip())
    return corrected(told, sift.project(stack, run, usable), kept)


def predict_mill(ask: Ask) -> Prediction:
    """Predict energy, leaf temperature and dust of the mill."""
    charge = ask.charge
    spec, run = mill_of(ask.machine, ask.settings, charge)
    result = mill.simulate(spec, run)
    advice = "Keep dust down: kelp and tea dust can explode. Stop and lock the mill to clean it."
    told = as_prediction(ask, result, result.duration_h, advice)
    usable, kept = readings_as(ask, READS)
    if not usable:
        return replace(told, advice=f"{advice} {kept}".strip())
    seen = mill.project(spec, run, usable)
    told = replace(told, duration_h=seen.finish_h, duration_sd_h=seen.finish_sd_h)
    return corrected(told, seen, kept)


def predict_pack(ask: Ask) -> Prediction:
    """Packing changes no moisture; it takes the hours of the bench's rate."""
    hours = ask.charge.mass_kg / (ask.machine.rate_kg_h or ask.charge.mass_kg)
    return unchanged(ask, hours, "Weigh the first packs; leaf takes up water while it lies open.")
