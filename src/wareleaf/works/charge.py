"""Leaf put on a machine: one or more lots taken together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from wareleaf.book import Event, LotState
from wareleaf.measure.errors import require


@dataclass(frozen=True)
class Charge:
    """Leaf put on a machine, all lots together.

    Parameters
    ----------
    leaf_id : str
        Leaf profile.
    mass_kg, moisture_wb, moisture_sd : float
        Of all lots together.
    hours_since_cut : float
        Of the oldest.
    """

    leaf_id: str
    mass_kg: float
    moisture_wb: float
    moisture_sd: float
    hours_since_cut: float


def charge_of(lots: Sequence[LotState], at: datetime) -> Charge:
    """The lots together, as one charge.

    Raises
    ------
    BadInput
        When nothing is left of them.
    """
    mass_g = sum(lot.remaining_mass_g for lot in lots)
    require(
        mass_g > 0,
        "lot_ids",
        [lot.lot_id for lot in lots],
        f"Nothing is left of {', '.join(lot.lot_id for lot in lots)}; choose leaf that is there.",
    )
    dry_g = sum(lot.remaining_dry_g for lot in lots)
    return _charge([(lot, lot.remaining_dry_g) for lot in lots], mass_g, dry_g, at)


def charge_that_went_on(end: Event, lots: Sequence[LotState], at: datetime) -> Charge:
    """The leaf of a finished run as it went on; by now nothing may be left of its lots.

    Parameters
    ----------
    end : Event
        That took it off; its inputs are what went on.
    lots : sequence of LotState
        In the order of those inputs.
    at : datetime
        When it went on.
    """
    mass_g, dry_g = sum(d.mass_g for d in end.inputs), sum(d.dry_g for d in end.inputs)
    parts = [(lot, d.dry_g) for lot, d in zip(lots, end.inputs, strict=True)]
    return _charge(parts, mass_g, dry_g, at)


def _charge(parts: Sequence[tuple[LotState, int]], mass_g: int, dry_g: int, at: datetime) -> Charge:
    lots = [lot for lot, _ in parts]
    variance = sum((lot.dry_sd_g / lot.dry_g * part) ** 2 for lot, part in parts if lot.dry_g)
    cuts = [
        (at - datetime.fromisoformat(str(lot.attributes["cut_at"]))).total_seconds() / 3600.0
        for lot in lots
        if lot.attributes.get("cut_at")
    ]
    return Charge(
        leaf_id=lots[0].leaf,
        mass_kg=mass_g / 1000.0,
        moisture_wb=1.0 - dry_g / mass_g,
        moisture_sd=float(variance**0.5 / mass_g),
        hours_since_cut=max(0.0, max(cuts, default=0.0)),
    )
