"""Make a bed out of a load: layers, transfer coefficient and tables of the leaf."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from wareleaf import air, leaf
from wareleaf.stages._wither_air import Weather
from wareleaf.stages._wither_fan import WorkingPoint
from wareleaf.stages._wither_leaf import Balance, Bed, State, balance
from wareleaf.stages._wither_spec import Trough, WitherRun, number
from wareleaf.stages.common import SECONDS_PER_HOUR, Array


def transfer_coefficient_w_m2_k(air_velocity_m_s: float) -> float:
    """Heat transfer to a leaf lying along the air, W/(m2 K).

    Laminar flat plate, mean over its length: ``Nu = 0.664 Re^(1/2) Pr^(1/3)`` (Pohlhausen).
    """
    length = number("bed.leaf_length_m")
    reynolds = air_velocity_m_s * length / number("air.kinematic_viscosity_m2_s")
    nusselt = number("bed.nusselt_constant") * reynolds**0.5 * number("air.prandtl") ** (1 / 3)
    return nusselt * number("air.conductivity_w_m_k") / length


@lru_cache(maxsize=32)
def _saturation(pressure_pa: float) -> tuple[Array, Array]:
    """Vapour pressure of saturated air every 0.02 K: the chord is off by less than 2e-7."""
    celsius = np.arange(-20.0, 70.0, 0.02)
    ratio = air.humidity_ratio(celsius, 1.0, pressure_pa)
    return celsius, air.vapour_pressure_pa(ratio, pressure_pa)


@lru_cache(maxsize=64)
def _sorption(leaf_id: str, temperature_c: float) -> tuple[Array, Balance, Balance]:
    """Dry-basis moistures, and the isotherms of drying and of gaining leaf through them."""
    moisture = np.concatenate([[1e-6], np.geomspace(2e-3, 12.0, 400)])
    profile = leaf.profile(leaf_id)
    dries, gains = (
        np.maximum.accumulate(
            np.asarray(leaf.water_activity(profile, moisture, temperature_c, branch), dtype=float)
        )
        for branch in ("desorption", "adsorption")
    )
    lift = 1e-12 * np.arange(moisture.size)
    drying, gaining = (balance(np.minimum(a, 1.0) + lift, moisture) for a in (dries, gains))
    return moisture, drying, gaining


@lru_cache(maxsize=64)
def _rates(leaf_id: str, air_velocity_m_s: float) -> tuple[Array, Array]:
    """Internal rate constant against air temperature, 1/s."""
    celsius = np.linspace(0.0, 50.0, 101)
    profile = leaf.profile(leaf_id)
    per_h = leaf.rate_constant_per_h(profile, celsius, air_velocity_m_s, "wither")
    return celsius, np.asarray(per_h, dtype=float) / SECONDS_PER_HOUR


def make_bed(
    trough: Trough, run: WitherRun, point: WorkingPoint, sky: Weather, moisture_wb: Array
) -> Bed:
    """Bed of a run for cases that differ in arriving moisture (cases,).

    Sorption is taken at the mean temperature of the air; it hardly moves over a wither's few K.
    """
    air_c = float(np.mean(sky.dry_bulb_c + sky.heating_k[:, 0]))
    pressure_pa = float(np.mean(sky.pressure_pa))
    profile = leaf.profile(run.leaf_id)
    layer_dry = point.loading_kg_m2 * (1.0 - moisture_wb) / trough.n_layers
    surface = layer_dry * profile.specific_surface_m2_kg
    saturation_c, saturation_pa = _saturation(round(pressure_pa, -1))
    sorption_db, drying, gaining = _sorption(run.leaf_id, round(air_c, 1))
    rate_c, rate_per_s = _rates(run.leaf_id, round(point.air_velocity_m_s, 4))
    return Bed(
        layer_dry_kg_m2=layer_dry,
        layer_ha_w_m2_k=transfer_coefficient_w_m2_k(point.air_velocity_m_s) * surface,
        specific_heat_dry_j_kg_k=profile.specific_heat_dry_j_kg_k,
        film_kg_kg=number("film.full_cover_kg_m2") * profile.specific_surface_m2_kg,
        saturation_c=saturation_c,
        saturation_pa=saturation_pa,
        sorption_db=sorption_db,
        drying=drying,
        gaining=gaining,
        rate_c=rate_c,
        rate_per_s=rate_per_s,
    )


def fresh_state(trough: Trough, run: WitherRun, moisture_wb: Array, leaf_c: float) -> State:
    """Leaf as spread: the same in every layer."""
    dry = 1.0 - moisture_wb
    shape = (trough.n_layers, moisture_wb.size)
    film = run.surface_water_share / dry
    return State(
        moisture_db=np.array(np.broadcast_to(moisture_wb / dry - film, shape)),
        film_db=np.array(np.broadcast_to(film, shape)),
        leaf_c=np.full(shape, leaf_c),
    )
