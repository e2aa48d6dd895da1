"""What came off a machine against what went on: said while it can still be weighed again."""

from __future__ import annotations

from wareleaf.book import lots_touched, unbalanced
from wareleaf.works.floor import find_run
from wareleaf.works.house import Works


def does_not_fit(works: Works, run_id: str) -> str:
    """What is missing, or too much, of a finished run beyond its scales and meters; else empty.

    Said while the leaf is still there to be weighed again.
    """
    event = works.book.event_in_force(find_run(works, run_id).finished_by)
    lots = {lot.lot_id: lot for lot in works.book.lots(ids=lots_touched(event))}
    found = unbalanced([event], lots)
    return f"{found[0].sentence} Weigh it again before it is moved." if found else ""
