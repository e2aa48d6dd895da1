"""Which meters a page offers, and which one stands there first."""

from __future__ import annotations

from collections.abc import Sequence

from wareleaf.works.house import Works
from wareleaf.works.settings import Meter


def meters_for(works: Works, site_id: str, quantity: str) -> list[Meter]:
    """Meters of a site that measure a quantity."""
    return [m for m in works.settings.meter if m.site == site_id and m.quantity == quantity]


def most_cautious(meters: Sequence[Meter]) -> str:
    """Id of the meter with the widest uncertainty: a wrong guess then claims too little."""
    return max(meters, key=lambda m: m.standard_uncertainty).id if meters else ""
