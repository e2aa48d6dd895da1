"""The book: events, lots, genealogy and mass balance. Pure; it knows no physics."""

from wareleaf.book.balancing import (
    SIGNIFICANT_Z,
    Amount,
    DayBalance,
    Imbalance,
    Side,
    balance,
    unbalanced,
    unexplained,
)
from wareleaf.book.chain import GENESIS, canonical, canonical_json, event_hash
from wareleaf.book.checks import OVERDRAW_SD, check, check_replay, check_standing
from wareleaf.book.corrections import (
    as_meant,
    as_original,
    correction_facts,
    effective,
    in_force,
)
from wareleaf.book.errors import unexplained_sd
from wareleaf.book.event import (
    JSON,
    Draw,
    Event,
    Made,
    Stream,
    event_from_json,
    event_to_json,
)
from wareleaf.book.folding import Book, apply, apply_run, fold, step
from wareleaf.book.forms import check_form, kg
from wareleaf.book.kinds import BASES, FORMS, GAINS, KINDS, SHAPES, lots_named, lots_touched
from wareleaf.book.lineage import Lineage
from wareleaf.book.lineage_part import LineagePart
from wareleaf.book.lineage_shares import Shares, share_together, shares
from wareleaf.book.lots import STATUSES, LotState, RunState
from wareleaf.book.tracing import (
    Edge,
    Node,
    Trace,
    TraceEdge,
    edges_of,
    trace_back,
    trace_forward,
)

__all__ = [
    "BASES",
    "FORMS",
    "GAINS",
    "GENESIS",
    "JSON",
    "KINDS",
    "OVERDRAW_SD",
    "SHAPES",
    "SIGNIFICANT_Z",
    "STATUSES",
    "Amount",
    "Book",
    "DayBalance",
    "Draw",
    "Edge",
    "Event",
    "Imbalance",
    "Lineage",
    "LineagePart",
    "LotState",
    "Made",
    "Node",
    "RunState",
    "Shares",
    "Side",
    "Stream",
    "Trace",
    "TraceEdge",
    "apply",
    "apply_run",
    "as_meant",
    "as_original",
    "balance",
    "canonical",
    "canonical_json",
    "check",
    "check_form",
    "check_replay",
    "check_standing",
    "correction_facts",
    "edges_of",
    "effective",
    "event_from_json",
    "event_hash",
    "event_to_json",
    "fold",
    "in_force",
    "kg",
    "lots_named",
    "lots_touched",
    "share_together",
    "shares",
    "step",
    "trace_back",
    "trace_forward",
    "unbalanced",
    "unexplained",
    "unexplained_sd",
]
