"""What lots that are still to be made will hold, by all results so far.

They are put on top of a network that results were taken into, as linear functions of the same unit
errors: what results taught of a leaf, a line or a machine holds for them too. Nothing is estimated
a second time.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from scipy.linalg import cho_solve, solve_triangular

from wareleaf.book.properties import Belief, Estimate
from wareleaf.book.properties_given import Source, Step
from wareleaf.book.properties_network import Vector, on_top


def ahead(belief: Belief, sources: Iterable[Source], steps: Iterable[Step]) -> dict[str, Estimate]:
    """Estimates of the lots of sources and steps that are not in the book yet.

    Parameters
    ----------
    belief : Belief
        Lots and results so far.
    sources, steps : iterable of Source, Step
        What will be, in order; a step may draw on lots of the network.

    Raises
    ------
    BadInput
        For a lot that is there already, or a parent that is not.
    """
    given, wanted = list(sources), list(steps)
    mean, rows = on_top(belief.net, belief.mean, belief.sd, given, wanted)
    lots = [*(s.lot_id for s in given), *(child for step in wanted for child in step.children)]
    known = belief.net.spread.shape[1]
    found = {}
    for at, lot in enumerate(lots):
        row: Vector = rows[[at]].toarray().ravel()
        value, variance = float(mean[at]), float(row @ row)
        for block in belief.blocks:
            joint = block.seen @ row[:known]
            value += float(joint @ cho_solve((block.root, True), block.off))
            variance -= float((solve_triangular(block.root, joint, lower=True) ** 2).sum())
        found[lot] = Estimate(lot, value, math.sqrt(max(variance, 0.0)))
    return found
