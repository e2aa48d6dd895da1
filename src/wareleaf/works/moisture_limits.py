"""Moistures that dried leaf may not pass: promises, law, and what keeps in the store."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from wareleaf import leaf as leaves
from wareleaf.measure.errors import BadInput
from wareleaf.release import limits_for, lot_facts
from wareleaf.works.house import Works
from wareleaf.works.release_lot import confirmations


@dataclass(frozen=True)
class LimitChoice:
    """A moisture that may not be passed.

    Parameters
    ----------
    id, words : str
        For forms, and for people.
    kind : str
        contract, law, guideline or store.
    limit_wb : float
        Fraction wet basis.
    confirmed : bool
        A limit of law: whether the quality manager has confirmed its text. True for the others.
    """

    id: str
    words: str
    kind: str
    limit_wb: float
    confirmed: bool = True


def limit_choices(works: Works, site_id: str, leaf_id: str) -> tuple[LimitChoice, ...]:
    """Promises, limits of law and the store limit that speak to dried leaf, tightest first."""
    found = [
        LimitChoice(p.id, f"own promise, {p.name}", "contract", p.moisture_wb_max)
        for p in works.settings.product
        if p.leaf == leaf_id and p.site == site_id
    ]
    facts, known = lot_facts("", leaf_id, "dried"), confirmations(works)
    for market in dict.fromkeys(c.market for c in works.settings.customer):
        for row in limits_for(market, facts.tags, works.now().date()):
            if row.parameter != "moisture" or row.upper is None or row.basis != "wet":
                continue
            sure = any(
                c.limit_id == row.id and c.fingerprint in ("", row.fingerprint()) for c in known
            )
            kind = "law" if row.legal else "guideline"
            words = f"{row.instrument}, {row.commodity}"
            found.append(LimitChoice(row.id, words, kind, row.upper / 100.0, sure or not row.legal))
    profile = leaves.profile(leaf_id)
    store = profile.moisture_wb_store_limit
    found.append(LimitChoice("store", f"store limit, {profile.name}", "store", store))
    once = {choice.id: choice for choice in found}
    return tuple(sorted(once.values(), key=lambda c: c.limit_wb))


def choose(
    choices: Sequence[LimitChoice], limit_id: str = "", limit_wb: float | None = None
) -> LimitChoice:
    """The limit that was asked for: a number, one of the choices, or the tightest promise.

    Raises
    ------
    BadInput
        For a limit that is not among the choices.
    """
    if limit_wb is not None:
        return LimitChoice("given", "as given", "contract", limit_wb)
    if not limit_id:
        return next((c for c in choices if c.kind == "contract"), choices[0])
    for choice in choices:
        if choice.id == limit_id:
            return choice
    known = ", ".join(c.id for c in choices)
    raise BadInput("limit", limit_id, f"There is no limit {limit_id!r} here; there are: {known}.")
