"""Reconciliation: weights and moistures adjusted to each other so that every balance holds."""

from wareleaf.book.reconcile.balances import Problem
from wareleaf.book.reconcile.flows import (
    Flow,
    GlobalTest,
    Reconciliation,
    Settled,
    Suspect,
)
from wareleaf.book.reconcile.of_book import (
    LOSS_RELATIVE_SD,
    BookNetwork,
    Meaning,
    Quantity,
    network_of_book,
)
from wareleaf.book.reconcile.settle import LEVEL, problem_of, reconcile, reconciled_amounts

__all__ = [
    "LEVEL",
    "LOSS_RELATIVE_SD",
    "BookNetwork",
    "Flow",
    "GlobalTest",
    "Meaning",
    "Problem",
    "Quantity",
    "Reconciliation",
    "Settled",
    "Suspect",
    "network_of_book",
    "problem_of",
    "reconcile",
    "reconciled_amounts",
]
