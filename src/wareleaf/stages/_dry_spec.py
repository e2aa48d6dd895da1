"""What a dryer is: frozen specs with their checks.

A belt, a tray and a fluid bed share the zone: a stretch of the way (or of the time, for trays)
with its own air. Fractions are 0 to 1; temperatures in degrees C; times in hours.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from wareleaf.measure import BadInput, require
from wareleaf.stages._dry_figures import fuel_names, number
from wareleaf.stages.common import finite

Direction = Literal["up", "down"]
Mixing = Literal["plug", "mixed"]
HeaterKind = Literal["indirect", "steam", "direct", "heat_pump"]

AIR_MAX_C = 150.0


@dataclass(frozen=True)
class Zone:
    """A stretch of the dryer with its own air.

    Parameters
    ----------
    share : float
        Part of the belt area (or of the tray time) in this zone, above 0; shares add to 1.
    inlet_c : float or None
        Set point of the air where it meets the leaf, degC, at most 150. ``None``: no heater, the
        zone blows ambient air (a cooling zone).
    velocity_m_s : float
        Superficial velocity of that air, m/s.
    recirculated : float
        Part of the dry air that is the zone's own exhaust, 0 to 0.98; the rest is ambient.
    direction : str
        ``"up"`` or ``"down"`` through the bed.
    remix : bool
        Whether the bed is turned and mixed in depth before this zone.
    coil_c : float or None
        Air temperature behind an evaporator in the return duct, degC; what is over saturation
        there condenses. ``None``: no evaporator.
    coil_share : float
        Part of the return air that passes that evaporator; the rest goes round it.
    """

    share: float
    inlet_c: float | None
    velocity_m_s: float
    recirculated: float = 0.0
    direction: Direction = "up"
    remix: bool = False
    coil_c: float | None = None
    coil_share: float = 1.0

    def __post_init__(self) -> None:
        """Refuse air that no dryer of this kind has."""
        finite("share", self.share, 0.0, 1.0, above=True)
        finite("velocity_m_s", self.velocity_m_s, 0.0, 10.0, "m/s")
        finite("recirculated", self.recirculated, 0.0, 0.98)
        if self.inlet_c is None:
            require(
                self.recirculated == 0.0,
                "recirculated",
                self.recirculated,
                f"recirculated is {self.recirculated:g} in a zone without a heater; it must be 0.",
            )
        else:
            finite("inlet_c", self.inlet_c, 0.0, AIR_MAX_C, "degC")
        if self.coil_c is not None:
            finite("coil_c", self.coil_c, 0.0, AIR_MAX_C, "degC", above=True)
            finite("coil_share", self.coil_share, 0.0, 1.0, above=True)
            require(
                self.recirculated > 0.0,
                "coil_c",
                self.coil_c,
                f"coil_c is {self.coil_c:g} in a zone whose recirculated is 0; an evaporator in "
                "the return duct needs return air.",
            )
        require(
            self.direction in ("up", "down"),
            "direction",
            self.direction,
            f"direction is {self.direction!r}; it must be 'up' or 'down'.",
        )


@dataclass(frozen=True)
class Heater:
    """How the heat gets into the air.

    Parameters
    ----------
    efficiency : float
        Heat into the air stream per heat in the fuel, on the net (lower) heating value: burner or
        boiler, steam lines and exchanger together.
    loss_fraction : float
        Of the heat put into the air, what the casing and ducts lose before the leaf sees it.
    fuel : str or None
        Name of a fuel in ``stages/data/dry.csv``; ``None`` when nothing is burned at the works.
    kind : str
        ``"indirect"`` (exchanger), ``"steam"`` (exchanger on steam), ``"direct"`` (combustion gas
        in the air; its water vapour goes over the leaf) or ``"heat_pump"`` (what it does not bring
        comes from the fuel, or from an electric heater without one).
    carnot_fraction, pinch_k : float
        Of a heat pump: its COP over that of Carnot, and how far its refrigerant is from the air.
    """

    efficiency: float = 0.6
    loss_fraction: float = 0.1
    fuel: str | None = "firewood"
    kind: HeaterKind = "indirect"
    carnot_fraction: float = field(default_factory=lambda: number("heat_pump.carnot_fraction"))
    pinch_k: float = field(default_factory=lambda: number("heat_pump.pinch_k"))

    def __post_init__(self) -> None:
        """Refuse impossible efficiencies and unknown fuels."""
        finite("efficiency", self.efficiency, 0.0, 1.2, above=True)
        finite("loss_fraction", self.loss_fraction, 0.0, 0.9)
        require(
            self.fuel is None or self.fuel in fuel_names(),
            "fuel",
            self.fuel,
            f"fuel is {self.fuel!r}; it must be one of {', '.join(fuel_names())}, or none.",
        )
        require(
            self.kind in ("indirect", "steam", "direct", "heat_pump"),
            "kind",
            self.kind,
            f"kind is {self.kind!r}; it must be 'indirect', 'steam', 'direct' or 'heat_pump'.",
        )
        require(
            self.kind != "direct" or self.fuel is not None,
            "fuel",
            self.fuel,
            "fuel is missing; a direct-fired heater needs one of " + ", ".join(fuel_names()) + ".",
        )
        finite("carnot_fraction", self.carnot_fraction, 0.0, 1.0, above=True)
        finite("pinch_k", self.pinch_k, 0.0, 30.0, "K")


@dataclass(frozen=True)
class Fan:
    """Fans of all zones.

    Parameters
    ----------
    efficiency : float
        Air power per electrical power.
    duct_pa : float
        Pressure drop outside the bed (ducts, heater, belt plate) at 1 m/s superficial, Pa; it
        grows with the square of the velocity.
    """

    efficiency: float = 0.55
    duct_pa: float = 250.0

    def __post_init__(self) -> None:
        """Refuse impossible fans."""
        finite("efficiency", self.efficiency, 0.0, 1.0, above=True)
        finite("duct_pa", self.duct_pa, 0.0, 1.0e4, "Pa")


@dataclass(frozen=True)
class _Dryer:
    """What belt, tray and fluid bed have in common."""

    area_m2: float
    zones: tuple[Zone, ...]
    heater: Heater = field(default_factory=Heater)
    fan: Fan = Fan()
    loading_max_kg_m2: float = field(default_factory=lambda: number("belt.loading_max_kg_m2"))
    depth_max_m: float = field(default_factory=lambda: number("belt.depth_max_m"))
    time_min_h: float = 0.05
    time_max_h: float = 8.0
    exposure: float = field(default_factory=lambda: number("bed.exposure"))
    layers: int = 8
    steps: int = 40

    def __post_init__(self) -> None:
        """Refuse dryers whose numbers do not fit together."""
        finite("area_m2", self.area_m2, 0.0, 1.0e5, "m2", above=True)
        finite("loading_max_kg_m2", self.loading_max_kg_m2, 0.0, 1.0e3, "kg/m2", above=True)
        finite("depth_max_m", self.depth_max_m, 0.0, 5.0, "m", above=True)
        finite("time_min_h", self.time_min_h, 0.0, 1.0e3, "h", above=True)
        finite("time_max_h", self.time_max_h, self.time_min_h, 1.0e3, "h", above=True)
        finite("exposure", self.exposure, 0.0, 1.0, above=True)
        finite("layers", self.layers, 1, 200)
        finite("steps", self.steps, 1, 20000)
        if not self.zones:
            raise BadInput("zones", 0, "zones is empty; a dryer needs at least one zone.")
        total = math.fsum(z.share for z in self.zones)
        require(
            abs(total - 1.0) < 1e-6,
            "zones",
            total,
            f"zones: the shares add to {total:g}; they must add to 1.",
        )


@dataclass(frozen=True)
class BeltDryer(_Dryer):
    """Through-circulation belt: air passes up or down through a bed that travels.

    Parameters
    ----------
    area_m2 : float
        Belt area under air, all zones (length times width, several passes together), m2.
    zones : tuple of Zone
        In the order the leaf meets them.
    heater, fan : Heater, Fan
        Heat and air supply.
    loading_max_kg_m2, depth_max_m : float
        Above either the belt floods: air no longer passes evenly.
    time_min_h, time_max_h : float
        Range of belt times that the drive can set.
    exposure : float
        Part of the leaf surface that air reaches in the bed.
    layers, steps : int
        Cells in depth and along the belt.
    """


@dataclass(frozen=True)
class TrayDryer(_Dryer):
    """Trays: a fixed bed whose air follows a program; ``share`` of a zone is a share of the time.

    Exhaust that is recirculated has the mean state of its time share (a damped return duct).
    Parameters as for `BeltDryer`.
    """


@dataclass(frozen=True)
class FluidBed(_Dryer):
    """Fluid bed: solids mixed in depth, either in plug flow along the bed or mixed in each zone.

    Parameters
    ----------
    area_m2 ... steps
        As for `BeltDryer`.
    mixing : str
        ``"plug"`` (long or vibrated bed) or ``"mixed"`` (each zone one well-mixed tank).
    rate_factor : float or None
        Rate in this bed over that of the leaf profile. ``None``: 0.6, or 1 where
        the constant of the profile was itself measured in a fluid bed (tea). The first thing to
        set from a works' own bed.
    particle_m, particle_density_kg_m3 : float
        Of the feed, for the fluidisation check.
    """

    mixing: Mixing = "plug"
    rate_factor: float | None = None
    particle_m: float = field(default_factory=lambda: number("fluid_bed.particle_m"))
    particle_density_kg_m3: float = field(
        default_factory=lambda: number("fluid_bed.particle_density_kg_m3")
    )
    loading_max_kg_m2: float = field(default_factory=lambda: number("fluid_bed.loading_max_kg_m2"))
    layers: int = 3

    def __post_init__(self) -> None:
        """Refuse particles and factors out of range."""
        super().__post_init__()
        require(
            self.mixing in ("plug", "mixed"),
            "mixing",
            self.mixing,
            f"mixing is {self.mixing!r}; it must be 'plug' or 'mixed'.",
        )
        if self.rate_factor is not None:
            finite("rate_factor", self.rate_factor, 0.0, 2.0, above=True)
        finite("particle_m", self.particle_m, 1e-5, 0.05, "m")
        finite("particle_density_kg_m3", self.particle_density_kg_m3, 50.0, 3000.0, "kg/m3")


Dryer = BeltDryer | TrayDryer | FluidBed
