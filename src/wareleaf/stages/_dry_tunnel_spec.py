"""What a tunnel over trays is: its frozen spec with the checks.

Air against the trucks (counter-current) meets the driest leaf hottest: it dries further on the
same air and heats dry leaf most. Air with the trucks (co-current) gives its heat to wet leaf and
leaves the dry end cool and damp. The model takes the train of trucks as a steady flow; one truck
is a jump of its own share of the time (``truck_h``). It leaves out air that slips past the trucks.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from wareleaf.measure import require
from wareleaf.stages._dry_figures import number
from wareleaf.stages._dry_spec import AIR_MAX_C, Fan, Heater
from wareleaf.stages.common import finite


@dataclass(frozen=True)
class TunnelDryer:
    """Tunnel over trays.

    Parameters
    ----------
    tray_area_m2 : float
        Of all trays in the tunnel, m2.
    free_area_m2 : float
        Cross section that the air has between and beside the trays, m2.
    inlet_c, velocity_m_s : float
        Air where it enters the tunnel, and its velocity there between the trays.
    flow : str
        ``"counter"`` (against the trucks) or ``"co"`` (with them).
    recirculated : float
        Part of the dry air that is the tunnel's own exhaust, 0 to 0.98.
    trucks : int
        In the tunnel at a time.
    sides : float
        Faces of the layer that air reaches: 1 on a closed tray, up to 2 on mesh.
    heater, fan : Heater, Fan
        Heat and air supply; ``fan.duct_pa`` is the whole drop at 1 m/s.
    loading_max_kg_m2, time_max_h : float
        Most on a tray, and the longest time a truck may take.
    cells : int
        Along the tunnel.
    """

    tray_area_m2: float
    free_area_m2: float
    inlet_c: float
    velocity_m_s: float
    flow: Literal["counter", "co"] = "counter"
    recirculated: float = 0.0
    trucks: int = 10
    sides: float = 1.0
    heater: Heater = field(default_factory=Heater)
    fan: Fan = field(default_factory=Fan)
    loading_max_kg_m2: float = field(default_factory=lambda: number("tunnel.loading_max_kg_m2"))
    time_min_h: float = 0.2
    time_max_h: float = 24.0
    cells: int = 48

    def __post_init__(self) -> None:
        """Refuse tunnels whose numbers do not fit together."""
        finite("tray_area_m2", self.tray_area_m2, 0.0, 1.0e5, "m2", above=True)
        finite("free_area_m2", self.free_area_m2, 0.0, 1.0e3, "m2", above=True)
        finite("inlet_c", self.inlet_c, 0.0, AIR_MAX_C, "degC")
        finite("velocity_m_s", self.velocity_m_s, 0.0, 20.0, "m/s", above=True)
        finite("recirculated", self.recirculated, 0.0, 0.98)
        finite("trucks", self.trucks, 1, 200)
        finite("sides", self.sides, 0.0, 2.0, above=True)
        finite("loading_max_kg_m2", self.loading_max_kg_m2, 0.0, 200.0, "kg/m2", above=True)
        finite("time_min_h", self.time_min_h, 0.0, 1.0e3, "h", above=True)
        finite("time_max_h", self.time_max_h, self.time_min_h, 1.0e3, "h")
        finite("cells", self.cells, 4, 400)
        require(
            self.flow in ("counter", "co"),
            "flow",
            self.flow,
            f"flow is {self.flow!r}; it must be 'counter' or 'co'.",
        )
