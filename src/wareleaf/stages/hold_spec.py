"""Where a load waits, what it is, and what has become of it."""

from __future__ import annotations

from dataclasses import dataclass

from wareleaf import leaf
from wareleaf.measure import require
from wareleaf.stages.common import StageResult, finite, stage_figures

FIGURES = stage_figures("hold")
HOURS_MAX = 24.0 * 30


def figure(name: str) -> float:
    """Value of a row of ``data/hold.csv`` by ``subject.quantity``."""
    return FIGURES[name].value


@dataclass(frozen=True)
class Place:
    """Where the load waits.

    Parameters
    ----------
    loss_w_kg_k : float
        Heat exchanged with the surroundings per kg of leaf and kelvin: about 0.02 in the middle
        of a big pile, 0.5 in boxes, 3 on an aired trough (orders of magnitude, no source).
    evaporation_fraction_h, drip_fraction_h : float
        Share of the load's first mass that leaves as vapour and as drip, per hour.
    in_seawater : bool
        In a holding tank: salts and sugars leave, see the caution.
    """

    loss_w_kg_k: float = 0.5
    evaporation_fraction_h: float = 0.0
    drip_fraction_h: float = 0.0
    in_seawater: bool = False

    def __post_init__(self) -> None:
        """Refuse a place that cannot be."""
        finite("loss_w_kg_k", self.loss_w_kg_k, 0.0, 100.0, "W/(kg K)")
        finite("evaporation_fraction_h", self.evaporation_fraction_h, 0.0, 0.2, "1/h")
        finite("drip_fraction_h", self.drip_fraction_h, 0.0, 0.2, "1/h")


@dataclass(frozen=True)
class HoldRun:
    """A load that waits.

    Parameters
    ----------
    leaf_id, mass_kg, moisture_wb, moisture_wb_sd
        The load.
    hours : float
        How long it waits.
    leaf_temperature_c : float
        As it came.
    surroundings_c : tuple of float
        Temperature around it at 0, 1, 2 ... hours; the last one holds on.
    respiration_w_kg_20c : float
        Heat the leaf makes at 20 degrees C.
    hold_used, spoil_used : float
        Shares of its holding and spoiling time used before it came.
    respiration_factor, loss_factor, patience_factor : float
        Multipliers learned from readings.
    """

    leaf_id: str
    mass_kg: float
    moisture_wb: float
    hours: float = 4.0
    leaf_temperature_c: float = 12.0
    surroundings_c: tuple[float, ...] = (15.0,)
    moisture_wb_sd: float = 0.01
    respiration_w_kg_20c: float = figure("all.respiration_w_kg_20c")
    hold_used: float = 0.0
    spoil_used: float = 0.0
    respiration_factor: float = 1.0
    loss_factor: float = 1.0
    patience_factor: float = 1.0

    def __post_init__(self) -> None:
        """Refuse a run that cannot be."""
        leaf.profile(self.leaf_id)
        finite("mass_kg", self.mass_kg, 0.0, unit="kg", above=True)
        finite("moisture_wb", self.moisture_wb, 0.3, 0.98)
        finite("moisture_wb_sd", self.moisture_wb_sd, 0.0, 0.2)
        finite("hours", self.hours, 0.0, HOURS_MAX, "h", above=True)
        finite("leaf_temperature_c", self.leaf_temperature_c, -1.0, 60.0, "degC")
        require(
            len(self.surroundings_c) > 0,
            "surroundings_c",
            (),
            "surroundings_c is empty; give at least one temperature.",
        )
        for t in self.surroundings_c:
            finite("surroundings_c", t, -1.0, 50.0, "degC")
        finite("respiration_w_kg_20c", self.respiration_w_kg_20c, 0.0, 10.0, "W/kg")
        finite("hold_used", self.hold_used, 0.0, 100.0)
        finite("spoil_used", self.spoil_used, 0.0, 100.0)
        for name in ("respiration_factor", "loss_factor", "patience_factor"):
            finite(name, getattr(self, name), 0.0, 100.0, above=True)


@dataclass(frozen=True)
class HoldResult(StageResult):
    """The common fields of a stage, and the patience of the load.

    ``value_left`` is 1 until the holding time is used, then falls in proportion to the spoiling
    time still used, to 0 when the leaf is lost. ``latest_start_h`` and ``lost_h`` are infinite
    when not reached within ``hours``. ``dry_matter_kg`` is what is left.
    """

    leaf_temperature_out_c: float
    dry_matter_lost_kg: float
    drip_kg: float
    hold_used: float
    spoil_used: float
    value_left: float
    latest_start_h: float
    lost_h: float
    course_time_h: tuple[float, ...]
    course_leaf_c: tuple[float, ...]
    course_hold_used: tuple[float, ...]
    course_value_left: tuple[float, ...]
    course_moisture_wb: tuple[float, ...]
