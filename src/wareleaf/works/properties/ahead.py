"""Iodine that a bath will leave in lots, by all results so far: the forecast for people.

The bath's model says which part of the iodine it keeps at these settings; the results of the season
say what the leaf holds and what this bath makes of the model's word. Both are read here out of what
is believed of the season, and nothing is estimated a second time. The book keeps what the model
said when the run started, and is never rewritten.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from wareleaf.book.properties import Source, Step
from wareleaf.book.properties_ahead import ahead
from wareleaf.stages.carry import kept
from wareleaf.works.house import Works
from wareleaf.works.properties.believe import Beliefs, Known, beliefs
from wareleaf.works.properties.carry import machine_error, source_like_it
from wareleaf.works.settings import Equipment

IODINE = "iodine"
_ONE, _LEAF, _OUT, _BATH = "one", "leaf ahead", "out ahead", "bath ahead"


@dataclass(frozen=True)
class IodineAhead:
    """What a blanch will leave.

    Parameters
    ----------
    value, sd : float
        Iodine of the load that comes off, mg per kg dry matter, and its standard uncertainty.
    before : float
        Of the leaf that goes on, mg per kg dry matter.
    bath, bath_sd : float
        What this bath keeps over what its model says, and its standard uncertainty.
    results : int
        Iodine results of this season's leaf that were taken in.
    """

    value: float
    sd: float
    before: float
    bath: float
    bath_sd: float
    results: int

    @property
    def kept(self) -> float:
        """Share of the iodine per kg dry matter that is expected to stay."""
        return self.value / self.before if self.before > 0.0 else 0.0

    @property
    def sentence(self) -> str:
        """For people."""
        said = f"Iodine about {self.value:.0f} mg per kg dry matter (+- {1.96 * self.sd:.0f})"
        if not self.results:
            return f"{said}; no result of such leaf yet: test the lot."
        told = f"{self.results} result{'s' if self.results != 1 else ''}"
        return (
            f"{said} by {told}; this bath keeps {self.bath:.2f} times what its model says "
            f"(+- {1.96 * self.bath_sd:.2f})."
        )


def iodine_ahead(
    works: Works,
    machine: Equipment,
    leaf_id: str,
    lots: Mapping[str, float],
    kept_by_model: float,
) -> IodineAhead | None:
    """What a bath will leave in lots; None where nothing is known of such leaf.

    Parameters
    ----------
    works : Works
        Open works.
    machine : Equipment
        The bath.
    leaf_id : str
        Leaf that goes on.
    lots : mapping of str to float
        Dry matter of each lot that goes on, any unit; empty for leaf that is not in the book yet.
    kept_by_model : float
        Share of iodine per kg dry matter that the bath's model keeps at the settings.

    Raises
    ------
    BadInput
        For an unknown lot.
    """
    known = _known(beliefs(works), leaf_id, lots)
    if known is None:
        return None
    keeps = kept(machine.stage, IODINE, kept_by_model)
    shared = machine_error(machine.stage, machine.id)
    sources = [Source(_ONE, 1.0, 0.0)]
    parents = {lot: dry / sum(lots.values()) for lot, dry in lots.items()} or {_LEAF: 1.0}
    if not lots:
        sources.append(source_like_it(known.given, _LEAF, leaf_id))
    steps = [
        Step(
            "ahead",
            parents,
            {_OUT: 1.0},
            factor=keeps.fraction,
            factor_sd=keeps.run_sd,
            shared_factor={shared: keeps.machine_sd},
        ),
        Step(
            "bath",
            {_ONE: 1.0},
            {_BATH: 1.0},
            shared_factor={shared: keeps.machine_sd / keeps.fraction},
        ),
    ]
    found = ahead(known.belief, sources, steps)
    before = known.belief.mix(parents)[0] if lots else found[_LEAF].mean
    out, bath = found[_OUT], found[_BATH]
    return IodineAhead(
        max(out.mean, 0.0), out.sd, before, bath.mean, bath.sd, len(known.given.told)
    )


def _known(believed: Beliefs, leaf_id: str, lots: Mapping[str, float]) -> Known | None:
    """What is believed of iodine in the season of the lots, or of the leaf."""
    if lots:
        places = {believed.season_of(lot)[0] for lot in lots}
        return believed.known(places.pop(), IODINE) if len(places) == 1 else None
    for at in range(len(believed.seasons)):
        known = believed.known(at, IODINE)
        if known is not None and leaf_id in known.given.usual:
            return known
    return None
