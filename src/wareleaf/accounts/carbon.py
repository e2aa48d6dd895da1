"""Energy and greenhouse gas of a run or a lot: gross, with biogenic carbon kept apart.

The boundary is the works: fuel burnt and electricity drawn between its gates. Growing, transport,
packaging and boiling the kettle are outside. Carbon dioxide from wood is shown and not added. What
a sea farm takes up is never subtracted gross: most of it is spent again by the farm itself.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from wareleaf.accounts.fuels import MJ_PER_KWH, ROOM, figures, fuel
from wareleaf.measure import Evidence, read_sources, require

BOUNDARY = (
    "Between the gates of the works: fuel burnt and electricity drawn. Growing, transport, "
    "packaging and use are outside; do not compare with figures of another boundary."
)


@dataclass(frozen=True)
class Use:
    """Energy that one stage used.

    Parameters
    ----------
    stage : str
        For people.
    electricity_kwh : float
        Drawn.
    fuel : str
        Fuel id, empty for none.
    fuel_kg : float
        Fired.
    """

    stage: str
    electricity_kwh: float = 0.0
    fuel: str = ""
    fuel_kg: float = 0.0

    def fuel_gj(self) -> float:
        """Heat in the fuel, GJ."""
        if not self.fuel:
            return 0.0
        return self.fuel_kg * fuel(self.fuel).net_calorific_value_mj_kg / 1000.0


@dataclass(frozen=True)
class StageFootprint:
    """One stage: kWh and kg, biogenic carbon dioxide not in the kg CO2e."""

    stage: str
    electricity_kwh: float
    fuel_kwh: float
    electricity_kg_co2e: float
    fuel_kg_co2e: float
    biogenic_kg_co2: float

    @property
    def kg_co2e(self) -> float:
        """Electricity and fuel together."""
        return self.electricity_kg_co2e + self.fuel_kg_co2e


@dataclass(frozen=True)
class Footprint:
    """Sum over stages and shares by product.

    Parameters
    ----------
    stages : tuple of StageFootprint
        In the order given.
    kg_co2e, biogenic_kg_co2, electricity_kwh, fuel_kwh : float
        Sums.
    product_kg, dry_matter_kg : float or None
        What it is shared over; dry matter where the moisture is known.
    evidence : Evidence
        Weakest factor used.
    sources : tuple of str
        Citations.
    """

    stages: tuple[StageFootprint, ...]
    kg_co2e: float
    biogenic_kg_co2: float
    electricity_kwh: float
    fuel_kwh: float
    product_kg: float
    dry_matter_kg: float | None
    evidence: Evidence
    sources: tuple[str, ...]

    @property
    def kg_co2e_per_kg(self) -> float:
        """A kg of product."""
        return self.kg_co2e / self.product_kg

    @property
    def kg_co2e_per_kg_dry(self) -> float | None:
        """A kg of dry matter."""
        return None if self.dry_matter_kg is None else self.kg_co2e / self.dry_matter_kg


def _check(uses: Sequence[Use], grid: float, product_kg: float, moisture: float | None) -> None:
    require(
        math.isfinite(grid) and grid >= 0.0,
        "grid_kg_co2e_kwh",
        grid,
        f"grid_kg_co2e_kwh is {grid}; it must be a finite number of 0 or more.",
    )
    require(
        math.isfinite(product_kg) and product_kg > 0.0,
        "product_kg",
        product_kg,
        f"product_kg is {product_kg}; it must be above 0.",
    )
    require(
        moisture is None or 0.0 <= moisture < 1.0,
        "moisture_wb",
        moisture,
        f"moisture_wb is {moisture}; it must be from 0 up to, not including, 1.",
    )
    for use in uses:
        for name in ("electricity_kwh", "fuel_kg"):
            value = getattr(use, name)
            require(
                math.isfinite(value) and value >= 0.0,
                name,
                value,
                f"{name} of {use.stage} is {value}; it must be a finite number of 0 or more.",
            )
        require(
            bool(use.fuel) or use.fuel_kg == 0.0,
            "fuel",
            use.fuel,
            f"{use.stage} burns {use.fuel_kg:g} kg of a fuel without a name; name the fuel.",
        )


def footprint(
    uses: Sequence[Use],
    *,
    grid_kg_co2e_kwh: float,
    product_kg: float,
    moisture_wb: float | None = None,
) -> Footprint:
    """Gross greenhouse gas of a product between the gates of the works.

    Parameters
    ----------
    uses : sequence of Use
        Energy by stage.
    grid_kg_co2e_kwh : float
        Of the electricity; there is no default, it is the grid's and the year's.
    product_kg : float
        Made, above 0.
    moisture_wb : float, optional
        Of the product, for the share by dry matter.

    Returns
    -------
    Footprint
        By stage, in sum and by kg.

    Raises
    ------
    BadInput
        For amounts below 0 or an unknown fuel.

    Notes
    -----
    ``kg CO2e = kWh f_grid + GJ (f_CO2 + 28 f_CH4 + 265 f_N2O)``, lower heating value; IPCC 2006
    default factors and AR5 potentials, all from memory here.
    """
    _check(uses, grid_kg_co2e_kwh, product_kg, moisture_wb)
    stages, worst, sources = [], Evidence.READ, []
    order = list(Evidence)
    for use in uses:
        gj = use.fuel_gj()
        burnt = fuel(use.fuel) if use.fuel else None
        if burnt is not None:
            worst = max(worst, burnt.evidence, key=order.index)
            sources.append(burnt.source)
        stages.append(
            StageFootprint(
                stage=use.stage,
                electricity_kwh=use.electricity_kwh,
                fuel_kwh=gj * 1000.0 / MJ_PER_KWH,
                electricity_kg_co2e=use.electricity_kwh * grid_kg_co2e_kwh,
                fuel_kg_co2e=gj * burnt.co2e_kg_gj() if burnt else 0.0,
                biogenic_kg_co2=gj * burnt.co2_biogenic_kg_gj if burnt else 0.0,
            )
        )
    if sources:
        sources.append(read_sources(ROOM)["ipcc-ar5"].cite())
    return Footprint(
        stages=tuple(stages),
        kg_co2e=math.fsum(s.kg_co2e for s in stages),
        biogenic_kg_co2=math.fsum(s.biogenic_kg_co2 for s in stages),
        electricity_kwh=math.fsum(s.electricity_kwh for s in stages),
        fuel_kwh=math.fsum(s.fuel_kwh for s in stages),
        product_kg=product_kg,
        dry_matter_kg=None if moisture_wb is None else product_kg * (1.0 - moisture_wb),
        evidence=worst,
        sources=tuple(dict.fromkeys(sources)),
    )


def net_share_of_farm_uptake() -> float:
    """Net over gross uptake of the one careful kelp-farm balance (Coleman et al. 2022): 0.39.

    Returns
    -------
    float
        244 t of 628 t carbon dioxide a year (secondary); a warning figure, not a factor to use.
    """
    gross = figures("kelp_farm", "uptake_gross_t_a")[0].value
    return figures("kelp_farm", "uptake_net_t_a")[0].value / gross
