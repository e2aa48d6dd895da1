"""Humid air against the handbook's tables, textbooks, and two libraries where they are there."""

from __future__ import annotations

import importlib
from collections.abc import Sequence
from typing import Any

import numpy as np

from wareleaf import air
from wareleaf.works.validate.case import Check, Found, NotRun, Plot, Runs, at_most, near

TABLE_3 = {
    -60: 1.08,
    -20: 103.24,
    -5: 401.74,
    5: 872.6,
    25: 3169.7,
    50: 12351.3,
    100: 101418.0,
    150: 476101.4,
}
TABLE_2 = (
    (-50, 0.0000243, -50.222),
    (-20, 0.0006373, -18.542),
    (-5, 0.0024863, 1.164),
    (5, 0.005425, 18.639),
    (25, 0.020173, 76.504),
    (50, 0.086863, 275.353),
    (85, 0.838105, 2307.539),
)
HUMIDITIES = (0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.98)
_SEA_LEVEL_PA = 101_325.0


def _table_3() -> Found:
    checks, points = [], []
    for celsius, pascal in TABLE_3.items():
        ours = float(air.saturation_pressure_pa(celsius))
        room = max(3e-4 * pascal, 0.005)
        checks.append(
            near(f"saturation pressure at {celsius} degC", "Pa", ours, pascal, within=room)
        )
        points.append((float(celsius), 1e6 * (ours / pascal - 1.0)))
    plot = Plot("dry bulb, degC", "ours over printed less 1, ppm", {}, {"table 3": points})
    return Found(tuple(checks), plot)


def _table_2() -> Found:
    checks: list[Check] = []
    ratio_points, heat_points = [], []
    for celsius, ratio, kilojoule in TABLE_2:
        w = float(air.humidity_ratio(celsius, 1.0))
        h = float(air.enthalpy_j_kg(celsius, w)) / 1e3
        room = 2e-3 if celsius == -50 else 2e-4
        checks.append(
            near(f"saturated humidity ratio at {celsius} degC", "kg/kg", w, ratio, relative=room)
        )
        within = max(3e-3 * abs(kilojoule), 0.03)
        checks.append(
            near(f"saturated enthalpy at {celsius} degC", "kJ/kg", h, kilojoule, within=within)
        )
        ratio_points.append((float(celsius), 100.0 * (w / ratio - 1.0)))
        heat_points.append((float(celsius), 100.0 * (h / kilojoule - 1.0)))
    plot = Plot(
        "dry bulb, degC",
        "ours over printed less 1, %",
        {},
        {"humidity ratio": ratio_points, "enthalpy": heat_points},
    )
    return Found(tuple(checks), plot)


def _example_1() -> Found:
    state = air.air_state(dry_bulb_c=40.0, wet_bulb_c=20.0)
    checks = (
        near("humidity ratio", "kg/kg", state.humidity_ratio, 0.0065, relative=0.015),
        near("dew point", "degC", state.dew_point_c, 7.0, within=0.6),
        near("relative humidity", "1", state.relative_humidity, 0.14, within=0.005),
        near("enthalpy", "kJ/kg", state.enthalpy_j_kg / 1e3, 56.7, within=0.3),
        near("volume", "m3/kg", state.specific_volume_m3_kg, 0.896, within=6e-4),
    )
    wet = np.linspace(15.0, 39.0, 25)
    ratio = air.humidity_ratio_from_wet_bulb(40.0, wet)
    line = list(zip(wet.tolist(), np.asarray(ratio).tolist(), strict=True))
    plot = Plot(
        "wet bulb, degC", "humidity ratio at 40 degC", {"ours": line}, {"chart": [(20.0, 0.0065)]}
    )
    return Found(checks, plot)


def _textbooks() -> Found:
    g4 = air.air_state(dry_bulb_c=60.0, wet_bulb_c=29.5).humidity_ratio
    treybal = air.air_state(dry_bulb_c=55.0, humidity_ratio=0.030)
    vapour_2760 = 0.621945 * 2760.0 / (101_300.0 - 2760.0)
    ours_931 = float(air.humidity_ratio(26.7, 2760.0 / 3500.0, 101_300.0))
    checks = (
        near("Geankoplis 9.3-4: H at 60/29.5 degC", "kg/kg", g4, 0.0135, relative=0.015),
        near("Geankoplis 9.6-3: wet bulb", "degC", air.wet_bulb_c(65.6, 0.010), 28.9, within=0.15),
        near("Geankoplis 9.3-1: H at 26.7 degC", "kg/kg", ours_931, 0.01742, relative=0.01),
        near("Treybal 7.6: dew point", "degC", treybal.dew_point_c, 31.5, within=0.1),
        near("Treybal 7.6: volume", "m3/kg", treybal.specific_volume_m3_kg, 0.974, within=1e-3),
        near(
            "Coulson and Richardson 16.5: wet bulb",
            "K",
            float(air.wet_bulb_c(126.85, 0.01)) + 273.15,
            312.0,
            within=0.6,
        ),
    )
    celsius = np.linspace(40.0, 130.0, 19)
    line = [(float(t), float(air.wet_bulb_c(t, 0.01))) for t in celsius]
    plot = Plot(
        "dry bulb, degC",
        "wet bulb at H = 0.010, degC",
        {"ours": line},
        {"printed": [(65.6, 28.9), (126.85, 38.85)]},
    )
    note = (
        f"9.3-1 is printed without the enhancement factor ({vapour_2760:.5f} by its formula); ours "
        "has it, which is the half per cent between them."
    )
    return Found(checks, plot, note)


def _library(name: str) -> Any:
    try:
        return importlib.import_module(name)
    except ImportError as error:
        top = name.partition(".")[0]
        raise NotRun(f"{top} is not installed here; it is a tool of developers.") from error


def states(
    low_c: float,
    high_c: float,
    step_k: float = 5.0,
    pressures_pa: Sequence[float] = (_SEA_LEVEL_PA,),
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Dry bulb, relative humidity and pressure of a grid of states that the library knows.

    CoolProp refuses air with more than 94.1 % vapour by moles.
    """
    bulbs = np.arange(low_c, high_c + 1e-9, step_k)
    t, rh, p = (a.ravel() for a in np.meshgrid(bulbs, HUMIDITIES, pressures_pa))
    real = rh * air.saturation_pressure_pa(t) * air.enhancement_factor(t, p) < 0.94 * p
    return t[real], rh[real], p[real]


def _coolprop() -> Found:
    state = _library("CoolProp.CoolProp").HAPropsSI
    t, rh, _ = states(-20.0, 150.0)
    w = np.asarray(air.humidity_ratio(t, rh))
    wet = np.asarray(air.wet_bulb_c(t, w))

    def theirs(key: str) -> np.ndarray:
        given = zip(t, rh, strict=True)
        return np.array([state(key, "T", a + 273.15, "R", b, "P", _SEA_LEVEL_PA) for a, b in given])

    ratio_off = np.abs(w / theirs("W") - 1.0)
    wet_off = np.abs(wet - (theirs("B") - 273.15))
    iced = np.abs(wet) < 1.0  # two steady bulbs near freezing
    cool = t <= 60.0
    checks = (
        at_most("humidity ratio, largest difference", "1", ratio_off.max(), 1.5e-4),
        at_most("wet bulb to 60 degC, largest", "K", wet_off[cool & ~iced].max(), 0.03),
        at_most("wet bulb to 150 degC, largest", "K", wet_off[~iced].max(), 0.08),
    )
    points = list(zip(t[~iced].tolist(), wet_off[~iced].tolist(), strict=True))
    plot = Plot("dry bulb, degC", "wet bulb, distance in K", {}, {f"{t.size} states": points})
    return Found(checks, plot)


def _psychrolib() -> Found:
    library = _library("psychrolib")
    library.SetUnitSystem(library.SI)
    t, rh, _ = states(-20.0, 60.0)
    w = np.asarray(air.humidity_ratio(t, rh))
    given = list(zip(t.tolist(), rh.tolist(), strict=True))
    their_ratio = np.array([library.GetHumRatioFromRelHum(a, b, _SEA_LEVEL_PA) for a, b in given])
    their_wet = np.array([library.GetTWetBulbFromRelHum(a, b, _SEA_LEVEL_PA) for a, b in given])
    low = 1.0 - their_ratio / w
    wet = np.asarray(air.wet_bulb_c(t, w))
    warm = wet > 1.0
    checks = (
        Check("humidity ratio: least it is low", "1", "0.0033", 0.003, 0.0078, float(low.min())),
        Check("humidity ratio: most it is low", "1", "0.0075", 0.003, 0.0078, float(low.max())),
        at_most("wet bulb, largest difference", "K", np.abs(their_wet - wet)[warm].max(), 0.05),
    )
    points = list(zip(t.tolist(), (100.0 * low).tolist(), strict=True))
    plot = Plot("dry bulb, degC", "their humidity ratio is low by, %", {}, {"states": points})
    return Found(checks, plot, "It leaves the enhancement factor out; that is the difference.")


RUNS: Runs = {
    "ashrae-table-3": _table_3,
    "ashrae-table-2": _table_2,
    "ashrae-example-1": _example_1,
    "psychrometry-textbooks": _textbooks,
    "coolprop": _coolprop,
    "psychrolib": _psychrolib,
}
