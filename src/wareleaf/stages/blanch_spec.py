"""What a blanching bath is, what a run on it is, and what comes out."""

from __future__ import annotations

from dataclasses import dataclass

from wareleaf import leaf
from wareleaf.measure import BadInput, require
from wareleaf.stages.common import StageResult, finite, stage_figures

FIGURES = stage_figures("blanch")
SPECIES = {
    "sugar_kelp_raw": "saccharina",
    "sugar_kelp_blanched": "saccharina",
    "wakame_blade": "alaria",
}
MEDIA = ("water", "seawater")


def figure(name: str) -> float:
    """Value of a row of ``data/blanch.csv`` by ``subject.quantity``."""
    return FIGURES[name].value


@dataclass(frozen=True)
class Bath:
    """A hot-water bath.

    Parameters
    ----------
    water_kg : float
        Water it holds when full.
    temperature_c : float
        Set point.
    medium : str
        What fills it: ``water`` or ``seawater``.
    dip_kg : float
        Leaf in one basket; 0 for a continuous bath.
    feed_kg_h : float
        Feed of a continuous bath; not used with baskets.
    turn_s : float
        Seconds between two baskets.
    make_up_c : float
        Temperature of the water that fills and tops up.
    refresh_kg_per_kg : float
        Fresh water run through, beyond the top-up, per kg of leaf; the same overflows.
    dump_solids_fraction : float or None
        The bath is dumped and refilled before leaf meets more dissolved matter than this, kg per
        kg liquor (a refractometer reads it roughly as degrees Brix / 100).
    refill_h : float
        Hours to drain and refill, before heating.
    heater_kw : float
        Most heat the heater gives to the bath.
    loss_w_k : float
        Heat lost to the room, per kelvin.
    evaporation_kg_h : float
        Water that steams off at the set point.
    drag_out_kg_per_kg : float
        Liquor that clings to drained leaf, per kg of leaf.
    heat_transfer_w_m2_k : float
        Water to blade.
    electric_heat : bool
        Whether the heater is electric.
    fuel_kwh_kg, heater_efficiency : float
        Net heating value of the fuel, 0 where none is burned here, and heat to bath per heat of
        fuel or electricity.
    pump_kw : float
        Pumps and conveyor.
    """

    water_kg: float
    temperature_c: float = 80.0
    medium: str = "water"
    dip_kg: float = 0.0
    feed_kg_h: float = 0.0
    turn_s: float = 30.0
    make_up_c: float = 10.0
    refresh_kg_per_kg: float = 0.0
    dump_solids_fraction: float | None = None
    refill_h: float = 0.5
    heater_kw: float = 150.0
    loss_w_k: float = 60.0
    evaporation_kg_h: float = 10.0
    drag_out_kg_per_kg: float = figure("bath.drag_out_kg_per_kg")
    heat_transfer_w_m2_k: float = figure("bath.heat_transfer_w_m2_k")
    electric_heat: bool = False
    fuel_kwh_kg: float = 0.0
    heater_efficiency: float = 0.85
    pump_kw: float = 2.0

    def __post_init__(self) -> None:
        """Refuse a bath that cannot be."""
        finite("water_kg", self.water_kg, 0.0, unit="kg", above=True)
        finite("temperature_c", self.temperature_c, 20.0, 100.0, "degC")
        require(
            self.medium in MEDIA,
            "medium",
            self.medium,
            f"medium is {self.medium!r}; it must be water or seawater.",
        )
        finite("dip_kg", self.dip_kg, 0.0, unit="kg")
        finite("feed_kg_h", self.feed_kg_h, 0.0, unit="kg/h")
        require(
            (self.dip_kg > 0.0) != (self.feed_kg_h > 0.0),
            "dip_kg",
            self.dip_kg,
            "A bath takes either baskets (dip_kg above 0) or a steady feed (feed_kg_h above 0); "
            "give exactly one of them.",
        )
        finite("turn_s", self.turn_s, 0.0, unit="s")
        finite("make_up_c", self.make_up_c, 0.0, 100.0, "degC")
        finite("refresh_kg_per_kg", self.refresh_kg_per_kg, 0.0, 50.0, "kg/kg")
        if self.dump_solids_fraction is not None:
            finite("dump_solids_fraction", self.dump_solids_fraction, 0.0, 0.5, above=True)
        finite("refill_h", self.refill_h, 0.0, unit="h")
        finite("heater_kw", self.heater_kw, 0.0, unit="kW", above=True)
        finite("loss_w_k", self.loss_w_k, 0.0, unit="W/K")
        finite("evaporation_kg_h", self.evaporation_kg_h, 0.0, unit="kg/h")
        finite("drag_out_kg_per_kg", self.drag_out_kg_per_kg, 0.0, 1.0, "kg/kg")
        finite("heat_transfer_w_m2_k", self.heat_transfer_w_m2_k, 0.0, above=True)
        finite("fuel_kwh_kg", self.fuel_kwh_kg, 0.0, unit="kWh/kg")
        finite("heater_efficiency", self.heater_efficiency, 0.0, 1.2, above=True)
        finite("pump_kw", self.pump_kw, 0.0, unit="kW")


@dataclass(frozen=True)
class BlanchRun:
    """Leaf that goes through the bath.

    Parameters
    ----------
    leaf_id : str
        Leaf profile; one that has leaching constants.
    mass_kg, moisture_wb, moisture_wb_sd : float
        Leaf in, its moisture and the standard uncertainty of that.
    iodine_mg_kg_dw : float
        Iodine in the leaf, mg per kg dry matter.
    immersion_s : float
        Seconds each blade is in the water.
    leaf_temperature_c, room_c : float
        Leaf as it comes, and the room.
    arsenic_mg_kg_dw, cadmium_mg_kg_dw : float
        In the leaf, mg per kg dry matter; 0 where it was not measured.
    water_change_fraction : float
        Water that the tissue takes up (or gives off, below 0), of its own water. No figure was
        found: weigh a drained basket.
    half_thickness_m : float or None
        Half the thickness that the heat must cross; the blade's own when None, more in a clump.
    leach_factor, residual_factor, drag_factor : float
        Multipliers learned from readings; 1 is the prior. The rate of leaching is that at 80 degC.
    leach_activation_j_mol : float
        How the rate of leaching rises with temperature, J/mol.
    """

    leaf_id: str
    mass_kg: float
    moisture_wb: float
    iodine_mg_kg_dw: float
    immersion_s: float = 120.0
    moisture_wb_sd: float = 0.01
    leaf_temperature_c: float = 8.0
    room_c: float = 15.0
    arsenic_mg_kg_dw: float = 0.0
    cadmium_mg_kg_dw: float = 0.0
    water_change_fraction: float = 0.0
    half_thickness_m: float | None = None
    leach_factor: float = 1.0
    residual_factor: float = 1.0
    drag_factor: float = 1.0
    leach_activation_j_mol: float = figure("all.leach_activation_j_mol")

    def __post_init__(self) -> None:
        """Refuse a run that cannot be."""
        leaf.profile(self.leaf_id)
        if self.leaf_id not in SPECIES:
            raise BadInput(
                "leaf_id",
                self.leaf_id,
                f"{self.leaf_id} has no leaching constants; a bath blanches {', '.join(SPECIES)}.",
            )
        finite("mass_kg", self.mass_kg, 0.0, unit="kg", above=True)
        finite("moisture_wb", self.moisture_wb, 0.5, 0.98)
        finite("moisture_wb_sd", self.moisture_wb_sd, 0.0, 0.2)
        finite("immersion_s", self.immersion_s, 0.0, 7200.0, "s", above=True)
        finite("leaf_temperature_c", self.leaf_temperature_c, 0.0, 60.0, "degC")
        finite("room_c", self.room_c, -20.0, 60.0, "degC")
        finite("iodine_mg_kg_dw", self.iodine_mg_kg_dw, 0.0, 50_000.0, "mg/kg")
        finite("arsenic_mg_kg_dw", self.arsenic_mg_kg_dw, 0.0, 5_000.0, "mg/kg")
        finite("cadmium_mg_kg_dw", self.cadmium_mg_kg_dw, 0.0, 1_000.0, "mg/kg")
        finite("water_change_fraction", self.water_change_fraction, -0.5, 0.5)
        if self.half_thickness_m is not None:
            finite("half_thickness_m", self.half_thickness_m, 0.0, 0.1, "m", above=True)
        for name in ("leach_factor", "residual_factor", "drag_factor"):
            finite(name, getattr(self, name), 0.0, 100.0, above=True)
        finite("leach_activation_j_mol", self.leach_activation_j_mol, 0.0, 300_000.0, "J/mol")


@dataclass(frozen=True)
class BlanchResult(StageResult):
    """What comes out; the common fields of a stage and the day's course of the bath.

    ``dry_matter_kg`` is the dry matter in the leaf that leaves; ``dry_matter_in_kg`` less
    ``dry_matter_leached_kg`` is the same. ``water_removed_kg`` is below 0 when the leaf leaves
    with more water than it brought. Contents are mg per kg dry matter of the leaf that leaves,
    averaged over the load; ``worst`` is the worst basket. ``minerals_leached_kg`` is part of
    ``dry_matter_leached_kg``; below 0 in sea water that salts the leaf. Courses have one value a
    basket (or slice of the feed).
    """

    dry_matter_residual: float
    iodine_residual: float
    dry_matter_in_kg: float
    dry_matter_leached_kg: float
    minerals_leached_kg: float
    minerals_fraction_dw: float
    iodine_mg_kg_dw: float
    iodine_mg_kg_dw_sd: float
    iodine_worst_mg_kg_dw: float
    iodine_log_sd: float
    arsenic_mg_kg_dw: float
    cadmium_mg_kg_dw: float
    equivalent_time_70c_s: float
    log_reduction_worst: float
    peroxidase_survival: float
    warm_up_h: float
    warm_up_kwh: float
    make_up_kg: float
    waste_liquor_kg: float
    waste_solids_kg: float
    dumps: int
    course_time_h: tuple[float, ...]
    course_bath_c: tuple[float, ...]
    course_bath_solids_fraction: tuple[float, ...]
    course_bath_iodine_mg_kg: tuple[float, ...]
    course_leaf_iodine_mg_kg_dw: tuple[float, ...]
    course_moisture_wb: tuple[float, ...]
