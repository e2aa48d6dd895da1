"""How many days until packed leaf has taken up too much water through its film.

Water vapour crosses the film in proportion to the difference of vapour pressure. Inside, leaf and
desiccant are taken to be in balance with the headspace at once: the film is far slower than they
are. The air in the pack holds next to nothing and is left out; so are pinholes and bad seals,
which a film figure knows nothing of.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import integrate

from wareleaf.air import saturation_pressure_pa
from wareleaf.measure import require
from wareleaf.pack.contents import Climate, Pack

HORIZON_DAYS = 36_500.0


@dataclass(frozen=True)
class ShelfLife:
    """Days in the pack and how they went.

    Parameters
    ----------
    days : float or None
        Until the limit; None when it is never reached.
    limiting : str
        ``film`` when uptake through the film ends the life, ``climate`` when the last climate is
        too dry ever to reach the limit, ``horizon`` when the last climate would have to go on for
        more than a hundred years.
    water_gained_g : float
        Through the film until then.
    series_days, series_moisture_db, series_water_activity, series_temperature_c : tuple
        The course.
    beyond_climate : bool
        The given climates ended first and the last one was taken to go on.
    """

    days: float | None
    limiting: str
    water_gained_g: float
    series_days: tuple[float, ...]
    series_moisture_db: tuple[float, ...]
    series_water_activity: tuple[float, ...]
    series_temperature_c: tuple[float, ...]
    beyond_climate: bool


def _uptake(pack: Pack, climate: Climate) -> Callable[[float, Sequence[float]], list[float]]:
    saturation = float(saturation_pressure_pa(climate.temperature_c))
    conductance = pack.conductance_g_day_pa(climate.temperature_c)

    def rate(_: float, state: Sequence[float]) -> list[float]:
        moisture = pack.moisture_db(max(state[0], 0.0), climate.temperature_c)
        inside = pack.isotherm.water_activity(moisture, climate.temperature_c)
        return [conductance * saturation * (climate.relative_humidity - inside)]

    return rate


def _never(pack: Pack, climate: Climate) -> bool:
    """True when leaf in balance with this climate stays at or below the limit."""
    at_limit = pack.isotherm.water_activity(pack.moisture_db_limit, climate.temperature_c)
    return at_limit >= climate.relative_humidity


def shelf_life(pack: Pack, climates: Sequence[Climate], points: int = 60) -> ShelfLife:
    """Days until the leaf in a pack reaches its moisture limit.

    Parameters
    ----------
    pack : Pack
        Leaf, film and desiccant.
    climates : sequence of Climate
        One after another; the last is taken to go on.
    points : int
        Of the returned course in each climate.

    Returns
    -------
    ShelfLife
        Days, what ends them and the course.

    Raises
    ------
    BadInput
        Without a climate, or with one before the last that has no end.

    Notes
    -----
    ``dM/dt = P A p_sat(T) (RH - aw)`` with ``M`` the water in leaf and desiccant (Fick's law
    through the film in its permeance form; the standard textbook balance), integrated by LSODA to
    1e-8. With a straight isotherm and one climate it is `closed_form_days`.
    """
    require(bool(climates), "climate", None, "climate is empty; give at least one.")
    require(
        all(math.isfinite(c.days) for c in climates[:-1]),
        "days",
        None,
        "Only the last climate may last for ever; give the others days.",
    )
    now, end = 0.0, sum(c.days for c in climates)
    start = 1000.0 * pack.dry_matter_kg * pack.moisture_db_start
    start += pack.desiccant.water_g_start if pack.desiccant else 0.0
    water = start
    course: list[tuple[float, float, float]] = []
    reached, limiting = None, "horizon"
    for i, climate in enumerate(climates):
        last = i == len(climates) - 1
        stop = now + (HORIZON_DAYS if last else climate.days)
        limit_g = pack.water_g(pack.moisture_db_limit, climate.temperature_c)
        if water >= limit_g:
            reached, limiting = now, "film"
            break
        if last and (_never(pack, climate) or pack.permeance_g_m2_day_pa == 0.0):
            limiting, stop = "climate", max(now + min(climate.days, 3650.0), now + 1e-9)

        def hit(_: float, state: Sequence[float], limit: float = limit_g) -> float:
            return float(state[0] - limit)

        hit.terminal = True  # type: ignore[attr-defined]
        solved = integrate.solve_ivp(
            _uptake(pack, climate),
            (now, stop),
            [water],
            method="LSODA",
            rtol=1e-8,
            atol=1e-8 * max(limit_g, 1.0),
            events=hit,
            dense_output=True,
        )
        if not solved.success:
            raise ArithmeticError(f"The course in the pack could not be solved: {solved.message}")
        now, water = float(solved.t[-1]), float(solved.y[0, -1])
        for t in np.linspace(solved.t[0], now, points):
            course.append((float(t), float(solved.sol(t)[0]), climate.temperature_c))
        if solved.status == 1:
            reached, limiting = now, "film"
            break
    moisture = [pack.moisture_db(max(m, 0.0), t) for _, m, t in course]
    return ShelfLife(
        days=reached,
        limiting=limiting,
        water_gained_g=water - start,
        series_days=tuple(d for d, _, _ in course),
        series_moisture_db=tuple(moisture),
        series_water_activity=tuple(
            pack.isotherm.water_activity(x, t)
            for x, (_, _, t) in zip(moisture, course, strict=True)
        ),
        series_temperature_c=tuple(t for _, _, t in course),
        beyond_climate=reached is not None and reached > end * (1.0 + 1e-9),
    )


def closed_form_days(
    *,
    moisture_db_start: float,
    moisture_db_limit: float,
    moisture_db_equilibrium: float,
    isotherm_slope: float,
    permeance_g_m2_day_pa: float,
    area_m2: float,
    dry_matter_kg: float,
    saturation_pressure_pa: float,
) -> float:
    """Days to the moisture limit for a straight isotherm in a steady climate.

    Parameters
    ----------
    moisture_db_start, moisture_db_limit, moisture_db_equilibrium : float
        ``mi``, ``mc`` and ``me``; the last is in balance with the air outside.
    isotherm_slope : float
        ``b``, moisture a unit of water activity.
    permeance_g_m2_day_pa, area_m2, dry_matter_kg, saturation_pressure_pa : float
        ``k/x``, ``A``, ``Ws`` and ``p0``.

    Returns
    -------
    float
        ``ln((me - mi)/(me - mc)) / ((k/x)(A/Ws)(p0/b))`` (Labuza; standard textbook equation,
        from memory).

    Raises
    ------
    BadInput
        Unless start < limit < equilibrium.
    """
    require(
        moisture_db_start < moisture_db_limit < moisture_db_equilibrium,
        "moisture_db_limit",
        moisture_db_limit,
        f"moisture_db_limit is {moisture_db_limit:g}; it must lie between the start and the "
        "moisture in balance with the air outside.",
    )
    pull = (moisture_db_equilibrium - moisture_db_start) / (
        moisture_db_equilibrium - moisture_db_limit
    )
    per_day = permeance_g_m2_day_pa * area_m2 / (1000.0 * dry_matter_kg)
    return math.log(pull) / (per_day * saturation_pressure_pa / isotherm_slope)
