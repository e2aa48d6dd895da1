"""Predict a lot going through the wash tank or the blanch bath."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from wareleaf import leaf as leaves
from wareleaf.stages import blanch
from wareleaf.works.machines import bath_of, of_the_run
from wareleaf.works.predict.base import (
    Ask,
    Prediction,
    air_at,
    corrected,
    readings_as,
    unchanged,
)

if TYPE_CHECKING:
    from wareleaf.works.properties.ahead import IodineAhead

# What the bath is asked to reach when an operator wants settings: iodine in the dry matter.
# Our own choice for the demo, half of the strictest figure in the limit table that is known.
IODINE_AIM_MG_KG_DW = 500.0

_AIMS = 2

# The probe hangs in the bath; a scale shows all drained leaf so far.
READS = {
    "moisture_wb": "moisture_wb",
    "mass_kg": "mass_kg",
    "temperature_c": "bath_temperature_c",
}


def predict_wash(ask: Ask) -> Prediction:
    """A wash takes sand and small animals off; leaf and moisture are taken as unchanged.

    Common practice, no source; a works that loses dry matter in its tank books it as a stream.
    """
    hours = ask.charge.mass_kg / (ask.machine.rate_kg_h or ask.charge.mass_kg)
    return unchanged(ask, hours, "Look for small shellfish: they are an allergen.")


def blanch_run_of(ask: Ask) -> blanch.BlanchRun:
    """The run of a lot at the settings."""
    charge = ask.charge
    dry_bulb, _, _ = air_at(ask, 1)
    iodine = next(
        (f.value for f in leaves.profile(charge.leaf_id).figures if f.quantity == "iodine_mg_kg"),
        None,
    )
    given = {} if iodine is None else {"iodine_mg_kg_dw": iodine}
    return blanch.BlanchRun(
        leaf_id=charge.leaf_id,
        mass_kg=charge.mass_kg,
        moisture_wb=charge.moisture_wb,
        moisture_wb_sd=charge.moisture_sd,
        immersion_s=ask.settings["immersion_s"],
        room_c=max(5.0, dry_bulb[0]),
        **given,
        **of_the_run(ask.machine),
    )


def predict_blanch(ask: Ask) -> Prediction:
    """Predict what the bath takes out of the leaf, its iodine and its moisture."""
    bath = bath_of(ask.machine, ask.settings)
    run = blanch_run_of(ask)
    result = blanch.simulate(bath, run)
    usable, kept = readings_as(ask, READS)
    seen = blanch.project(bath, run, usable) if usable else None
    iodine = result.iodine_mg_kg_dw if seen is None else seen.iodine_mg_kg_dw
    advice = "Test the lot for iodine: the spread between lots is wide."
    told = Prediction(
        duration_h=result.duration_h,
        duration_sd_h=0.05 * result.duration_h,
        mass_out_kg=result.mass_out_kg,
        moisture_wb_out=result.moisture_wb_out,
        moisture_wb_out_sd=result.moisture_wb_out_sd,
        moisture_wb_now=result.moisture_wb_out,
        moisture_wb_now_sd=result.moisture_wb_out_sd,
        leached_dry_kg=result.dry_matter_leached_kg,
        heat_kwh=result.heat_kwh,
        electricity_kwh=result.electricity_kwh,
        fuel_kg=result.fuel_kg,
        leaf_temperature_max_c=result.leaf_temperature_max_c,
        advice=advice,
        detail={
            "iodine_kept": iodine / run.iodine_mg_kg_dw,
            "log_reduction_worst": result.log_reduction_worst,
            "dumps": float(result.dumps),
        },
        warnings=result.warnings,
        sources=result.sources,
    )
    if seen is None:
        return replace(told, advice=f"{advice} {kept}".strip())
    return corrected(told, replace(seen, note=""), kept)


def with_iodine(ask: Ask, told: Prediction) -> Prediction:
    """A forecast of a blanch with the iodine that is to be expected by all results so far.

    For people; what the book keeps of a forecast is the model's own word, `iodine_kept`.
    """
    believed = _believed(ask, told.detail["iodine_kept"])
    if believed is None:
        return told
    detail = {
        **told.detail,
        "iodine_mg_kg_dw": believed.value,
        "iodine_mg_kg_dw_sd": believed.sd,
        "bath_over_model": believed.bath,
    }
    return replace(told, advice=f"{believed.sentence} {told.advice}", detail=detail)


def _believed(ask: Ask, kept_by_model: float) -> IodineAhead | None:
    # Properties also tell what a lot cost, and costs ask for forecasts.
    from wareleaf.works.properties.ahead import iodine_ahead

    return iodine_ahead(ask.works, ask.machine, ask.charge.leaf_id, ask.lots, kept_by_model)


def aim_blanch(ask: Ask) -> tuple[dict[str, float], str, bool]:
    """Shortest time in the bath that brings iodine down, by all results so far.

    The model's iodine is in proportion to what the leaf brought, so it aims with leaf that holds as
    much as makes the model's answer the believed one; once more at what was found, since what the
    bath does beside its model depends a little on how much it leaches.
    """
    bath, run = bath_of(ask.machine, ask.settings), blanch_run_of(ask)
    chosen = run
    for _ in range(_AIMS):
        model = blanch.simulate(bath, chosen)
        by_model = model.iodine_mg_kg_dw / chosen.iodine_mg_kg_dw
        believed = _believed(ask, by_model)
        if believed is not None:
            run = replace(run, iodine_mg_kg_dw=believed.value / by_model)
        found = blanch.aim(bath, run, iodine_max_mg_kg_dw=IODINE_AIM_MG_KG_DW)
        seconds = found.settings.get("immersion_s", chosen.immersion_s)
        chosen = replace(chosen, immersion_s=seconds)
    return {**ask.settings, **found.settings}, found.reason, found.reachable
