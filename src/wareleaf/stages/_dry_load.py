"""What goes through a dryer: the leaf, the feed, the air around, and how well each is known."""

from __future__ import annotations

from dataclasses import dataclass, field

from wareleaf import leaf
from wareleaf.measure import require
from wareleaf.stages._dry_figures import number
from wareleaf.stages._dry_spec import Dryer, TrayDryer
from wareleaf.stages.common import finite


@dataclass(frozen=True)
class DryRun:
    """What goes through the dryer and in which ambient air.

    Parameters
    ----------
    leaf_id : str
        Leaf profile.
    moisture_wb : float
        Of the feed.
    residence_h : float
        Belt time, or time on the trays.
    feed_kg_h : float
        Feed of a belt or fluid bed, kg/h. Not used by trays.
    mass_kg : float or None
        The lot; on trays the charge. ``None`` on a belt: one hour of feed.
    ambient_c, ambient_rh, pressure_pa : float
        Air around the dryer.
    leaf_c : float or None
        Temperature of the feed; ``None``: that of the ambient air.
    rate_multiplier : float
        On the internal rate constant of the profile (1 unless readings taught otherwise).
    moisture_wb_sd, loading_relative_sd, ambient_c_sd, ambient_rh_sd, inlet_c_sd : float
        Standard uncertainties that `spread` carries to the outlet.
    rate_relative_sd : float or None
        Of the rate constant; ``None``: the lot-to-lot figure of the profile.
    own_leaf : LeafProfile or None
        A works' own profile (``leaf.with_figures``); ``None``: the one that ships as ``leaf_id``.
    """

    leaf_id: str
    moisture_wb: float
    residence_h: float
    feed_kg_h: float = 0.0
    mass_kg: float | None = None
    ambient_c: float = 15.0
    ambient_rh: float = 0.7
    pressure_pa: float = 101325.0
    leaf_c: float | None = None
    rate_multiplier: float = 1.0
    moisture_wb_sd: float = field(default_factory=lambda: number("spread.moisture_wb_sd"))
    loading_relative_sd: float = field(default_factory=lambda: number("spread.loading_relative_sd"))
    ambient_c_sd: float = field(default_factory=lambda: number("spread.ambient_c_sd"))
    ambient_rh_sd: float = field(default_factory=lambda: number("spread.ambient_rh_sd"))
    inlet_c_sd: float = field(default_factory=lambda: number("spread.inlet_c_sd"))
    rate_relative_sd: float | None = None
    own_leaf: leaf.LeafProfile | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be dried."""
        require(
            0.0 < self.moisture_wb < 0.99,
            "moisture_wb",
            self.moisture_wb,
            f"moisture_wb is {self.moisture_wb:g}; it must be above 0 and below 0.99.",
        )
        finite("residence_h", self.residence_h, 0.0, 1.0e3, "h", above=True)
        finite("feed_kg_h", self.feed_kg_h, 0.0, 1.0e6, "kg/h")
        if self.mass_kg is not None:
            finite("mass_kg", self.mass_kg, 0.0, 1.0e7, "kg", above=True)
        finite("ambient_c", self.ambient_c, -20.0, 60.0, "degC")
        finite("ambient_rh", self.ambient_rh, 0.0, 1.0)
        finite("pressure_pa", self.pressure_pa, 5.0e4, 1.1e5, "Pa")
        if self.leaf_c is not None:
            finite("leaf_c", self.leaf_c, 0.0, 95.0, "degC")
        finite("rate_multiplier", self.rate_multiplier, 0.0, 20.0, above=True)
        for name in ("moisture_wb_sd", "loading_relative_sd", "ambient_rh_sd"):
            finite(name, getattr(self, name), 0.0, 0.5)
        for name in ("ambient_c_sd", "inlet_c_sd"):
            finite(name, getattr(self, name), 0.0, 20.0, "K")
        if self.rate_relative_sd is not None:
            finite("rate_relative_sd", self.rate_relative_sd, 0.0, 2.0)

    def leaf_profile(self) -> leaf.LeafProfile:
        """The leaf that is dried."""
        return leaf.profile(self.leaf_id) if self.own_leaf is None else self.own_leaf

    def lot_kg(self) -> float:
        """Mass of the lot, kg: as given, or one hour of feed."""
        return self.feed_kg_h if self.mass_kg is None else self.mass_kg


def check_run(dryer: Dryer, run: DryRun) -> None:
    """Refuse a run that does not fit the dryer.

    Raises
    ------
    BadInput
        No feed on a belt, no charge on trays, a set point below the ambient air.
    """
    for n, zone in enumerate(dryer.zones, start=1):
        require(
            zone.inlet_c is None or zone.inlet_c >= run.ambient_c,
            "inlet_c",
            zone.inlet_c,
            f"inlet_c of zone {n} is {zone.inlet_c} degC; a heater cannot go below the ambient "
            f"{run.ambient_c:g} degC. Raise it, or leave it out for a zone without a heater.",
        )
    if isinstance(dryer, TrayDryer):
        require(
            run.mass_kg is not None,
            "mass_kg",
            None,
            "mass_kg is missing; trays need the mass of their charge in kg.",
        )
    else:
        finite("feed_kg_h", run.feed_kg_h, 0.0, unit="kg/h", above=True)


def loading_kg_m2(dryer: Dryer, run: DryRun) -> float:
    """Fresh mass on each square metre, kg/m2 (hold-up of feed in the residence time, or charge)."""
    if isinstance(dryer, TrayDryer):
        return run.lot_kg() / dryer.area_m2
    return run.feed_kg_h * run.residence_h / dryer.area_m2


def check_target(run: DryRun, target_moisture_wb: float) -> None:
    """Refuse a target that is no moisture, or not drier than the leaf that is fed."""
    finite("target_moisture_wb", target_moisture_wb, 0.0, 0.98, above=True)
    require(
        target_moisture_wb < run.moisture_wb,
        "target_moisture_wb",
        target_moisture_wb,
        f"target_moisture_wb is {target_moisture_wb:g}, not drier than the feed at "
        f"{run.moisture_wb:g}; give a drier target.",
    )
