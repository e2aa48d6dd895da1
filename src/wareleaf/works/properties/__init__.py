"""What lots hold: carried along splits, blends and runs, and back from results."""

from wareleaf.works.properties.believe import Beliefs, Known, beliefs
from wareleaf.works.properties.lot import Ground, LotProperties, Property, lot_properties

__all__ = [
    "Beliefs",
    "Ground",
    "Known",
    "LotProperties",
    "Property",
    "beliefs",
    "lot_properties",
]
