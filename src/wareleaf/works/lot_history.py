"""Everything the book says of one lot."""

from __future__ import annotations

from dataclasses import dataclass

from wareleaf import leaf as leaves
from wareleaf.book import Event, LotState
from wareleaf.release import Result
from wareleaf.store import RecordedEvent
from wareleaf.works.bench import results_of
from wareleaf.works.house import Works
from wareleaf.works.lot_balance import LotBalance, lot_balance
from wareleaf.works.lot_papers import Paper, papers_of
from wareleaf.works.next_stage import machines_for
from wareleaf.works.record import moisture_sd
from wareleaf.works.settings import Equipment
from wareleaf.works.trace_lot import Origin, TraceView, trace


@dataclass(frozen=True)
class LotHistory:
    """One lot with what it rests on.

    Parameters
    ----------
    lot : LotState
        As it stands.
    moisture_sd : float
        Standard uncertainty of its moisture, fraction.
    rests_on : tuple of str
        Sentences: what measured it, how well the leaf's constants are known.
    events : tuple of RecordedEvent
        All that touch it in recorded order, superseded ones too.
    results : tuple of (str, Result, Event)
        Laboratory results that speak for it, and on which lot each was found.
    origins : tuple of Origin
        Lines and fields it came from, with shares.
    machines : tuple of Equipment
        Where it can go next.
    balance : LotBalance
        What was made of it, is left, lost, and not explained.
    papers : tuple of Paper
        Papers that its entries name, of its loads and shipments too.
    """

    lot: LotState
    moisture_sd: float
    rests_on: tuple[str, ...]
    events: tuple[RecordedEvent, ...]
    results: tuple[tuple[str, Result, Event], ...]
    origins: tuple[Origin, ...]
    machines: tuple[Equipment, ...]
    balance: LotBalance
    papers: tuple[Paper, ...]


def lot_history(works: Works, lot_id: str, view: TraceView | None = None) -> LotHistory:
    """Gather a lot; ``view`` is its trace, when the caller has it already.

    Raises
    ------
    BadInput
        For an unknown lot.
    """
    lot = works.book.lot(lot_id)
    view = view or trace(works, lot_id)
    return LotHistory(
        lot=lot,
        moisture_sd=moisture_sd(lot),
        rests_on=_rests_on(works, lot),
        events=tuple(works.book.events(lot_id=lot_id)),
        results=tuple(results_of(works, lot_id)),
        origins=view.origins,
        machines=tuple(machines_for(works, lot)) if lot.remaining_mass_g else (),
        balance=lot_balance(works, lot),
        papers=papers_of(works, view),
    )


def _rests_on(works: Works, lot: LotState) -> tuple[str, ...]:
    meters = {m.id: m.name for m in works.settings.meter}
    facts = works.book.event_in_force(lot.made_by).facts
    said = []
    scale = facts.get("meter") or lot.attributes.get("scale")
    if scale:
        said.append(f"Weighed on: {meters.get(str(scale), scale)}.")
    moisture = facts.get("moisture_meter") or lot.attributes.get("moisture_meter")
    if moisture:
        said.append(f"Moisture: {meters.get(str(moisture), moisture)}.")
    said.append(leaves.evidence_sentence(leaves.profile(lot.leaf), "desorption"))
    return tuple(said)
