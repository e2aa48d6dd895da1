"""Watch the book for what is wrong: weights, meters, wet lots, limits, short packs, lost mass.

What does not fit across several steps is found by reconciling the season (`steps`).

The tests of weights, meters and balance are held to a stated chance of a false alarm over the whole
stretch that is looked at, so that a quiet month stays quiet. A wet lot, a limit and a short pack
run are judged one by one by their own rules.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from wareleaf.works.finding import Finding
from wareleaf.works.house import Works
from wareleaf.works.watch import instruments, lots, steps, whole_book
from wareleaf.works.watch.lots import moisture_of

__all__ = ["Finding", "findings", "moisture_of"]


def findings(
    works: Works,
    since: datetime | None = None,
    until: datetime | None = None,
    site: str | None = None,
) -> list[Finding]:
    """All findings of a stretch of time, the gravest and newest first.

    Weights and meters are judged on the whole history up to ``until``, because a drift shows only
    over weeks; what lies before ``since`` is then left out.
    """
    end = until or works.now()
    checks: tuple[Callable[[Works, datetime, str | None], list[Finding]], ...] = (
        instruments.weights,
        instruments.meters,
        lots.wet_lots,
        lots.limits,
        lots.fills,
        whole_book.balance,
        whole_book.seal,
    )
    found = [f for check in checks for f in check(works, end, site)]
    told = {s for f in found if f.kind in ("weight", "balance") for s in f.subjects}
    for each in instruments.sites_of(works, site):
        found += steps.misfits(works, end, each, told)
    if since is not None:
        found = [f for f in found if f.at >= since]
    return sorted(found, key=lambda f: (f.severity != "stop", -f.at.timestamp()))
