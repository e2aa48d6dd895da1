"""Worked examples of the textbooks: drying, lethality, size and work, sun and sky."""

from __future__ import annotations

import math

import numpy as np

from wareleaf import air
from wareleaf.measure import mass_at_moisture_kg
from wareleaf.stages import lethality, mill, sift
from wareleaf.stages import sun_dry_sky as sky
from wareleaf.stages._dry_cell import _approach
from wareleaf.works.validate.case import Check, Found, Plot, Runs, near


def _after(excess: float, rate: float, limit: float, hours: float) -> float:
    """Excess moisture after some hours: inner rate constant and outer limit in series."""
    return float(_approach(np.array(excess), np.array(rate), np.array(limit), np.array(hours)))


def _drying() -> Found:
    constant = 1.51 * 18.58 / 399.0
    per_h = ((0.25 - 0.15) / 1.0 + 0.10 * math.log(0.10 / 0.05)) / (15.0 / 3.6)
    cr161 = ((0.30 - 0.15) + 0.10 * math.log(0.10 / (0.08 - 0.05))) / per_h * 3.6
    first_h = (0.30 - 0.15) / per_h
    critical = _after(0.25, 1e6, per_h, first_h)
    end = _after(critical, per_h / 0.10, 1e9, 24.0 / 3.6 - first_h) + 0.05
    latent_50 = float(air.latent_heat_j_kg(50.0))
    treybal = 4750.0 - mass_at_moisture_kg(4750.0, 0.8, 0.05)
    earle = 60.0 * latent_50 / (18.0 * 12.0 * 70.0)
    checks = (
        near(
            "Geankoplis 9.6-2: X after 1.85 h at constant rate", "kg/kg",
            _after(0.38, 1e6, 1.51 / 21.5, 1.85), 0.25, within=0.001,
        ),
        near(
            "Geankoplis 9.7-2: X after 4.39 h from the critical, falling rate", "kg/kg",
            _after(0.195, constant / 0.195, 1e9, 4.39), 0.040, relative=0.005,
        ),
        near("Coulson and Richardson 16.1: total time", "ks", cr161, 24.0, relative=0.005),
        near("Coulson and Richardson 16.1: X at that time", "kg/kg", end, 0.08, relative=0.01),
        near("Treybal 12.1: water gone", "kg", treybal, 3750.0, within=0.1),
        near("Earle 7.17 (memory): time", "s", earle, 9456.0, relative=0.005),
    )  # fmt: skip
    hours = np.linspace(0.0, 24.0 / 3.6, 61)
    line = []
    for h in hours.tolist():
        wet = _after(0.25, 1e6, per_h, min(h, first_h))
        x = wet if h <= first_h else _after(wet, per_h / 0.10, 1e9, h - first_h)
        line.append((3.6 * h, x + 0.05))
    plot = Plot(
        "ks", "moisture, kg/kg dry", {"Coulson and Richardson 16.1": line},
        {"printed": [(0.0, 0.30), (24.0, 0.08)]},
    )  # fmt: skip
    return Found(checks, plot)


def _pan_and_balance() -> Found:
    t, w = 65.6, 0.010
    volume = (2.83e-3 + 4.56e-3 * w) * (t + 273.15)
    h = 0.0204 * (6.1 * (1.0 + w) / volume * 3600.0) ** 0.8
    wet = float(air.wet_bulb_c(t, w))
    pan = h * (t - wet) / float(air.latent_heat_j_kg(wet)) * 3600.0 * 0.457**2
    solids, gone = 453.6, 453.6 * (0.04 - 0.002)
    leaf_in = solids * (1465.0 + 0.04 * 4187.0) * 26.7
    leaf_out = solids * (1465.0 + 0.002 * 4187.0) * 62.8

    def surplus(flow: float) -> float:
        came = flow * float(air.enthalpy_j_kg(93.3, 0.01)) + leaf_in
        return came - flow * float(air.enthalpy_j_kg(37.8, 0.01 + gone / flow)) - leaf_out

    from scipy.optimize import brentq

    flow = float(brentq(surplus, 300.0, 5000.0))
    checks = (
        near("Geankoplis 9.6-3: water from the pan", "kg/h", pan, 0.708, relative=0.01),
        near("Geankoplis 9.10-2: dry air", "kg/h", flow, 1170.9, relative=0.005),
        near(
            "Geankoplis 9.10-2: humidity out", "kg/kg", 0.01 + gone / flow, 0.0247, relative=0.005
        ),
    )
    flows = np.linspace(900.0, 1500.0, 25)
    line = [(float(f), surplus(float(f)) / 1e6) for f in flows]
    plot = Plot(
        "dry air, kg/h", "heat left over, MJ/h", {"9.10-2": line}, {"printed": [(1170.9, 0.0)]}
    )
    return Found(checks, plot)


def _lethality() -> Found:
    t1 = np.array([0, 20, 20, 40, 40, 73]) * 60.0
    c1 = [71.1, 71.1, 98.9, 98.9, 110.0, 110.0]
    t2 = np.array([0, 15, 25, 30, 40, 50, 64]) * 60.0
    f2 = np.array([80, 165, 201, 212.5, 225, 230.5, 235])
    c2, reference = (f2 - 32.0) / 1.8, (250.0 - 32.0) / 1.8
    two = lethality.lethality(t2.tolist(), c2.tolist(), reference, 10.0)
    three = lethality.lethality([0, 540], [65.56, 65.56], 65.56, 10.0, d_reference_s=36.0)
    checks = (
        near(
            "Geankoplis 9.12-1: F0", "min",
            float(lethality.equivalent_time_s(t1.tolist(), c1, 121.1, 10.0)) / 60.0, 2.68,
            within=0.005,
        ),
        near("Geankoplis 9.12-2: F0", "min", two.equivalent_time_s / 60.0, 2.50, within=0.01),
        near("Geankoplis 9.12-3: decades", "1", three.log_reduction or 0.0, 15.0, within=1e-9),
    )  # fmt: skip
    line = list(zip((t2 / 60.0).tolist(), c2.tolist(), strict=True))
    return Found(checks, Plot("minutes", "coldest point, degC", {"9.12-2": line}, {}))


def _size_and_work() -> Found:
    rittinger = mill.constant_from("rittinger", 13.0, 50e3, 10e3)
    kick = mill.constant_from("kick", 13.0, 50e3, 10e3)
    bond = mill.bond_kwh_t(12.68, 3 * 25_400, 25_400 / 8) * 10.0 / 0.745_699_872
    millimetre = [0.08, 0.5, 1.25, 2, 4, 6.3, 8, 12.5, 16, 40]
    oversize = np.array([95.61, 87.71, 82.45, 79.78, 73.28, 66.98, 63.21, 55.4, 49.91, 23.95]) / 100
    scale, exponent = sift.fit_rosin_rammler(millimetre, oversize.tolist())
    checks = (
        near("Coulson and Richardson 2.1: Rittinger", "kJ/kg",
             mill.rittinger_kj_kg(rittinger, 75e3, 25e3), 4.33, within=0.005),
        near("Coulson and Richardson 2.1: Kick", "kJ/kg",
             mill.kick_kj_kg(kick, 75e3, 25e3), 8.88, within=0.01),
        near("Geankoplis 14.5-1: Bond", "hp", bond, 24.1, relative=0.005),
        near("Coulson and Richardson 1.1: surface mean", "um",
             sift.surface_mean_mm([1, 101], [0, 1]), 21.7, within=0.05),
        near("Coulson and Richardson 1.5: overall efficiency", "%",
             100.0 * sift.overall_efficiency([0.5, 0.3, 0.2], [0.45, 0.80, 0.96]), 65.7,
             within=0.05),
        near("Brezani 2011: Rosin-Rammler size", "mm", scale, 27.0236, within=1e-3),
        near("Brezani 2011: Rosin-Rammler exponent", "1", exponent, 0.5946, within=5e-5),
    )  # fmt: skip
    sizes = np.geomspace(0.08, 40.0, 60)
    line = [(math.log10(x), 100.0 * math.exp(-((x / scale) ** exponent))) for x in sizes.tolist()]
    points = [
        (math.log10(x), 100.0 * r) for x, r in zip(millimetre, oversize.tolist(), strict=True)
    ]
    return Found(checks, Plot("log10 of size in mm", "over, %", {"fit": line}, {"Brezani": points}))


def _sky() -> Found:
    above = float(sky.extraterrestrial_mj_m2_day(-22.9, 135.0))
    daylight = float(sky.daylight_h(-22.9, 135.0))
    share = 14.5 / 18.8
    loss = np.mean([float(sky.sky_loss_w_m2(t, 2100.0, share)) for t in (25.1, 19.1)])
    checks: tuple[Check, ...] = (
        near("example 8: Ra at 20 S, day 246", "MJ/(m2 d)",
             float(sky.extraterrestrial_mj_m2_day(-20.0, 246.0)), 32.2, within=0.05),
        near("example 9: daylight", "h", float(sky.daylight_h(-20.0, 246.0)), 11.7, within=0.05),
        near("example 10: Ra in Rio", "MJ/(m2 d)", above, 25.1, within=0.05),
        near("example 10: Rs", "MJ/(m2 d)",
             float(sky.sunshine_radiation(above, 7.1 / daylight)), 14.5, within=0.06),
        near("example 11: net long wave", "MJ/(m2 d)", float(loss) * 0.0864, 3.5, within=0.05),
        near("example 14: wind at 2 m", "m/s", float(sky.wind_at(2.0, 3.2)), 2.4, within=0.05),
    )  # fmt: skip
    days = np.arange(1.0, 366.0, 4.0)
    lines = {
        f"{lat:+d} degrees": [
            (float(d), float(sky.extraterrestrial_mj_m2_day(lat, d))) for d in days
        ]
        for lat in (-20, 36, 60)
    }
    return Found(
        checks, Plot("day of the year", "Ra, MJ/(m2 d)", lines, {"example 8": [(246.0, 32.2)]})
    )


RUNS: Runs = {
    "drying-examples": _drying,
    "pan-and-dryer-balance": _pan_and_balance,
    "lethality": _lethality,
    "size-and-work": _size_and_work,
    "fao-56": _sky,
}
