"""A single belt or tray run as Newton's rule takes it: zones, the leaf that enters, what leaves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wareleaf.air import specific_volume_m3_kg
from wareleaf.air.constants import MOLAR_MASS_RATIO
from wareleaf.stages._dry_bed import transfer_w_m2_k
from wareleaf.stages._dry_tables import Tables
from wareleaf.stages.common import Array


@dataclass(frozen=True, eq=False)
class Stage:
    """One zone: constants of its cells, SI units."""

    steps: int
    down: bool
    remix: bool
    recirculated: float
    inlet_c: float
    velocity_m_s: float
    dt_s: float
    by_dry_bulb: Array


@dataclass(frozen=True, eq=False)
class Belt:
    """All zones, the leaf that enters (layers alike) and the ambient humidity."""

    tables: Tables
    stages: tuple[Stage, ...]
    layers: int
    layer_kg_m2: float
    surface_m2_kg: float
    half_thickness_m: float
    rate_factor: float
    moisture: float
    leaf_c: float
    ambient_ratio: float


@dataclass(frozen=True, eq=False)
class Fields:
    """What leaves each cell, (step of all zones, layer from the air's side), and the inlets."""

    moisture: Array
    leaf_c: Array
    air_c: Array
    ratio: Array
    inlet_ratio: Array
    flux: Array


@dataclass(frozen=True, eq=False)
class Zones:
    """The zones of a belt as columns, one value a zone; ``table`` holds their tables in one."""

    inlet_c: Array
    dry_flux: Array  # that of air without water, kg/(s m2)
    recirculated: Array
    dt_s: Array
    limit_ratio: Array  # of saturated air at the inlet's dry bulb
    table: Array
    rows: int  # of each table


def zones_of(belt: Belt) -> Zones:
    """Columns of a belt's zones."""
    stages = belt.stages
    inlet_c = np.array([s.inlet_c for s in stages])
    return Zones(
        inlet_c=inlet_c,
        dry_flux=np.array([s.velocity_m_s for s in stages])
        / specific_volume_m3_kg(inlet_c, 0.0, belt.tables.pressure_pa),
        recirculated=np.array([s.recirculated for s in stages]),
        dt_s=np.array([s.dt_s for s in stages]),
        limit_ratio=belt.tables.saturated_ratio(inlet_c),
        table=np.concatenate([s.by_dry_bulb for s in stages]),
        rows=stages[0].by_dry_bulb.shape[0],
    )


def air_through(belt: Belt, zones: Zones, ratio: Array) -> tuple[Array, Array]:
    """Dry air, kg/(s m2), and ``h a``, W/(K kg dry matter), of the zones at an inlet humidity."""
    flux = zones.dry_flux / (1.0 + ratio / MOLAR_MASS_RATIO)
    transfer = transfer_w_m2_k(flux * (1.0 + ratio), belt.half_thickness_m)
    return flux, belt.surface_m2_kg * transfer
