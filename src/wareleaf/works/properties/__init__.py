"""What lots hold: carried along splits, blends and runs, and back from results."""

from wareleaf.works.properties.believe import Beliefs, Known, beliefs
from wareleaf.works.properties.lot import Ground, LotProperties, Property, lot_properties
from wareleaf.works.properties.next_test import Suggestion, worth_testing
from wareleaf.works.properties.risk import Risk, risks

__all__ = [
    "Beliefs",
    "Ground",
    "Known",
    "LotProperties",
    "Property",
    "Risk",
    "Suggestion",
    "beliefs",
    "lot_properties",
    "risks",
    "worth_testing",
]
