"""The air along a blade: heat and water transfer at its surface, and the air by the hour.

Heat transfer of a plate with the wind along it: mean over its length, laminar up to
``Re = 5e5`` (Pohlhausen) and a mixed boundary layer above. Water transfer by the analogy of Chilton
and Colburn, ``K = h/(c f)`` per unit of humidity ratio, with ``f`` the Lewis factor. With ``f = 1``
(Lewis relation) a wet surface sits at the thermodynamic wet bulb exactly; ``f = Le^(2/3)``, about
0.9 for water in air, puts it a few tenths of a kelvin below.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from wareleaf import air
from wareleaf.measure import BadInput, Figure
from wareleaf.stages.common import SECONDS_PER_HOUR, Array, finite, stage_figures

_ZERO_K = 273.15


@cache
def figures() -> dict[str, Figure]:
    """The figures of the slab in air, by ``subject.quantity``."""
    return stage_figures("slab")


def number(name: str) -> float:
    """One figure's value."""
    return figures()[name].value


def plate_w_m2_k(
    velocity_m_s: float, length_m: float, temperature_c: float, pressure_pa: float = 101325.0
) -> float:
    """Mean heat transfer coefficient of a flat plate with air along it, W/(m2 K).

    Parameters
    ----------
    velocity_m_s : float
        Of the free air, above 0 up to 30 m/s. Still air moves by its own warmth: use 0.1 or more.
    length_m : float
        Of the blade along the wind, above 0 up to 20 m.
    temperature_c : float
        Of the film, the mean of air and surface.
    pressure_pa : float
        Of the air.

    Notes
    -----
    ``Nu = 0.664 Re^1/2 Pr^1/3`` below ``Re = 5e5`` and ``(0.037 Re^0.8 - 871) Pr^1/3`` above;
    viscosity by Sutherland's law (figures and evidence in ``data/slab.csv``).
    """
    finite("velocity_m_s", velocity_m_s, 0.0, 30.0, "m/s", above=True)
    finite("length_m", length_m, 0.0, 20.0, "m", above=True)
    kelvin, constant = temperature_c + _ZERO_K, number("air.sutherland_k")
    viscosity = number("air.viscosity_pa_s") * (kelvin / _ZERO_K) ** 1.5
    viscosity *= (_ZERO_K + constant) / (kelvin + constant)
    density = 1.0 / float(air.specific_volume_m3_kg(temperature_c, 0.0, pressure_pa))
    reynolds = density * velocity_m_s * length_m / viscosity
    prandtl = number("air.prandtl")
    if reynolds < number("plate.reynolds_transition"):
        nusselt = number("plate.nusselt_laminar") * reynolds**0.5
    else:
        nusselt = number("plate.nusselt_turbulent") * reynolds**0.8
        nusselt -= number("plate.nusselt_turbulent_offset")
    conductivity = viscosity * air.CP_DRY_AIR_J_KG_K / prandtl
    return nusselt * prandtl ** (1.0 / 3.0) * conductivity / length_m


def chilton_colburn_factor() -> float:
    """Lewis factor ``Le^(2/3)`` of water vapour in air."""
    return number("air.lewis_number") ** (2.0 / 3.0)


@dataclass(frozen=True)
class SlabAir:
    """Air along a blade.

    Parameters
    ----------
    dry_bulb_c, relative_humidity : tuple of float
        At the hours of ``time_h``; straight lines in dry bulb and humidity ratio between them, the
        last is held. Minus 5 to 130 degC.
    time_h : tuple of float
        Rising; one hour when the air is the same all along.
    velocity_m_s, length_m : float
        Of the air, and of the blade along it.
    heat_transfer_w_m2_k : float or None
        As measured; None takes it from velocity and length by `plate_w_m2_k`.
    lewis_factor : float
        ``h/(K c)``; 1 is the Lewis relation, `chilton_colburn_factor` the analogy.
    air_kg_s_m2 : float
        Dry air that passes per m2 of leaf face, kg/s; infinite where the leaf is so thinly spread
        that it does not change the air. This is how loading acts: a face takes the share
        ``1 - exp(-N)`` of what its air can give, ``N = h/(G c)``.
    pressure_pa : float
        Of the air.
    """

    dry_bulb_c: tuple[float, ...]
    relative_humidity: tuple[float, ...]
    time_h: tuple[float, ...] = (0.0,)
    velocity_m_s: float = 1.0
    length_m: float = 0.1
    heat_transfer_w_m2_k: float | None = None
    lewis_factor: float = 1.0
    air_kg_s_m2: float = math.inf
    pressure_pa: float = 101325.0

    def __post_init__(self) -> None:
        """Refuse air that cannot be."""
        count = len(self.time_h)
        for name in ("dry_bulb_c", "relative_humidity"):
            if len(getattr(self, name)) != count or count == 0:
                raise BadInput(
                    name,
                    len(getattr(self, name)),
                    f"{name} has {len(getattr(self, name))} values and time_h has {count}; they "
                    "must be as many, at least one.",
                )
        if np.any(np.diff(self.time_h) <= 0.0):
            raise BadInput("time_h", list(self.time_h), "time_h must rise from hour to hour.")
        for hour, dry, humid in zip(
            self.time_h, self.dry_bulb_c, self.relative_humidity, strict=True
        ):
            finite("time_h", hour, 0.0, 2000.0, "h")
            finite("dry_bulb_c", dry, -5.0, 130.0, "degC")
            finite("relative_humidity", humid, 0.0, 1.0)
        finite("velocity_m_s", self.velocity_m_s, 0.0, 30.0, "m/s", above=True)
        finite("length_m", self.length_m, 0.0, 20.0, "m", above=True)
        finite("lewis_factor", self.lewis_factor, 0.5, 1.5)
        finite("pressure_pa", self.pressure_pa, 60000.0, 110000.0, "Pa")
        if self.heat_transfer_w_m2_k is not None:
            finite("heat_transfer_w_m2_k", self.heat_transfer_w_m2_k, 0.0, 1e6, "W/m2K", above=True)
        if not self.air_kg_s_m2 > 0.0:
            raise BadInput(
                "air_kg_s_m2",
                self.air_kg_s_m2,
                f"air_kg_s_m2 is {self.air_kg_s_m2:g}; it must be above 0, infinite for leaf that "
                "does not change the air.",
            )

    def humidity_ratio(self) -> Array:
        """Humidity ratio at the hours of the series."""
        return np.asarray(
            air.humidity_ratio(
                np.array(self.dry_bulb_c), np.array(self.relative_humidity), self.pressure_pa
            ),
            dtype=float,
        )

    def transfer(self) -> float:
        """Heat transfer coefficient, W/(m2 K), at the film between the first air and a wet leaf."""
        if self.heat_transfer_w_m2_k is not None:
            return self.heat_transfer_w_m2_k
        dry, ratio = self.dry_bulb_c[0], float(self.humidity_ratio()[0])
        wet = float(air.wet_bulb_c(dry, ratio, self.pressure_pa))
        return plate_w_m2_k(self.velocity_m_s, self.length_m, 0.5 * (dry + wet), self.pressure_pa)


@dataclass(frozen=True)
class Coefficients:
    """What a face exchanges: W/K per m2 and kg/s per m2 and unit of humidity ratio."""

    heat_w_m2_k: float
    water_kg_s_m2: float


class AirNow:
    """The air of a `SlabAir` at a moment, in plain numbers for the right-hand side."""

    def __init__(self, spec: SlabAir) -> None:
        self.time_s = np.array(spec.time_h) * SECONDS_PER_HOUR
        self.dry_bulb_c, self.ratio = np.array(spec.dry_bulb_c), spec.humidity_ratio()
        self.spec, self.transfer = spec, spec.transfer()

    def at(self, time_s: float) -> tuple[float, float, Coefficients]:
        """Dry bulb, humidity ratio and coefficients."""
        if self.time_s.size == 1:
            dry, ratio = float(self.dry_bulb_c[0]), float(self.ratio[0])
        else:
            dry = float(np.interp(time_s, self.time_s, self.dry_bulb_c))
            ratio = float(np.interp(time_s, self.time_s, self.ratio))
        heat = air.CP_DRY_AIR_J_KG_K + air.CP_VAPOUR_J_KG_K * ratio
        flow, factor = self.spec.air_kg_s_m2, self.spec.lewis_factor
        water = self.transfer / (heat * factor)
        if math.isinf(flow):
            return dry, ratio, Coefficients(self.transfer, water)
        given = -flow * heat * math.expm1(-self.transfer / (flow * heat))
        return dry, ratio, Coefficients(given, -flow * math.expm1(-water / flow))
