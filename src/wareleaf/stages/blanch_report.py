"""From what was counted in the bath to the result: closures, spread, cautions."""

from __future__ import annotations

import math

import numpy as np

from wareleaf.stages import blanch_leaf as blade
from wareleaf.stages.blanch_bath import ARSENIC, IODINE, MINERALS, Liquor
from wareleaf.stages.blanch_run import Day
from wareleaf.stages.blanch_spec import FIGURES, SPECIES, Bath, BlanchResult, BlanchRun, figure
from wareleaf.stages.blanch_trace import peroxidase, survival
from wareleaf.stages.common import JOULES_PER_KWH, cite, relative_closure


def _closures(run: BlanchRun, day: Day, start: Liquor) -> tuple[float, float, float, float]:
    """Relative closure of water, energy, dry matter and iodine around the whole bath."""
    dry_in = run.mass_kg * (1.0 - run.moisture_wb)
    water_in = run.mass_kg * run.moisture_wb
    left = (day.out, day.waste, day.bath)
    water = relative_closure(
        water_in + start.water_kg + day.made_up.water_kg,
        sum(x.water_kg for x in left) + day.steam_kg,
        water_in,
    )
    energy = relative_closure(
        day.leaf_in_j + start.enthalpy_j + day.made_up.enthalpy_j + day.heater_j,
        sum(x.enthalpy_j for x in left) + day.rest_out_j + day.steam_j + day.lost_j,
        day.heater_j,
    )
    dry = relative_closure(
        dry_in + start.dry_kg + day.made_up.dry_kg,
        sum(x.dry_kg for x in left) + day.rest_out_kg,
        dry_in,
    )
    iodine = relative_closure(
        1e-6 * run.iodine_mg_kg_dw * dry_in
        + float(start.solute_kg[IODINE] + day.made_up.solute_kg[IODINE]),
        float(sum(x.solute_kg[IODINE] for x in left) + day.bound_out_kg[IODINE]),
        0.0,
    )
    return water, energy, dry, iodine


def iodine_log_sd(content_in: float, content_out: float) -> float:
    """Spread of ln(iodine left), in proportion to how much was leached.

    Six published residuals of sugar kelp spread by 0.53 around a mean ln of -2.34; leaf that has
    lost nothing has no such spread.
    """
    if content_in <= 0.0 or content_out <= 0.0:
        return 0.0
    fallen = max(0.0, -math.log(content_out / content_in))
    return figure("all.iodine_residual_log_sd") * fallen / -figure("all.iodine_residual_log_mean")


def _moisture_sd(bath: Bath, run: BlanchRun, day: Day, moisture: float) -> float:
    """Spread of moisture out: meter, drag-out and leaching, first order, independent."""
    mass_out = day.out.water_kg + day.out.dry_kg + day.rest_out_kg
    dry_in = run.mass_kg * (1.0 - run.moisture_wb)
    dry_out = day.out.dry_kg + day.rest_out_kg
    meter = run.mass_kg * run.moisture_wb_sd * ((1.0 - moisture) + moisture * dry_out / dry_in)
    film = figure("bath.drag_out_log_sd") * bath.drag_out_kg_per_kg * run.drag_factor * mass_out
    leached = figure("all.leach_rate_log_sd") * abs(dry_in - dry_out)
    parts = (meter, film * (1.0 - moisture), leached * moisture)
    return math.sqrt(sum(x * x for x in parts)) / mass_out


def _warnings(bath: Bath, run: BlanchRun, day: Day, worst_c: float, peak_c: float) -> list[str]:
    said = []
    if day.coolest_c < bath.temperature_c - 2.0:
        said.append(
            f"The heater is too small for this pace: the bath falls to {day.coolest_c:.1f} degC, "
            f"set point {bath.temperature_c:.0f}."
        )
    kept = [basket[4] for basket in day.course]
    if max(kept) > 1.5 * kept[0]:
        said.append(
            f"The bath loads up to {100 * day.dirtiest:.1f} % dissolved matter: the worst basket "
            f"keeps {max(kept) / kept[0]:.1f} times the iodine of the first. Dump sooner or run "
            "more fresh water through."
        )
    if run.cadmium_mg_kg_dw > 0.0:
        said.append(
            "Hot water does not take cadmium, lead or mercury; their content per kg dry matter "
            "rises as salts leave."
        )
    if peak_c - worst_c > 1.0:
        said.append(
            f"The middle of the blade ends {peak_c - worst_c:.1f} K below the water; count the "
            "kill from the middle, and less in a clump."
        )
    said.append(
        "Leaching rates rest on published end points and own assumptions; confirm by analysis. "
        "Peroxidase constants are of corn. Blanching alone did not lengthen chilled life."
    )
    return said


def report(
    bath: Bath,
    run: BlanchRun,
    day: Day,
    start: Liquor,
    heatings: list[blade.Heating],
) -> BlanchResult:
    """Put the result together."""
    water_res, energy_res, dry_res, iodine_res = _closures(run, day, start)
    dry_in = run.mass_kg * (1.0 - run.moisture_wb)
    dry_out = day.rest_out_kg + day.out.dry_kg
    mass_out = dry_out + day.out.water_kg
    moisture = day.out.water_kg / mass_out
    course = list(zip(*day.course, strict=True))
    content = {
        which: 1e6 * float(day.out.solute_kg[which] + day.bound_out_kg[which]) / dry_out
        for which in (IODINE, ARSENIC)
    }
    species = SPECIES[run.leaf_id]
    minerals_in = figure(f"{species}.minerals_fraction_dw") * dry_in
    minerals_out = figure("all.minerals_bound_fraction") * minerals_in
    minerals_out += float(day.out.solute_kg[MINERALS])
    log_sd = iodine_log_sd(run.iodine_mg_kg_dw, content[IODINE])
    seconds = [blade.listeria_seconds(h) for h in heatings]
    warm_up_kwh = day.warm_up_j / JOULES_PER_KWH
    heat_kwh = day.heater_j / JOULES_PER_KWH
    pumps = bath.pump_kw * day.time_h
    burned = bath.fuel_kwh_kg * bath.heater_efficiency
    peak = max(float(np.max(h.mean_c)) for h in heatings)
    coldest_middle = min(float(h.middle_c[-1]) for h in heatings)
    used = [f for k, f in FIGURES.items() if k.split(".")[0] in (species, "all", "leaf", "bath")]
    used += [f for k, f in FIGURES.items() if k.split(".")[0] in ("peroxidase", "listeria")]
    return BlanchResult(
        duration_h=day.time_h,
        mass_in_kg=run.mass_kg,
        mass_out_kg=mass_out,
        dry_matter_kg=dry_out,
        moisture_wb_out=moisture,
        moisture_wb_out_sd=_moisture_sd(bath, run, day, moisture),
        water_removed_kg=run.mass_kg * run.moisture_wb - day.out.water_kg,
        heat_kwh=heat_kwh,
        electricity_kwh=pumps + (heat_kwh / bath.heater_efficiency if bath.electric_heat else 0.0),
        fuel_kg=heat_kwh / burned if burned > 0.0 and not bath.electric_heat else 0.0,
        water_residual=water_res,
        energy_residual=energy_res,
        dry_matter_residual=dry_res,
        iodine_residual=iodine_res,
        leaf_temperature_max_c=peak,
        dry_matter_in_kg=dry_in,
        dry_matter_leached_kg=dry_in - dry_out,
        minerals_leached_kg=minerals_in - minerals_out,
        minerals_fraction_dw=minerals_out / dry_out,
        iodine_mg_kg_dw=content[IODINE],
        iodine_mg_kg_dw_sd=content[IODINE] * math.sqrt(math.expm1(log_sd**2)),
        iodine_worst_mg_kg_dw=max(course[4]),
        iodine_log_sd=log_sd,
        arsenic_mg_kg_dw=content[ARSENIC],
        cadmium_mg_kg_dw=run.cadmium_mg_kg_dw * dry_in / dry_out,
        equivalent_time_70c_s=min(seconds),
        log_reduction_worst=min(seconds) / figure("listeria.d_reference_s"),
        peroxidase_survival=max(survival(h.time_s, h.middle_c, peroxidase()) for h in heatings),
        warm_up_h=warm_up_kwh / bath.heater_kw,
        warm_up_kwh=warm_up_kwh,
        make_up_kg=day.made_up.water_kg,
        waste_liquor_kg=day.waste.water_kg + day.waste.dry_kg,
        waste_solids_kg=day.waste.dry_kg,
        dumps=day.dumps,
        course_time_h=tuple(course[0]),
        course_bath_c=tuple(course[1]),
        course_bath_solids_fraction=tuple(course[2]),
        course_bath_iodine_mg_kg=tuple(course[3]),
        course_leaf_iodine_mg_kg_dw=tuple(course[4]),
        course_moisture_wb=tuple(course[5]),
        warnings=tuple(_warnings(bath, run, day, coldest_middle, peak)),
        sources=cite(used),
    )
