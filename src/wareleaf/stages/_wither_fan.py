"""How much air the fan gets through the bed.

Fan: parabola through its shut-off pressure and its design point. System: bend and plenum with the
square of velocity, and the leaf with the two-term law of Ergun (1952), linear in depth. No static
pressure of a withering bed was found in print, so the resistance of the leaf is scaled to the
design point of the trough (see ``data/wither.csv``, subjects ``fan`` and ``bed``). Shrinking and
settling of the leaf are left out: the working point is that of the fresh load.
"""

from __future__ import annotations

from dataclasses import dataclass

from scipy.optimize import brentq

from wareleaf.measure import BadInput
from wareleaf.stages._wither_spec import Trough, WitherRun, number


@dataclass(frozen=True)
class WorkingPoint:
    """Where fan and bed meet: face velocity, total and bed pressure, load."""

    air_velocity_m_s: float
    fan_pressure_pa: float
    bed_pressure_pa: float
    loading_kg_m2: float

    def electric_w(self, trough: Trough) -> float:
        """Electric power of the fan, W: air power over efficiency."""
        flow_m3_s = self.air_velocity_m_s * trough.area_m2
        return self.fan_pressure_pa * flow_m3_s / trough.fan_efficiency


def bed_pressure_pa(trough: Trough, air_velocity_m_s: float, loading_kg_m2: float) -> float:
    """Pressure drop of the leaf, Pa: ``dp = load * (a v + b v^2)``, Ergun's form."""
    design = trough.fan_pressure_pa * number("fan.bed_share_of_pressure")
    u = air_velocity_m_s / trough.air_velocity_m_s
    viscous = number("bed.viscous_share")
    relative_load = loading_kg_m2 / number("trough.loading_design_kg_m2")
    return design * relative_load * (viscous * u + (1.0 - viscous) * u * u)


def _surplus_pa(trough: Trough, velocity: float, loading: float) -> float:
    """Fan pressure less what bend, plenum and leaf take at this velocity, Pa."""
    u2 = (velocity / trough.air_velocity_m_s) ** 2
    shutoff, design = trough.fan_shutoff_pressure_pa, trough.fan_pressure_pa
    fan = shutoff - (shutoff - design) * u2
    duct = design * (1.0 - number("fan.bed_share_of_pressure")) * u2
    return fan - duct - bed_pressure_pa(trough, velocity, loading)


def working_point(trough: Trough, run: WitherRun) -> WorkingPoint:
    """Solve fan against bed.

    Raises
    ------
    BadInput
        When the load is heavier than the fan can lift air through: the velocity would fall below
        a third of the design velocity.
    """
    loading = run.mass_kg / trough.area_m2
    least = number("fan.least_share_of_velocity") * trough.air_velocity_m_s
    if _surplus_pa(trough, least, loading) < 0.0:
        room = _surplus_pa(trough, least, 0.0) / bed_pressure_pa(trough, least, 1.0)
        raise BadInput(
            "mass_kg",
            run.mass_kg,
            f"mass_kg is {run.mass_kg:g}: at {loading:.0f} kg/m2 the fan cannot lift enough air "
            f"through the leaf; this trough takes at most {room * trough.area_m2:.0f} kg "
            f"({room:.0f} kg/m2).",
        )
    high = trough.air_velocity_m_s
    while _surplus_pa(trough, high, loading) > 0.0:
        high *= 1.5
    velocity = float(brentq(lambda v: _surplus_pa(trough, v, loading), least, high))
    bed = bed_pressure_pa(trough, velocity, loading)
    u2 = (velocity / trough.air_velocity_m_s) ** 2
    total = bed + trough.fan_pressure_pa * (1.0 - number("fan.bed_share_of_pressure")) * u2
    return WorkingPoint(velocity, total, bed, loading)
