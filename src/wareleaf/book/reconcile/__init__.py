"""Reconciliation: weights and moistures adjusted to each other so that every balance holds."""

from wareleaf.book.reconcile.flows import (
    Flow,
    GlobalTest,
    Reconciliation,
    Settled,
    Suspect,
)
from wareleaf.book.reconcile.settle import LEVEL, reconcile

__all__ = ["LEVEL", "Flow", "GlobalTest", "Reconciliation", "Settled", "Suspect", "reconcile"]
