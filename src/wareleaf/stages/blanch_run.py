"""A load through the bath, basket by basket, while the bath takes up what the leaf gives off."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from wareleaf import leaf
from wareleaf.air import saturation_pressure_pa
from wareleaf.measure import require
from wareleaf.stages import blanch_leaf as blade
from wareleaf.stages.blanch_bath import (
    ARSENIC,
    IODINE,
    MINERALS,
    ORGANICS,
    Basket,
    Liquor,
    leach,
    medium,
)
from wareleaf.stages.blanch_spec import SPECIES, Bath, BlanchResult, BlanchRun, figure
from wareleaf.stages.common import SECONDS_PER_HOUR, Array

_SLICES = 150  # of a steady feed: halving the slice moves the mean iodine by under 0.5 %


@dataclass
class Day:
    """Everything that is counted while the load goes through."""

    bath: Liquor
    solid: float
    out: Liquor = field(default_factory=Liquor)
    waste: Liquor = field(default_factory=Liquor)
    made_up: Liquor = field(default_factory=Liquor)
    steam_kg: float = 0.0
    steam_j: float = 0.0
    heater_j: float = 0.0
    warm_up_j: float = 0.0
    lost_j: float = 0.0
    leaf_in_j: float = 0.0
    rest_out_kg: float = 0.0
    rest_out_j: float = 0.0
    bound_out_kg: Array = field(default_factory=lambda: np.zeros(4))
    time_h: float = 0.0
    dumps: int = 0
    coolest_c: float = 1e9
    dirtiest: float = 0.0
    course: list[tuple[float, ...]] = field(default_factory=list)


def basket_of(run: BlanchRun, mass_kg: float, solid: float) -> Basket:
    """Fresh leaf with its free and bound parts."""
    species = SPECIES[run.leaf_id]
    dry, water = mass_kg * (1.0 - run.moisture_wb), mass_kg * run.moisture_wb
    content = np.zeros(4)
    content[IODINE] = 1e-6 * run.iodine_mg_kg_dw * dry
    content[ARSENIC] = 1e-6 * run.arsenic_mg_kg_dw * dry
    content[MINERALS] = figure(f"{species}.minerals_fraction_dw") * dry
    content[ORGANICS] = figure("all.organics_fraction_dw") * dry
    held = np.array(
        [
            min(1.0, figure("all.iodine_bound_fraction") * run.residual_factor),
            min(1.0, figure("all.arsenic_bound_fraction") * run.residual_factor),
            figure("all.minerals_bound_fraction"),
            figure("all.organics_bound_fraction"),
        ]
    )
    free = Liquor(water, content * (1.0 - held))
    bound = content * held
    bound[MINERALS] = bound[ORGANICS] = 0.0  # they stay inside the rest
    rest = dry - free.dry_kg
    basket = Basket(free, rest, bound)
    free.enthalpy_j = free.heat_j_k(solid) * run.leaf_temperature_c
    return basket


def dip(bath: Bath, run: BlanchRun, day: Day, mass_kg: float) -> blade.Heating:
    """One basket: warm it, leach it, drain it; the bath changes with it."""
    profile, liquor = leaf.profile(run.leaf_id), day.bath
    basket = basket_of(run, mass_kg, day.solid)
    leaf_j_k = basket.heat_j_k(day.solid)
    day.leaf_in_j += leaf_j_k * run.leaf_temperature_c
    heating = blade.warm(
        leaf_c=run.leaf_temperature_c,
        bath_c=liquor.temperature_c(day.solid),
        leaf_j_k=leaf_j_k,
        bath_j_k=liquor.heat_j_k(day.solid),
        mass_j_kg_k=leaf_j_k / mass_kg,
        half_thickness_m=run.half_thickness_m or profile.half_thickness_m,
        heat_transfer_w_m2_k=bath.heat_transfer_w_m2_k,
        immersion_s=run.immersion_s,
    )
    end_c = float(heating.mean_c[-1])
    liquor.enthalpy_j -= leaf_j_k * (end_c - run.leaf_temperature_c)
    basket.free.enthalpy_j = basket.free.heat_j_k(day.solid) * end_c
    reached = blade.leach_exposure(SPECIES[run.leaf_id], heating, run.leach_activation_j_mol)
    rate = reached * run.leach_factor
    ratio = np.array([1.0, 1.0, 1.0, figure("all.organics_rate_ratio")])
    leach(basket, liquor, rate * ratio, end_c, day.solid)
    _swell(basket, liquor, run.water_change_fraction)
    wet = basket.free.water_kg + basket.dry_kg
    film_kg = bath.drag_out_kg_per_kg * run.drag_factor * wet
    film = liquor.take(min(0.5, film_kg / (liquor.water_kg + liquor.dry_kg)))
    _leaf_out(day, basket, film, end_c)
    return heating


def _swell(basket: Basket, liquor: Liquor, change: float) -> None:
    """Tissue takes up bath liquor, or gives off its own."""
    if change > 0.0:
        share = change * basket.free.water_kg / liquor.water_kg
        basket.free.add(liquor.take(min(0.5, share)))
    elif change < 0.0:
        liquor.add(basket.free.take(-change))


def _leaf_out(day: Day, basket: Basket, film: Liquor, end_c: float) -> None:
    basket.free.add(film)
    moisture = basket.free.water_kg / (basket.free.water_kg + basket.dry_kg)
    day.course.append(
        (
            day.time_h,
            day.bath.temperature_c(day.solid),
            day.bath.solids_fraction,
            1e6 * day.bath.solute_kg[IODINE] / (day.bath.water_kg + day.bath.dry_kg),
            basket.content_mg_kg(IODINE),
            moisture,
        )
    )
    day.out.add(basket.free)
    day.rest_out_kg += basket.rest_kg
    day.rest_out_j += basket.rest_kg * day.solid * end_c
    day.bound_out_kg = day.bound_out_kg + basket.bound_kg


def keep(bath: Bath, run: BlanchRun, day: Day, leaf_kg: float, seconds: float) -> None:
    """Between baskets: steam and losses, refresh and top up, heat to the set point."""
    liquor, solid = day.bath, day.solid
    hours = seconds / SECONDS_PER_HOUR
    # Steam follows the vapour pressure, so a bath that sags steams less.
    now_c = liquor.temperature_c(solid)
    require(
        now_c > 0.0,
        "evaporation_kg_h",
        bath.evaporation_kg_h,
        f"evaporation_kg_h of {bath.evaporation_kg_h:g} with a {bath.heater_kw:g} kW heater would "
        f"freeze {bath.water_kg:g} kg of bath: give less evaporation or more heat.",
    )
    pressure = saturation_pressure_pa(now_c)
    rate = bath.evaporation_kg_h * float(pressure / saturation_pressure_pa(bath.temperature_c))
    steam = min(rate * hours, 0.2 * liquor.water_kg)
    day.steam_j += liquor.steam_off(steam, solid)
    day.steam_kg += steam
    # Newton's cooling over the interval, exact, so that a long wait cannot overshoot the room.
    capacity = liquor.heat_j_k(solid)
    share = -math.expm1(-bath.loss_w_k * seconds / capacity)
    loss = capacity * (liquor.temperature_c(solid) - run.room_c) * share
    liquor.enthalpy_j -= loss
    day.lost_j += loss
    # What runs over leaves at the bath's own strength; then the bath is filled again.
    over = bath.refresh_kg_per_kg * leaf_kg + max(0.0, liquor.water_kg - bath.water_kg)
    day.waste.add(liquor.take(min(0.9, over / liquor.water_kg)))
    fill(bath, day, bath.water_kg - liquor.water_kg)
    heat(bath, day, seconds)
    day.time_h += hours


def fill(bath: Bath, day: Day, water_kg: float) -> None:
    """Top up with the medium at its own temperature."""
    fresh = medium(bath.medium, max(0.0, water_kg), bath.make_up_c, day.solid)
    day.made_up.add(fresh)
    day.bath.add(fresh)


def heat(bath: Bath, day: Day, seconds: float | None = None) -> float:
    """Heat to the set point, as far as the heater can in that time; returns the heat, J."""
    missing = day.bath.heat_j_k(day.solid) * bath.temperature_c - day.bath.enthalpy_j
    can = missing if seconds is None else 1000.0 * bath.heater_kw * seconds
    given = max(0.0, min(missing, can))
    day.bath.enthalpy_j += given
    day.heater_j += given
    return given


def dump(bath: Bath, day: Day) -> None:
    """Let the bath go, fill it and heat it; the load waits."""
    day.waste.add(day.bath.take(1.0))
    fill(bath, day, bath.water_kg)
    joules = heat(bath, day)
    day.time_h += bath.refill_h + joules / (1000.0 * bath.heater_kw) / SECONDS_PER_HOUR
    day.dumps += 1


def simulate(bath: Bath, run: BlanchRun) -> BlanchResult:
    """Blanch a load in a bath that starts clean, full and hot.

    The heat that made it hot is ``warm_up_kwh`` and counts in ``heat_kwh``; its hours are
    ``warm_up_h`` and do not count in ``duration_h``.

    Parameters
    ----------
    bath : Bath
        The equipment and its settings.
    run : BlanchRun
        The leaf.

    Raises
    ------
    BadInput
        A basket that does not fit into the bath.
    """
    return _simulated(bath, run)


# The same run is asked for when it starts, when what it leached is booked, and when its hours are
# held against the clock.
@lru_cache(maxsize=64)
def _simulated(bath: Bath, run: BlanchRun) -> BlanchResult:
    from wareleaf.stages.blanch_report import report

    solid = leaf.profile(run.leaf_id).specific_heat_dry_j_kg_k
    first = medium(bath.medium, bath.water_kg, bath.make_up_c, solid)
    day = Day(first, solid)
    start = Liquor(first.water_kg, first.solute_kg, first.enthalpy_j)
    limit = bath.dump_solids_fraction
    require(
        limit is None or limit > first.solids_fraction,
        "dump_solids_fraction",
        limit,
        f"dump_solids_fraction is {limit}; the {bath.medium} itself holds "
        f"{first.solids_fraction:.3f}, so it must be above that.",
    )
    day.warm_up_j = heat(bath, day)
    sizes, seconds = pace(bath, run)
    heatings = []
    for size in sizes:
        if limit is not None and day.bath.solids_fraction > limit:
            dump(bath, day)
        day.coolest_c = min(day.coolest_c, day.bath.temperature_c(solid))
        heatings.append(dip(bath, run, day, size))
        day.dirtiest = max(day.dirtiest, day.bath.solids_fraction)
        keep(bath, run, day, size, seconds)
    if bath.feed_kg_h > 0.0:
        day.time_h += run.immersion_s / SECONDS_PER_HOUR  # the last blade's way through
    return report(bath, run, day, start, heatings)


def pace(bath: Bath, run: BlanchRun) -> tuple[list[float], float]:
    """Sizes of the baskets or slices, kg, and the seconds each takes."""
    if bath.feed_kg_h > 0.0:
        # A slice must stay small beside the bath.
        count = max(_SLICES, int(np.ceil(run.mass_kg / (0.1 * bath.water_kg))))
        size = run.mass_kg / count
        return [size] * count, size / bath.feed_kg_h * SECONDS_PER_HOUR
    require(
        bath.dip_kg <= bath.water_kg,
        "dip_kg",
        bath.dip_kg,
        f"dip_kg is {bath.dip_kg:g}; a basket must not weigh more than the {bath.water_kg:g} kg of "
        "water in the bath.",
    )
    whole = int(run.mass_kg // bath.dip_kg)
    rest = run.mass_kg - whole * bath.dip_kg
    require(
        whole <= 5000,
        "mass_kg",
        run.mass_kg,
        f"mass_kg of {run.mass_kg:g} makes {whole} baskets; at most 5000 can be computed at once.",
    )
    sizes = [bath.dip_kg] * whole
    if rest > 1e-9 * run.mass_kg:
        sizes.append(rest)
    return sizes, run.immersion_s + bath.turn_s
