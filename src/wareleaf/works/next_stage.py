"""Where a lot goes next, by the routes of the products it may become."""

from __future__ import annotations

from dataclasses import dataclass

from wareleaf.book import LotState
from wareleaf.works.day import READY, UNFINISHED, WaitingLeaf, waiting_leaf
from wareleaf.works.house import Works
from wareleaf.works.predict import OUT_FORM, out_leaf
from wareleaf.works.settings import Equipment


@dataclass(frozen=True)
class Candidate:
    """A lot that could go on a machine.

    Parameters
    ----------
    lot : LotState
        What lies there.
    fits : bool
        Its route leads over this machine next.
    waits : WaitingLeaf or None
        How long it may wait; None for leaf that is dry.
    """

    lot: LotState
    fits: bool
    waits: WaitingLeaf | None


def next_stages(works: Works, lot: LotState) -> tuple[str, ...]:
    """Stages that may come next, over all products of the site that this leaf can become."""
    found: dict[str, None] = {}
    for product in works.settings.product:
        if product.site != lot.site:
            continue
        form, leaf = "fresh", lot.leaf
        forms: list[str] = []
        becomes = False
        for stage in product.route:
            becomes |= out_leaf(stage, leaf) == product.leaf
            forms.append(form)
            form = OUT_FORM[stage]
        if not (becomes or lot.leaf == product.leaf):
            continue
        here = {"powder": "flake"}.get(lot.form, lot.form)
        if here in forms:
            found[product.route[forms.index(here)]] = None
    return tuple(found)


def candidates(works: Works, machine: Equipment) -> list[Candidate]:
    """Lots of the site that could go on a machine: those that fit first, the most urgent first."""
    waits = {w.lot.lot_id: w for w in waiting_leaf(works, machine.site)}
    lots = [
        lot
        for lot in works.book.lots(
            site=machine.site, form=(*UNFINISHED, *READY), in_stock_only=True
        )
        if not lot.on_runs and lot.form != "packed"
    ]
    found = [
        Candidate(lot, machine.stage in next_stages(works, lot), waits.get(lot.lot_id))
        for lot in lots
    ]
    return sorted(found, key=_rank)


def _rank(candidate: Candidate) -> tuple[bool, float]:
    by = candidate.waits.loses_value_at if candidate.waits else candidate.lot.made_at
    return (not candidate.fits, by.timestamp())


def machines_for(works: Works, lot: LotState) -> list[Equipment]:
    """Machines of the lot's site that do one of its next stages."""
    wanted = next_stages(works, lot)
    return [m for m in works.settings.equipment if m.site == lot.site and m.stage in wanted]
