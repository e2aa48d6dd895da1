"""The time in a tunnel that lands the leaf on a moisture, or the driest that it can reach."""

from __future__ import annotations

from dataclasses import replace

from wareleaf import leaf
from wareleaf.air import relative_humidity
from wareleaf.measure import moisture_wb_from_db
from wareleaf.stages._dry_load import DryRun, check_target
from wareleaf.stages._dry_tunnel import simulate_tunnel
from wareleaf.stages._dry_tunnel_result import TunnelResult
from wareleaf.stages._dry_tunnel_spec import TunnelDryer
from wareleaf.stages.common import Aim, finite

_NEAR_WB = 1e-6


def aim_tunnel(tunnel: TunnelDryer, run: DryRun, target_moisture_wb: float) -> Aim[TunnelResult]:
    """Time in the tunnel that reaches a moisture at this feed, by halving the range.

    Parameters
    ----------
    tunnel, run
        As for `simulate_tunnel`; ``run.residence_h`` is not used.
    target_moisture_wb : float
        Wanted at the outlet.

    Returns
    -------
    Aim
        ``settings`` holds ``residence_h`` and ``truck_h``. Out of reach: the nearest settings (the
        most that the trays take, as ``feed_kg_h``, where they are over-full) and the reason.
    """
    finite("feed_kg_h", run.feed_kg_h, 0.0, unit="kg/h", above=True)
    check_target(run, target_moisture_wb)
    fullest_h = tunnel.loading_max_kg_m2 * tunnel.tray_area_m2 / run.feed_kg_h
    low, high = tunnel.time_min_h, min(tunnel.time_max_h, fullest_h)
    if high < low:
        return _over_full(tunnel, run, fullest_h)

    def wet_at(hours: float) -> float:
        at = replace(run, residence_h=hours)
        return simulate_tunnel(tunnel, at, with_spread=False).moisture_wb_out

    reachable = wet_at(high) <= target_moisture_wb
    soonest = reachable and wet_at(low) <= target_moisture_wb
    if soonest:
        high = low
    elif reachable:
        for _ in range(30):
            middle = 0.5 * (low + high)
            wet = wet_at(middle)
            low, high = (middle, high) if wet > target_moisture_wb else (low, middle)
            if abs(wet - target_moisture_wb) < _NEAR_WB:
                high = middle
                break
    result = simulate_tunnel(tunnel, replace(run, residence_h=high))
    if not reachable:
        reason = _unreachable(tunnel, run, result, target_moisture_wb, high < tunnel.time_max_h)
        return Aim(_settings(high, result), result, False, reason)
    reason = (
        f"{high:.2f} h in the tunnel, a truck every {60 * result.truck_h:.0f} min, "
        f"{result.loading_kg_m2:.1f} kg/m2; the leaf reaches "
        f"{result.leaf_temperature_max_c:.0f} degC."
    )
    if soonest:
        reason += " That is the shortest time; it dries further than asked."
    return Aim(_settings(high, result), result, True, reason)


def balance_wb(tunnel: TunnelDryer, run: DryRun, result: TunnelResult) -> float:
    """Moisture in balance with the air that the leaf meets last: no time brings it below."""
    dry_bulb, ratio = result.exhaust_c, result.exhaust_humidity_ratio
    if tunnel.flow == "counter":
        dry_bulb, ratio = tunnel.inlet_c, result.inlet_humidity_ratio
    humidity = min(float(relative_humidity(dry_bulb, ratio, run.pressure_pa)), 0.99)
    held = leaf.equilibrium_moisture_db(run.leaf_profile(), humidity, dry_bulb)
    return float(moisture_wb_from_db(float(held)))


def _settings(hours: float, result: TunnelResult) -> dict[str, float]:
    return {"residence_h": hours, "truck_h": result.truck_h}


def _over_full(tunnel: TunnelDryer, run: DryRun, fullest_h: float) -> Aim[TunnelResult]:
    """The largest feed that fits, and that it is not the one asked."""
    hours = tunnel.time_min_h
    most = run.feed_kg_h * fullest_h / hours
    result = simulate_tunnel(
        tunnel, replace(run, residence_h=hours, feed_kg_h=most), with_spread=False
    )
    reason = (
        f"The trays are over-full even at {hours:g} h in the tunnel: they take {most:.0f} kg/h of "
        f"this leaf, not {run.feed_kg_h:.0f}."
    )
    return Aim({**_settings(hours, result), "feed_kg_h": most}, result, False, reason)


def _unreachable(
    tunnel: TunnelDryer, run: DryRun, result: TunnelResult, target_wb: float, full: bool
) -> str:
    reason = (
        f"{100 * target_wb:.1f} % is out of reach: the driest reachable is "
        f"{100 * result.moisture_wb_out:.1f} %"
    )
    least = balance_wb(tunnel, run, result)
    if target_wb <= least:
        end = "inlet" if tunnel.flow == "counter" else "exhaust"
        return (
            f"{reason}, and in the {end} air the leaf holds {100 * least:.1f} % however long it "
            "stays; make the air hotter or recirculate less."
        )
    limit = "the trays are full then" if full else f"{tunnel.time_max_h:g} h is the longest time"
    return f"{reason}; {limit}. Feed less or give more air."
