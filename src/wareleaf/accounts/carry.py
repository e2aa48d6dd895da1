"""What a lot has cost so far, carried along draws by dry-matter share.

Money, kWh and kg CO2e travel alike: each is a head with an amount. A move draws from lots, adds
its own charges, and hands all of it to the lots it makes, by their dry matter. What is lost on the
way is paid by what is left; a lot marked as refuse carries nothing. Nothing is made or forgotten:
the sum of all charges stands in the lots and in what left the works.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from wareleaf.measure import require


@dataclass(frozen=True)
class Part:
    """Dry matter of a lot that is drawn or made.

    Parameters
    ----------
    lot_id : str
        The lot.
    dry_g : int
        Dry matter, g.
    weight : float
        Of a made lot: how much of the burden a gram carries compared with the others; 0 for refuse.
    """

    lot_id: str
    dry_g: int
    weight: float = 1.0


@dataclass(frozen=True)
class Move:
    """One event of the book as the accounts see it.

    Parameters
    ----------
    event_id : str
        For people.
    draws, made : tuple of Part
        Empty draws for an intake; empty made when the leaf leaves the works.
    charges : mapping of str to float
        Added by this move: leaf, labour, fuel, electricity, packaging, kwh, co2e ...
    """

    event_id: str
    draws: tuple[Part, ...]
    made: tuple[Part, ...]
    charges: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Burden:
    """What one lot carries.

    Parameters
    ----------
    dry_g : int
        Dry matter when made.
    remaining_dry_g : int
        Not yet drawn.
    made_with : mapping of str to float
        Heads when the lot was made.
    remaining : mapping of str to float
        Heads of what is left of it.
    """

    dry_g: int
    remaining_dry_g: int
    made_with: Mapping[str, float]
    remaining: Mapping[str, float]

    def per_kg(self, moisture_wb: float) -> dict[str, float]:
        """Heads for each kg of product at a wet-basis moisture."""
        kg = self.dry_g / 1000.0 / (1.0 - moisture_wb)
        return {head: amount / kg for head, amount in self.made_with.items()}


@dataclass(frozen=True)
class Ledger:
    """Burdens of all lots, and of what left the works by event."""

    lots: Mapping[str, Burden]
    left: Mapping[str, Mapping[str, float]]

    def total(self) -> dict[str, float]:
        """Sum of all heads, equal to the sum of all charges."""
        sums: defaultdict[str, list[float]] = defaultdict(list)
        for heads in (*(b.remaining for b in self.lots.values()), *self.left.values()):
            for head, amount in heads.items():
                sums[head].append(amount)
        return {head: math.fsum(parts) for head, parts in sums.items()}


class _Store:
    """The running state while moves are read."""

    def __init__(self) -> None:
        self.dry: dict[str, int] = {}
        self.drawn: defaultdict[str, int] = defaultdict(int)
        self.heads: dict[str, dict[str, float]] = {}

    def take(self, part: Part) -> dict[str, float]:
        require(
            part.lot_id in self.dry,
            "lot_id",
            part.lot_id,
            f"Lot {part.lot_id} is drawn before it is made; give the moves in order.",
        )
        whole, left = self.dry[part.lot_id], self.dry[part.lot_id] - self.drawn[part.lot_id]
        require(
            0 <= part.dry_g <= left,
            "dry_g",
            part.dry_g,
            f"{part.dry_g} g of dry matter are drawn from lot {part.lot_id}, which has {left} g.",
        )
        self.drawn[part.lot_id] += part.dry_g
        share = part.dry_g / whole if whole else 0.0
        return {head: amount * share for head, amount in self.heads[part.lot_id].items()}

    def make(self, part: Part, heads: dict[str, float]) -> None:
        require(
            part.lot_id not in self.dry,
            "lot_id",
            part.lot_id,
            f"Lot {part.lot_id} is made twice; every lot is made once.",
        )
        self.dry[part.lot_id] = part.dry_g
        self.heads[part.lot_id] = heads

    def burden(self, lot_id: str) -> Burden:
        whole, left = self.dry[lot_id], self.dry[lot_id] - self.drawn[lot_id]
        share = left / whole if whole else 1.0
        heads = self.heads[lot_id]
        return Burden(whole, left, dict(heads), {h: a * share for h, a in heads.items()})


def _shares(made: tuple[Part, ...]) -> list[float]:
    """Share of the pool for each made lot; by dry matter alone when every weight is 0."""
    claims = [part.weight * part.dry_g for part in made]
    if math.fsum(claims) <= 0.0:
        claims = [float(part.dry_g) for part in made]
    if math.fsum(claims) <= 0.0:
        claims = [1.0] * len(made)
    whole = math.fsum(claims)
    return [claim / whole for claim in claims]


def _check(move: Move) -> None:
    for part in move.made:
        require(
            part.dry_g >= 0 and math.isfinite(part.weight) and part.weight >= 0.0,
            "dry_g",
            part.dry_g,
            f"Lot {part.lot_id} has {part.dry_g} g at weight {part.weight:g}; "
            "both must be 0 or more.",
        )
    for head, amount in move.charges.items():
        require(
            math.isfinite(amount),
            head,
            amount,
            f"{head} of {move.event_id} is {amount}; a charge must be a finite number.",
        )


def carry(moves: Iterable[Move]) -> Ledger:
    """Carry charges along all moves.

    Parameters
    ----------
    moves : iterable of Move
        In the order they happened.

    Returns
    -------
    Ledger
        Burden of every lot and of what left.

    Raises
    ------
    BadInput
        A lot drawn before it is made, made twice or overdrawn; charges that are no numbers.

    Notes
    -----
    Shares are by dry matter, the one thing leaf keeps from field to packet (this works' own rule;
    allocation by mass is common practice, no source).
    """
    store = _Store()
    left: dict[str, dict[str, float]] = {}
    for move in moves:
        _check(move)
        pool: defaultdict[str, float] = defaultdict(float, move.charges)
        for part in move.draws:
            for head, amount in store.take(part).items():
                pool[head] += amount
        if not move.made:
            out = left.setdefault(move.event_id, {})
            for head, amount in pool.items():
                out[head] = out.get(head, 0.0) + amount
            continue
        for part, share in zip(move.made, _shares(move.made), strict=True):
            store.make(part, {head: amount * share for head, amount in pool.items()})
    return Ledger(lots={lot: store.burden(lot) for lot in store.dry}, left=left)


@dataclass(frozen=True)
class Rates:
    """Prices of a works, in its own currency.

    Parameters
    ----------
    labour_per_h, electricity_per_kwh, pack_each : float
        As named.
    fuel_per_kg : mapping of str to float
        By fuel.
    """

    labour_per_h: float = 0.0
    electricity_per_kwh: float = 0.0
    fuel_per_kg: Mapping[str, float] = field(default_factory=dict)
    pack_each: float = 0.0


def run_charges(
    rates: Rates,
    *,
    labour_h: float = 0.0,
    electricity_kwh: float = 0.0,
    fuel: str = "",
    fuel_kg: float = 0.0,
    packs: int = 0,
) -> dict[str, float]:
    """Money charges of one run from what it used.

    Parameters
    ----------
    rates : Rates
        Prices of the works.
    labour_h, electricity_kwh, fuel_kg, packs : float
        Used by the run.
    fuel : str
        Which, when ``fuel_kg`` is above 0.

    Returns
    -------
    dict
        Heads ``labour``, ``electricity``, ``fuel``, ``packaging``, those that are not 0.

    Raises
    ------
    BadInput
        For an amount below 0 or a fuel without a price.
    """
    for value, name in (
        (labour_h, "labour_h"),
        (electricity_kwh, "electricity_kwh"),
        (fuel_kg, "fuel_kg"),
        (packs, "packs"),
    ):
        fine = math.isfinite(value) and value >= 0.0
        require(fine, name, value, f"{name} is {value}; it must be 0 or more.")
    if fuel_kg > 0.0:
        known = ", ".join(rates.fuel_per_kg) or "none"
        require(
            fuel in rates.fuel_per_kg,
            "fuel",
            fuel,
            f"fuel is {fuel!r} and has no price; priced fuels: {known}.",
        )
    charges = {
        "labour": labour_h * rates.labour_per_h,
        "electricity": electricity_kwh * rates.electricity_per_kwh,
        "fuel": fuel_kg * rates.fuel_per_kg.get(fuel, 0.0),
        "packaging": packs * rates.pack_each,
    }
    return {head: amount for head, amount in charges.items() if amount}
