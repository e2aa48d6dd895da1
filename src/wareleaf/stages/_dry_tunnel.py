"""A tunnel: trucks of trays roll through, air passes along the trays with them or against them.

Air against the trucks (counter-current) meets the driest leaf hottest: it dries further on the
same air and heats dry leaf most. Air with the trucks (co-current) gives its heat to wet leaf and
leaves the dry end cool and damp. The model takes the train of trucks as a steady flow; one truck
is a jump of its own share of the time (``truck_h``). It leaves out air that slips past the trucks.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from wareleaf.air import enthalpy_j_kg, humidity_ratio, relative_humidity, specific_volume_m3_kg
from wareleaf.air.constants import CP_WATER_J_KG_K
from wareleaf.measure import moisture_db_from_wb, moisture_wb_from_db, require
from wareleaf.stages._dry_figures import citations, number
from wareleaf.stages._dry_heat_source import HeatSupply, ZoneHeat, supply
from wareleaf.stages._dry_load import DryRun
from wareleaf.stages._dry_spec import AIR_MAX_C, Fan, Heater
from wareleaf.stages._dry_spread import cubature, deviations
from wareleaf.stages._dry_tables import by_dry_bulb, tables
from wareleaf.stages._dry_tunnel_solve import Line, Solution, solve_line
from wareleaf.stages.common import (
    JOULES_PER_KWH,
    SECONDS_PER_HOUR,
    Aim,
    StageResult,
    finite,
    relative_closure,
    spread_wb,
)


@dataclass(frozen=True)
class TunnelDryer:
    """Tunnel over trays.

    Parameters
    ----------
    tray_area_m2 : float
        Of all trays in the tunnel, m2.
    free_area_m2 : float
        Cross section that the air has between and beside the trays, m2.
    inlet_c, velocity_m_s : float
        Air where it enters the tunnel, and its velocity there between the trays.
    flow : str
        ``"counter"`` (against the trucks) or ``"co"`` (with them).
    recirculated : float
        Part of the dry air that is the tunnel's own exhaust, 0 to 0.98.
    trucks : int
        In the tunnel at a time.
    sides : float
        Faces of the layer that air reaches: 1 on a closed tray, up to 2 on mesh.
    heater, fan : Heater, Fan
        Heat (not a direct flame) and air supply; ``fan.duct_pa`` is the whole drop at 1 m/s.
    loading_max_kg_m2, time_max_h : float
        Most on a tray, and the longest time a truck may take.
    cells : int
        Along the tunnel.
    """

    tray_area_m2: float
    free_area_m2: float
    inlet_c: float
    velocity_m_s: float
    flow: Literal["counter", "co"] = "counter"
    recirculated: float = 0.0
    trucks: int = 10
    sides: float = 1.0
    heater: Heater = field(default_factory=Heater)
    fan: Fan = field(default_factory=Fan)
    loading_max_kg_m2: float = field(default_factory=lambda: number("tunnel.loading_max_kg_m2"))
    time_min_h: float = 0.2
    time_max_h: float = 24.0
    cells: int = 48

    def __post_init__(self) -> None:
        """Refuse tunnels whose numbers do not fit together."""
        finite("tray_area_m2", self.tray_area_m2, 0.0, 1.0e5, "m2", above=True)
        finite("free_area_m2", self.free_area_m2, 0.0, 1.0e3, "m2", above=True)
        finite("inlet_c", self.inlet_c, 0.0, AIR_MAX_C, "degC")
        finite("velocity_m_s", self.velocity_m_s, 0.0, 20.0, "m/s", above=True)
        finite("recirculated", self.recirculated, 0.0, 0.98)
        finite("trucks", self.trucks, 1, 200)
        finite("sides", self.sides, 0.0, 2.0, above=True)
        finite("loading_max_kg_m2", self.loading_max_kg_m2, 0.0, 200.0, "kg/m2", above=True)
        finite("time_min_h", self.time_min_h, 0.0, 1.0e3, "h", above=True)
        finite("time_max_h", self.time_max_h, self.time_min_h, 1.0e3, "h")
        finite("cells", self.cells, 4, 400)
        require(
            self.flow in ("counter", "co"),
            "flow",
            self.flow,
            f"flow is {self.flow!r}; it must be 'counter' or 'co'.",
        )
        require(
            self.heater.kind != "direct",
            "kind",
            self.heater.kind,
            "kind is 'direct'; a tunnel here takes 'indirect', 'steam' or 'heat_pump'.",
        )


@dataclass(frozen=True)
class TunnelResult(StageResult):
    """Result of a tunnel; the common fields of every stage, then those of a tunnel.

    ``truck_h`` is the time between trucks, ``curve_air_c`` the air beside the leaf of
    ``curve_leaf_c``; residuals are formed from air and leaf at the two ends.
    """

    truck_h: float
    loading_kg_m2: float
    dry_air_kg: float
    inlet_humidity_ratio: float
    exhaust_c: float
    exhaust_humidity_ratio: float
    exhaust_relative_humidity: float
    drained_kg: float
    heat_mj_per_kg_water: float
    supply: HeatSupply
    curve_time_h: tuple[float, ...]
    curve_moisture_wb: tuple[float, ...]
    curve_leaf_c: tuple[float, ...]
    curve_air_c: tuple[float, ...]


def simulate_tunnel(tunnel: TunnelDryer, run: DryRun, *, with_spread: bool = True) -> TunnelResult:
    """Dry a lot in a tunnel at steady state.

    Parameters
    ----------
    tunnel : TunnelDryer
        The machine.
    run : DryRun
        The leaf, the feed (``feed_kg_h``), the time in the tunnel and the air around.
    with_spread : bool
        Whether ``moisture_wb_out_sd`` is computed (else 0).

    Raises
    ------
    BadInput
        No feed, a set point below the ambient air, or no steady state.
    """
    finite("feed_kg_h", run.feed_kg_h, 0.0, unit="kg/h", above=True)
    require(
        tunnel.inlet_c >= run.ambient_c,
        "inlet_c",
        tunnel.inlet_c,
        f"inlet_c is {tunnel.inlet_c:g} degC; a heater cannot go below the ambient "
        f"{run.ambient_c:g} degC.",
    )
    found = solve_line(line_of(tunnel, run))
    sd = _spread(tunnel, run, found) if with_spread else 0.0
    return _build(tunnel, run, found, sd)


def aim_tunnel(tunnel: TunnelDryer, run: DryRun, target_moisture_wb: float) -> Aim[TunnelResult]:
    """Time in the tunnel that reaches a moisture at this feed, by halving the range.

    Parameters
    ----------
    tunnel, run
        As for `simulate_tunnel`; ``run.residence_h`` is not used.
    target_moisture_wb : float
        Wanted at the outlet.
    """
    finite("target_moisture_wb", target_moisture_wb, 0.0, run.moisture_wb, above=True)
    most = tunnel.loading_max_kg_m2 * tunnel.tray_area_m2 / run.feed_kg_h
    low, high = tunnel.time_min_h, min(tunnel.time_max_h, most)
    require(
        high > low,
        "feed_kg_h",
        run.feed_kg_h,
        f"feed_kg_h is {run.feed_kg_h:g}: the trays are over-full even at {low:g} h; feed less.",
    )

    def at(hours: float) -> TunnelResult:
        return simulate_tunnel(tunnel, replace(run, residence_h=hours), with_spread=False)

    last = at(high)
    reachable = last.moisture_wb_out <= target_moisture_wb
    if reachable:
        for _ in range(30):
            middle = 0.5 * (low + high)
            wet = at(middle).moisture_wb_out
            low, high = (middle, high) if wet > target_moisture_wb else (low, middle)
            if abs(wet - target_moisture_wb) < 1e-6:
                break
    result = simulate_tunnel(tunnel, replace(run, residence_h=high))
    reason = f"{high:.2f} h in the tunnel, a truck every {60 * result.truck_h:.0f} min."
    if not reachable:
        reason = (
            f"{100 * target_moisture_wb:.1f} % is out of reach: at the longest time or fullest "
            f"trays it leaves at {100 * result.moisture_wb_out:.1f} %; feed less or give more air."
        )
    settings = {"residence_h": high, "truck_h": result.truck_h}
    return Aim(settings, result, reachable, reason)


def line_of(tunnel: TunnelDryer, run: DryRun) -> Line:
    """The tunnel's cells for a run."""
    profile = run.leaf_profile()
    dry_kg_s = run.feed_kg_h * (1.0 - run.moisture_wb) / SECONDS_PER_HOUR
    holds = dry_kg_s * run.residence_h * SECONDS_PER_HOUR
    return Line(
        tables=tables(profile, run.pressure_pa),
        by_dry_bulb=by_dry_bulb(profile, run.pressure_pa, tunnel.velocity_m_s),
        rate_factor=run.rate_multiplier,
        cells=tunnel.cells,
        counter=tunnel.flow == "counter",
        dry_feed_kg_s=dry_kg_s,
        stay_s=run.residence_h * SECONDS_PER_HOUR,
        velocity_m_s=tunnel.velocity_m_s,
        free_area_m2=tunnel.free_area_m2,
        exchange_m2_kg=min(
            tunnel.sides * tunnel.tray_area_m2 / holds, profile.specific_surface_m2_kg
        ),
        inlet_c=tunnel.inlet_c,
        recirculated=tunnel.recirculated,
        ambient_ratio=float(humidity_ratio(run.ambient_c, run.ambient_rh, run.pressure_pa)),
        feed=(
            float(moisture_db_from_wb(run.moisture_wb)),
            run.ambient_c if run.leaf_c is None else run.leaf_c,
        ),
    )


def _spread(tunnel: TunnelDryer, run: DryRun, found: Solution) -> float:
    """Standard deviation of the outlet moisture by the rule of `spread`, from a near root."""
    points, weights = cubature(run)
    out = []
    for z in points * deviations(run):
        moisture_wb, loading, ambient_c, humidity, inlet_c, rate = z
        ambient = float(np.clip(run.ambient_c + ambient_c, -20.0, 60.0))
        near = replace(
            run,
            moisture_wb=float(np.clip(run.moisture_wb + moisture_wb, 0.002, 0.985)),
            feed_kg_h=run.feed_kg_h * float(np.exp(loading)),
            ambient_c=ambient,
            ambient_rh=float(np.clip(run.ambient_rh + humidity, 0.0, 1.0)),
        )
        air_c = min(max(tunnel.inlet_c + inlet_c, ambient), AIR_MAX_C)
        line = line_of(replace(tunnel, inlet_c=air_c), near)
        line = replace(line, rate_factor=line.rate_factor * float(np.exp(rate)))
        out.append(moisture_wb_from_db(float(solve_line(line, found).moisture[-1])))
    return spread_wb(np.array(out), weights)[1]


def _build(tunnel: TunnelDryer, run: DryRun, found: Solution, sd: float) -> TunnelResult:
    line, profile = line_of(tunnel, run), run.leaf_profile()
    props, hours = line.tables, run.lot_kg() / run.feed_kg_h
    dry = run.lot_kg() * (1.0 - run.moisture_wb)
    x, moisture = float(found.moisture[-1]), moisture_wb_from_db(float(found.moisture[-1]))
    t_out, w_out = found.exhaust(line.counter)
    air = found.air_kg_s * SECONDS_PER_HOUR * hours
    fresh, drained = air * (1.0 - line.recirculated), air * found.drained
    h_out = float(enthalpy_j_kg(t_out, w_out))
    ambient = float(enthalpy_j_kg(run.ambient_c, line.ambient_ratio))
    h_in = float(enthalpy_j_kg(tunnel.inlet_c, found.inlet_ratio))
    heat = air * (h_in - line.recirculated * h_out) - fresh * ambient
    heat += drained * CP_WATER_J_KG_K * tunnel.inlet_c
    asked = ZoneHeat(heat / JOULES_PER_KWH, 0.0, tunnel.inlet_c, None)
    made = supply(tunnel.heater, (asked,), run.ambient_c)
    volume = float(specific_volume_m3_kg(tunnel.inlet_c, found.inlet_ratio, run.pressure_pa))
    drop = tunnel.fan.duct_pa * tunnel.velocity_m_s**2
    fans = air * volume * drop / tunnel.fan.efficiency / JOULES_PER_KWH
    water = dry * (line.feed[0] - x)
    start = dry * float(props.leaf_heat(*(np.array(v) for v in line.feed)))
    end = dry * float(props.leaf_heat(found.moisture[-1:], found.leaf_c[-1:])[0])
    taken = fresh * (h_out - ambient) + drained * CP_WATER_J_KG_K * tunnel.inlet_c
    gained = fresh * (w_out - line.ambient_ratio) + drained
    result = TunnelResult(
        duration_h=hours + run.residence_h,
        mass_in_kg=run.lot_kg(),
        mass_out_kg=dry / (1.0 - moisture),
        dry_matter_kg=dry,
        moisture_wb_out=moisture,
        moisture_wb_out_sd=sd,
        water_removed_kg=water,
        heat_kwh=made.heat_kwh,
        electricity_kwh=fans + made.electricity_kwh,
        fuel_kg=made.fuel_kg,
        water_residual=relative_closure(gained, water, run.lot_kg() * run.moisture_wb),
        energy_residual=relative_closure(taken, start - end + heat, abs(start)),
        leaf_temperature_max_c=float(max(found.leaf_c.max(), line.feed[1])),
        warnings=(),
        sources=_sources(tunnel, profile.id),
        truck_h=run.residence_h / tunnel.trucks,
        loading_kg_m2=run.feed_kg_h * run.residence_h / tunnel.tray_area_m2,
        dry_air_kg=air,
        inlet_humidity_ratio=found.inlet_ratio,
        exhaust_c=t_out,
        exhaust_humidity_ratio=w_out,
        exhaust_relative_humidity=float(relative_humidity(t_out, w_out, run.pressure_pa)),
        drained_kg=drained,
        heat_mj_per_kg_water=3.6 * made.heat_kwh / water if water > 0.0 else 0.0,
        supply=made,
        curve_time_h=tuple(run.residence_h * i / line.cells for i in range(line.cells + 1)),
        curve_moisture_wb=tuple(
            float(moisture_wb_from_db(v)) for v in (line.feed[0], *found.moisture)
        ),
        curve_leaf_c=(line.feed[1], *(float(c) for c in found.leaf_c)),
        curve_air_c=_air_beside(tunnel, found),
    )
    return replace(result, warnings=_warnings(tunnel, run, result))


def _air_beside(tunnel: TunnelDryer, found: Solution) -> tuple[float, ...]:
    """Air at the borders of the cells, in the leaf's order."""
    beside = [float(t) for t in found.air_c]
    return (*beside, tunnel.inlet_c) if tunnel.flow == "counter" else (tunnel.inlet_c, *beside)


def _sources(tunnel: TunnelDryer, leaf_id: str) -> tuple[str, ...]:
    names = ["tunnel.h_factor", "tunnel.loading_max_kg_m2", "spread.inlet_c_sd"]
    if tunnel.heater.fuel is not None:
        names.append(f"{tunnel.heater.fuel}.net_heating_value_mj_kg")
    if tunnel.heater.kind == "heat_pump":
        names.append("heat_pump.carnot_fraction")
    kept = f"Sorption, kinetics and limits: leaf profile {leaf_id} (its figures are listed)"
    return (*citations(*names), kept)


def _warnings(tunnel: TunnelDryer, run: DryRun, result: TunnelResult) -> tuple[str, ...]:
    profile, said = run.leaf_profile(), []
    if result.loading_kg_m2 > tunnel.loading_max_kg_m2 * (1 + 1e-9):
        said.append(
            f"The trays are over-full: {result.loading_kg_m2:.1f} kg/m2 where at most "
            f"{tunnel.loading_max_kg_m2:.1f} dry evenly; feed less or send trucks faster."
        )
    if result.leaf_temperature_max_c > profile.leaf_temperature_max_c:
        said.append(
            f"The leaf reaches {result.leaf_temperature_max_c:.0f} degC; above "
            f"{profile.leaf_temperature_max_c:.0f} degC {profile.name} loses quality."
        )
    if result.exhaust_relative_humidity > 0.9:
        said.append("The exhaust is nearly saturated: more air or less recirculation dries faster.")
    if result.moisture_wb_out > profile.moisture_wb_store_limit:
        said.append(
            f"At {100 * result.moisture_wb_out:.1f} % it does not store: {profile.name} keeps "
            f"below {100 * profile.moisture_wb_store_limit:.1f} %."
        )
    return tuple(said)
