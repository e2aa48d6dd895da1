"""Limits, closure, closed forms and grid refinement."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import Literal

import numpy as np

from wareleaf import air, leaf
from wareleaf.stages import dry, slab, wither
from wareleaf.stages import sun_dry as sun
from wareleaf.stages.blanch import Bath, BlanchRun
from wareleaf.stages.blanch import simulate as blanch
from wareleaf.stages.common import StageResult
from wareleaf.works.validate import deep_bed
from wareleaf.works.validate.case import Found, Plot, Runs, at_most, between, near


def _tunnel(pick: np.random.Generator) -> dry.TunnelDryer:
    flow: Literal["counter", "co"] = "counter" if pick.random() < 0.5 else "co"
    return dry.TunnelDryer(
        100.0, 1.0, float(pick.uniform(50.0, 110.0)), float(pick.uniform(2.0, 5.0)), flow,
        float(pick.choice([0.0, 0.5, 0.9])),
    )  # fmt: skip


def _random_results() -> dict[str, list[tuple[float, float]]]:
    """Water and energy residual of random runs of every dryer, trough, bath and drying ground."""
    pick = np.random.default_rng(20261125)
    ids = leaf.profile_ids()
    found: dict[str, list[tuple[float, float]]] = {}

    def add(name: str, result: StageResult | dry.TransientResult) -> None:
        residuals = (result.water_residual, result.energy_residual)
        found.setdefault(name, []).append(residuals)

    for i in range(12):
        zones = tuple(
            dry.Zone(
                0.5,
                float(pick.uniform(50.0, 120.0)),
                float(pick.uniform(0.3, 2.0)),
                float(pick.choice([0.0, 0.5, 0.9])),
            )
            for _ in range(2)
        )
        run = dry.DryRun(
            str(pick.choice(ids)),
            float(pick.uniform(0.3, 0.93)),
            float(pick.uniform(0.1, 3.0)),
            feed_kg_h=float(pick.uniform(20.0, 600.0)),
            mass_kg=float(pick.uniform(20.0, 600.0)),
        )
        for kind in (dry.BeltDryer, dry.FluidBed, dry.TrayDryer):
            add(kind.__name__, dry.simulate(kind(20.0, zones), run, with_spread=False))
        add("TunnelDryer", dry.simulate_tunnel(_tunnel(pick), run, with_spread=False))
        gap = float(pick.uniform(0.2, 1.0)) * run.residence_h
        add("Belt in time", dry.transient(
            dry.BeltDryer(20.0, zones), run, 2.0 * run.residence_h, ((gap, 1.5 * gap),),
            running=bool(i % 2),
        ))  # fmt: skip
        trough = wither.Trough()
        load = wither.WitherRun(
            leaf_id="tea_black",
            mass_kg=float(pick.uniform(300.0, 2000.0)),
            moisture_wb=float(pick.uniform(0.6, 0.85)),
            air_time_h=(0.0, 12.0),
            dry_bulb_c=tuple(pick.uniform(10.0, 32.0, 2).tolist()),
            relative_humidity=tuple(pick.uniform(0.2, 0.98, 2).tolist()),
            duration_h=10.0,
        )
        add("Trough", wither.simulate(trough, load))
        bath = Bath(water_kg=1500.0, feed_kg_h=600.0)
        dip = BlanchRun("sugar_kelp_raw", float(pick.uniform(100.0, 3000.0)), 0.9, 4605.0)
        add("Bath", blanch(bath, dip))
        hours = tuple(pick.uniform(0.0, 900.0, 13).tolist())
        weather = sun.SunWeather(
            tuple(pick.uniform(0.0, 35.0, 13).tolist()),
            tuple(pick.uniform(0.2, 1.0, 13).tolist()),
            tuple(pick.uniform(0.0, 10.0, 13).tolist()),
            hours, 150.0, 6.0, 45.0, 5.0, 0.0,
        )  # fmt: skip
        spread = sun.SunRun("sugar_kelp_raw", float(pick.uniform(50.0, 900.0)), 0.9, weather, 12.0)
        add("Drying ground", sun.simulate(sun.Ground(60.0, faces=1 + i % 2), spread))
    return found


def _closure() -> Found:
    found = _random_results()
    checks, lines = [], {}
    for name, residuals in found.items():
        water, energy = (max(r[i] for r in residuals) for i in (0, 1))
        checks.append(at_most(f"{name}: water, largest of {len(residuals)} runs", "1", water, 1e-6))
        checks.append(
            at_most(f"{name}: energy, largest of {len(residuals)} runs", "1", energy, 1e-6)
        )
        lines[name] = [(float(i), max(*r, 1e-18)) for i, r in enumerate(residuals, start=1)]
    plot = Plot("run", "larger of the two residuals, relative", {}, lines, log_y=True)
    note = (
        "The drying ground's water is summed from the very differences it is compared with, so "
        "that number can only show lost arithmetic; its energy is a real check of the solved "
        "temperature."
    )
    return Found(tuple(checks), plot, note)


def _wet_bulb() -> Found:
    trough = wither.Trough(fan_heat_share=0.0)
    checks, ours, wet_points = [], [], []
    for humidity in (0.2, 0.4, 0.6, 0.8, 0.95):
        run = wither.WitherRun(
            leaf_id="tea_black",
            mass_kg=29.6 * trough.area_m2,
            moisture_wb=0.85,
            air_time_h=(0.0,),
            dry_bulb_c=(26.0,),
            relative_humidity=(humidity,),
            duration_h=1.0,
            surface_water_share=0.4,
            step_min=2.0,  # in the driest air the bottom layer's film is gone in half an hour
        )
        result = wither.simulate(trough, run)
        wet = float(air.wet_bulb_c(26.0, air.humidity_ratio(26.0, humidity)))
        found = float(min(result.leaf_bottom_c))
        checks.append(
            near(f"rain-wet leaf in air of {humidity:.0%} RH", "degC", found, wet, within=0.01)
        )
        ours.append((100.0 * humidity, found))
        wet_points.append((100.0 * humidity, wet))
    plot = Plot(
        "relative humidity, %", "leaf, degC", {"thermodynamic wet bulb": wet_points}, {"leaf": ours}
    )
    return Found(tuple(checks), plot)


def _thin_layer() -> Found:
    hours, velocity = 3.0, 1.0
    dryer = dry.TrayDryer(
        100.0, (dry.Zone(1.0, 100.0, velocity),), layers=1, steps=60, exposure=1.0
    )
    profile = leaf.profile("tea_black")
    k = 0.02 * float(leaf.rate_constant_per_h(profile, 100.0, velocity, "dry"))
    activity = air.relative_humidity(100.0, air.humidity_ratio(20.0, 0.7))
    end = float(leaf.equilibrium_moisture_db(profile, activity, 100.0))
    points, ratio = [], 1.0
    for part in (0.5, 1.0, 1.5, 2.0, 2.5, hours):
        run = dry.DryRun("tea_black", 0.5, part, mass_kg=2.0, ambient_c=20.0, rate_multiplier=0.02)
        made = dry.simulate(dryer, run, with_spread=False)
        ratio = (made.moisture_wb_out / (1.0 - made.moisture_wb_out) - end) / (1.0 - end)
        points.append((part, ratio))
    line = [(h, math.exp(-k * h)) for h in np.linspace(0.0, hours, 31).tolist()]
    apparent = -math.log(ratio) / hours
    plot = Plot("hours", "moisture ratio", {"exp(-k t)": line}, {"tray of thin leaf": points})
    return Found((near("apparent k over k", "1", apparent / k, 1.0, within=0.005),), plot)


def _hukill() -> Found:
    errors = []
    for layers in (5, 10, 20):
        depth, time, ours, closed = deep_bed.compare(layers)
        errors.append(float(np.abs(ours - closed).max()))
    lines, points = {}, {}
    for at in (0.5, 1.5, 3.0):
        i = int(np.argmin(np.abs(time - at)))
        lines[f"closed form, t = {at:g}"] = list(
            zip(depth.tolist(), closed[i].tolist(), strict=True)
        )
        points[f"march, t = {at:g}"] = list(zip(depth.tolist(), ours[i].tolist(), strict=True))
    orders = [math.log2(a / b) for a, b in itertools.pairwise(errors)]
    checks = (
        at_most("largest distance, 20 layers", "of the start", errors[2], 0.001),
        between("order in layers, 5 to 10", "1", orders[0], 1.5, 2.2),
        between("order in layers, 10 to 20", "1", orders[1], 1.5, 2.2),
    )
    return Found(checks, Plot("depth, natural units", "moisture over its start", lines, points))


_BLADE = slab.Slab(1e-3, 2e-10, cells=80)
_SLAB_RUN = slab.SlabRun(9.0, (0.0,), (0.1,), 3.0)


def _crank() -> Found:
    found = slab.simulate(_BLADE, _SLAB_RUN)
    exact = slab.series(_BLADE, 9.0, 0.1, found.time_h)
    shrunk = slab.simulate(replace(_BLADE, shrinkage=1.0), _SLAB_RUN)
    errors = []
    for cells in (10, 20, 40):
        coarse = slab.simulate(replace(_BLADE, cells=cells), _SLAB_RUN, points=5)
        last = slab.series(_BLADE, 9.0, 0.1, coarse.time_h)[-1]
        errors.append(abs(float(coarse.mean_db[-1] - last)))
    orders = [math.log2(a / b) for a, b in itertools.pairwise(errors)]
    book = slab.Slab(0.0127, 2.97e-6 / 3600.0, cells=60)
    hours = slab.hours_to(book, slab.SlabRun(0.29, (0.0,), (0.04,), 60.0), 0.09)
    checks = (
        at_most(
            "largest distance of 80 cells from the series, after 3 min",
            "kg/kg",
            float(np.abs(found.mean_db - exact)[2:].max()),
            0.009,
        ),
        near("order in cells, 10 to 20", "1", orders[0], 2.0, within=0.1),
        near("order in cells, 20 to 40", "1", orders[1], 2.0, within=0.1),
        near("Geankoplis 9.9-1: hours from 0.29 to 0.09", "h", hours, 30.8, relative=0.01),
    )
    hour = found.time_h.tolist()
    plot = Plot(
        "hours",
        "moisture, kg/kg dry",
        {
            "series": list(zip(hour, exact.tolist(), strict=True)),
            "cells, shrinking": list(zip(hour, shrunk.mean_db.tolist(), strict=True)),
        },
        {"cells": list(zip(hour[::8], found.mean_db[::8].tolist(), strict=True))},
    )
    return Found(checks, plot)


def _dryer_grid() -> Found:
    zones = (dry.Zone(0.5, 70.0, 1.0, 0.0, "up"), dry.Zone(0.5, 65.0, 0.8, 0.0, "down"))
    run = dry.DryRun("sugar_kelp_blanched", 0.90, 3.0, feed_kg_h=300.0)

    def out(layers: int, steps: int) -> float:
        belt = dry.BeltDryer(40.0, zones, layers=layers, steps=steps)
        wb = dry.simulate(belt, run, with_spread=False).moisture_wb_out
        return wb / (1.0 - wb)

    exact = out(48, 1600)
    grids = ((4, 24), (8, 96), (16, 384))
    errors = [abs(out(n, m) / exact - 1.0) for n, m in grids]
    checks = (
        at_most("error at 8 layers over error at 4", "1", errors[1] / errors[0], 0.6),
        at_most("error at 16 layers over error at 8", "1", errors[2] / errors[1], 0.6),
        at_most("usual grid, 8 layers by 40 steps", "of X", abs(out(8, 40) / exact - 1.0), 0.01),
    )
    points = [(float(n), max(e, 1e-9)) for (n, _), e in zip(grids, errors, strict=True)]
    plot = Plot("layers", "error of the outlet, of X", {}, {"belt": points}, log_y=True)
    return Found(checks, plot)


RUNS: Runs = {
    "closure": _closure,
    "wet-bulb-limit": _wet_bulb,
    "thin-layer": _thin_layer,
    "deep-bed-hukill": _hukill,
    "slab-crank": _crank,
    "dryer-grid": _dryer_grid,
}
