"""Sun drying: leaf on mats or racks under real hourly weather, with a rain and night rule.

`simulate` says what comes out, `aim` how thick to spread, `project` what the readings say. The
equations stand in `sun_dry_march`, sun and sky in `sun_dry_sky`, constants in ``data/sun_dry.csv``.
It leaves out: shade, dust, birds, uneven spreading, and heat from the ground under a mat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wareleaf import leaf
from wareleaf.measure import moisture_db_from_wb, moisture_wb_from_db
from wareleaf.stages.common import JOULES_PER_KWH, Array, log_sd, relative_closure
from wareleaf.stages.sun_dry_aim import aim
from wareleaf.stages.sun_dry_march import Cases, Trace, march
from wareleaf.stages.sun_dry_project import project
from wareleaf.stages.sun_dry_spec import (
    SPREADS,
    Ground,
    SunResult,
    SunRun,
    SunWeather,
    number,
    sources_of,
)

__all__ = ["Ground", "SunResult", "SunRun", "SunWeather", "aim", "project", "simulate"]


@dataclass(frozen=True)
class _Sums:
    """Sums over the load, kg and kWh."""

    evaporated: float
    taken_up: float
    rain: float
    sun_kwh: float


def simulate(ground: Ground, run: SunRun) -> SunResult:
    """Dry a load in the sun.

    Parameters
    ----------
    ground : Ground
        Mats or racks, and when they are covered.
    run : SunRun
        The load and its weather.

    Returns
    -------
    SunResult
        The course of the mean of the layer; ``moisture_wb_out_sd`` carries the lot's rate, arriving
        moisture, load, sun and wind (third-degree cubature), not the weather of another year.
    """
    trace = march(ground, run, cases_of(ground, run))
    dry = run.mass_kg * (1.0 - run.moisture_wb)
    moisture = moisture_wb_from_db(trace.moisture_db)
    out_db = float(trace.moisture_db[-1, 0])
    start_db = float(trace.moisture_db[0, 0])
    sums = _Sums(
        float(trace.evaporated[0]) * dry,
        float(trace.taken_up[0]) * dry,
        float(trace.rain[0]) * dry,
        float(trace.sun_j[0]) * dry / JOULES_PER_KWH,
    )
    step_h = run.duration_h / trace.covered.size
    others = moisture[-1, 1:]
    driest = int(np.argmin(moisture[:, 0]))
    return SunResult(
        duration_h=run.duration_h,
        mass_in_kg=run.mass_kg,
        mass_out_kg=dry * (1.0 + out_db),
        dry_matter_kg=dry,
        moisture_wb_out=float(moisture[-1, 0]),
        moisture_wb_out_sd=float(np.sqrt(np.mean((others - others.mean()) ** 2))),
        water_removed_kg=dry * (start_db - out_db),
        heat_kwh=0.0,
        electricity_kwh=0.0,
        fuel_kg=0.0,
        water_residual=relative_closure(
            dry * (start_db - out_db), sums.evaporated - sums.taken_up - sums.rain, dry * start_db
        ),
        energy_residual=relative_closure(
            float(trace.heat_gained_j[0]), float(trace.heat_in_j[0]), float(trace.sun_j[0])
        ),
        leaf_temperature_max_c=float(trace.leaf_c[:, 0].max()),
        sun_kwh=sums.sun_kwh,
        rain_kg=sums.rain,
        taken_up_kg=sums.taken_up,
        driest_h=float(trace.time_h[driest]),
        driest_moisture_wb=float(moisture[driest, 0]),
        covered_h=float(trace.covered.sum()) * step_h,
        night_h=float(trace.night.sum()) * step_h,
        load_kg_m2=run.mass_kg / ground.area_m2,
        course_time_h=tuple(trace.time_h.tolist()),
        course_moisture_wb=tuple(moisture[:, 0].tolist()),
        course_leaf_c=tuple(trace.leaf_c[:, 0].tolist()),
        course_covered=tuple(trace.covered.tolist()),
        warnings=_warnings(ground, run, trace, moisture[:, 0], sums),
        sources=sources_of(run),
    )


def cases_of(ground: Ground, run: SunRun) -> Cases:
    """The nominal case first, then two a spread, sqrt(n) standard deviations to either side."""
    sd = [log_sd(leaf.rate_constant_relative_sd(leaf.profile(run.leaf_id), "wither"))]
    sd += [run.spread(SPREADS[1])] + [log_sd(run.spread(name)) for name in SPREADS[2:]]
    count = len(sd)
    z = np.zeros((2 * count + 1, count))
    for i, each in enumerate(sd):
        z[1 + 2 * i, i], z[2 + 2 * i, i] = count**0.5 * each, -(count**0.5) * each
    start = np.clip(run.moisture_wb + z[:, 1], 0.01, 0.98)
    dry = run.mass_kg * (1.0 - start) / ground.area_m2
    return Cases(
        rate=np.exp(z[:, 0]),
        start_db=np.asarray(moisture_db_from_wb(start), dtype=float),
        dry_kg_m2=np.asarray(dry * np.exp(z[:, 2]), dtype=float),
        sun=np.exp(z[:, 3]),
        outer=np.exp(z[:, 4]),
    )


def _warnings(
    ground: Ground, run: SunRun, trace: Trace, moisture: Array, sums: _Sums
) -> tuple[str, ...]:
    profile, said = leaf.profile(run.leaf_id), []
    hottest = float(trace.leaf_c[:, 0].max())
    if hottest > profile.leaf_temperature_max_c:
        said.append(
            f"The leaf reaches {hottest:.0f} degC, above its limit of "
            f"{profile.leaf_temperature_max_c:g} degC: shade it or spread it thicker."
        )
    odd_h = run.weather.sun_at_night_h()
    if odd_h is not None:
        power = run.weather.ghi_w_m2[int(odd_h)]
        said.append(
            f"At {odd_h:g} h the weather has {power:.0f} W/m2 of sun, and there the sun is down: "
            "check start, utc_offset_h, latitude and longitude."
        )
    if not run.weather.rain_mm:
        said.append("The weather has no rain in it: look at the sky and keep covers at hand.")
    if sums.rain > 0.0:
        said.append(f"Rain wets the leaf with {sums.rain:.1f} kg: it washes out salts and colour.")
    if sums.taken_up > 0.005 * run.mass_kg:
        advice = "bag it in the dry afternoon" if ground.cover_at_night else "cover it at night"
        said.append(f"It takes {sums.taken_up:.1f} kg of water back from damp air: {advice}.")
    wet_h = float(np.mean(moisture[1:] > profile.moisture_wb_store_limit)) * run.duration_h
    wet_warm = wet_h > profile.spoil_hours(float(np.mean(trace.leaf_c[:, 0])))
    if wet_warm:
        said.append(
            f"The leaf is wet and warm for {wet_h:.0f} h, longer than the {profile.id} profile "
            "lets it lie in a heap; spread leaf keeps longer, but watch for smell and slime."
        )
    if moisture[-1] > profile.moisture_wb_store_limit:
        said.append(
            f"It ends at {100.0 * moisture[-1]:.0f} %, above the store limit of "
            f"{100.0 * profile.moisture_wb_store_limit:g} %: it does not keep yet."
        )
    thick = number("ground.thick_kg_m2")
    if run.mass_kg / ground.area_m2 > thick:
        said.append(
            f"Thicker than {thick:g} kg/m2 (common practice) it must be turned, or the bottom rots."
        )
    said.append(
        "Food lies in the open: keep animals, dust and run-off away; the food-safety plan of the "
        "works decides whether it may be sold."
    )
    return tuple(said)
