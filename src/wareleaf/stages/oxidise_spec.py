"""What lies on an oxidation floor, and the floor."""

from __future__ import annotations

from dataclasses import dataclass

from wareleaf import leaf
from wareleaf.measure import require
from wareleaf.stages.common import finite
from wareleaf.stages.oxidise_rate import ACTIVATION_J_MOL, CUTS, figure


@dataclass(frozen=True)
class Floor:
    """An oxidation floor or trough and its air.

    Parameters
    ----------
    dry_bulb_c, relative_humidity : float
        Air at the leaf.
    air_kg_h_kg : float
        Dry air that passes the leaf, kg per hour per kg of leaf; 0 is still air.
    effectiveness : float
        How near the air comes to the leaf's temperature and to saturation.
    oxygen_factor : float
        Oxygen at the leaf against that of open air; below 1 in a deep bed without air.
    fan_kw : float
        Fans and humidifiers while leaf lies.
    """

    dry_bulb_c: float = 24.0
    relative_humidity: float = 0.96
    air_kg_h_kg: float = 3.0
    effectiveness: float = 0.7
    oxygen_factor: float = 1.0
    fan_kw: float = 1.5

    def __post_init__(self) -> None:
        """Refuse a floor that cannot be."""
        finite("dry_bulb_c", self.dry_bulb_c, 5.0, 45.0, "degC")
        finite("relative_humidity", self.relative_humidity, 0.0, 1.0)
        finite("air_kg_h_kg", self.air_kg_h_kg, 0.0, 100.0, "kg/(h kg)")
        finite("effectiveness", self.effectiveness, 0.0, 1.0)
        finite("oxygen_factor", self.oxygen_factor, 0.0, 5.0, above=True)
        finite("fan_kw", self.fan_kw, 0.0, unit="kW")


@dataclass(frozen=True)
class OxidiseRun:
    """Rolled leaf on the floor.

    Parameters
    ----------
    leaf_id, mass_kg, moisture_wb, moisture_wb_sd
        Rolled leaf.
    minutes : float
        Time on the floor.
    cut : str
        ``orthodox_fine``, ``orthodox_coarse`` or ``ctc``: sets the rate.
    disruption : float
        Share of broken cells against a normal roll of that cut; scales the rate.
    leaf_temperature_c : float
        Leaf as it comes from the roll.
    catechins_mg_g : float
        In the dry matter; sets the heat that oxidation gives.
    rate_factor, theaflavin_factor, heat_factor : float
        Multipliers learned from readings or fitted to a trial.
    loss_ratio : float
        Loss of theaflavin against oxidation of catechin; shapes the fall after the peak.
    formation_activation_j_mol, loss_activation_j_mol : float
        Activation energies of oxidation and of the loss of theaflavin, J/mol.
    rate_log_sd : float
        Of this leaf's rate, natural logarithm; the eleven cultivars' when nothing nearer is known.
    """

    leaf_id: str
    mass_kg: float
    moisture_wb: float
    minutes: float = 60.0
    cut: str = "orthodox_fine"
    disruption: float = 1.0
    moisture_wb_sd: float = 0.01
    leaf_temperature_c: float = 26.0
    catechins_mg_g: float = 137.5
    rate_factor: float = 1.0
    theaflavin_factor: float = 1.0
    heat_factor: float = 1.0
    loss_ratio: float = figure("all.loss_ratio")
    formation_activation_j_mol: float = figure("all.formation_activation_j_mol")
    loss_activation_j_mol: float = figure("all.loss_activation_j_mol")
    rate_log_sd: float = figure("all.rate_log_sd")

    def __post_init__(self) -> None:
        """Refuse a run that cannot be."""
        profile = leaf.profile(self.leaf_id)
        require(
            profile.crop == "tea",
            "leaf_id",
            self.leaf_id,
            f"leaf_id is {self.leaf_id!r}; only tea leaf is oxidised.",
        )
        require(
            self.cut in CUTS,
            "cut",
            self.cut,
            f"cut is {self.cut!r}; it must be one of {', '.join(CUTS)}.",
        )
        finite("mass_kg", self.mass_kg, 0.0, unit="kg", above=True)
        finite("moisture_wb", self.moisture_wb, 0.2, 0.9)
        finite("moisture_wb_sd", self.moisture_wb_sd, 0.0, 0.2)
        finite("minutes", self.minutes, 0.0, 1440.0, "min", above=True)
        finite("disruption", self.disruption, 0.0, 3.0, above=True)
        finite("leaf_temperature_c", self.leaf_temperature_c, 5.0, 50.0, "degC")
        finite("catechins_mg_g", self.catechins_mg_g, 0.0, 400.0, "mg/g")
        for name in ("rate_factor", "theaflavin_factor", "heat_factor"):
            finite(name, getattr(self, name), 0.0, 100.0, above=True)
        finite("loss_ratio", self.loss_ratio, 0.01, 100.0)
        for name in ("formation_activation_j_mol", "loss_activation_j_mol"):
            finite(name, getattr(self, name), *ACTIVATION_J_MOL, "J/mol")
        finite("rate_log_sd", self.rate_log_sd, 0.0, 2.0, above=True)
