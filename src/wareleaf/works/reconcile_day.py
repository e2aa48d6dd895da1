"""Reconcile a day, a week or a season: find the weight or moisture that does not fit the rest."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from wareleaf.book import Event, LotState, kg, lots_touched
from wareleaf.book.reconcile import (
    LOSS_RELATIVE_SD,
    Meaning,
    Quantity,
    Reconciliation,
    Settled,
    Suspect,
    network_of_book,
    reconcile,
)
from wareleaf.works.close_day import day_bounds
from wareleaf.works.house import Works


@dataclass(frozen=True)
class Doubt:
    """A booked number that does not fit, in words.

    Parameters
    ----------
    lot_id, event_id : str
        Where it stands; the lot is empty for a loss.
    quantity : str
        ``dry`` matter or ``mass``.
    booked_g, fitted_g : float
        What was booked and what fits all the rest.
    suspect : Suspect
        Tests, uncertainty and what it cannot be told from.
    sentence : str
        For people.
    """

    lot_id: str
    event_id: str
    quantity: Quantity
    booked_g: float
    fitted_g: float
    suspect: Suspect
    sentence: str


@dataclass(frozen=True)
class ReconciledStretch:
    """A stretch of a site's book after reconciliation, grams.

    ``dry`` and ``mass`` are None when nothing moved; ``lots`` gives the dry matter of each lot.
    Mass finds what dry matter hides: a split shares the moisture error of its lot, so its weights
    check each other far closer than their dry matter does.
    """

    site: str
    start: datetime
    end: datetime
    dry: Reconciliation | None
    mass: Reconciliation | None
    lots: tuple[tuple[str, Settled], ...]
    doubts: tuple[Doubt, ...]
    sentences: tuple[str, ...]


def reconcile_day(
    works: Works,
    site_id: str,
    day: date | None = None,
    *,
    loss_relative_sd: float = LOSS_RELATIVE_SD,
) -> ReconciledStretch:
    """Reconcile dry matter and mass of a site over one day; today when no day is said."""
    start, end = day_bounds(works, day or works.now().date())
    return _reconcile(works, site_id, start, end, loss_relative_sd)


def reconcile_stretch(
    works: Works,
    site_id: str,
    first: date,
    last: date,
    *,
    loss_relative_sd: float = LOSS_RELATIVE_SD,
) -> ReconciledStretch:
    """The same from one day to another, both included: a week, a season."""
    start, _ = day_bounds(works, first)
    _, end = day_bounds(works, last)
    return _reconcile(works, site_id, start, end, loss_relative_sd)


def _reconcile(
    works: Works, site_id: str, start: datetime, end: datetime, loss_relative_sd: float
) -> ReconciledStretch:
    site = works.settings.site_of(site_id).id
    events = works.book.events_in_force(since=start, until=end, site=site)
    ids = {i for e in events if e.inputs or e.outputs for i in lots_touched(e)}
    lots = {lot.lot_id: lot for lot in works.book.lots(ids=ids)}
    dry, meaning, dry_doubts = _one(events, lots, "dry", loss_relative_sd)
    mass, _, mass_doubts = _one(events, lots, "mass", loss_relative_sd)
    if dry is None or mass is None:
        return ReconciledStretch(site, start, end, None, None, (), (), ("Nothing moved.",))
    settled = tuple((meaning[f.name].lot_id, f) for f in dry.flows if meaning[f.name].what == "lot")
    sentences = (_summary("Dry matter", dry), _summary("Mass", mass))
    doubts = (*dry_doubts, *mass_doubts)
    return ReconciledStretch(site, start, end, dry, mass, settled, doubts, sentences)


def _one(
    events: list[Event],
    lots: dict[str, LotState],
    quantity: Quantity,
    loss_relative_sd: float,
) -> tuple[Reconciliation | None, dict[str, Meaning], tuple[Doubt, ...]]:
    network = network_of_book(events, lots, quantity, loss_relative_sd)
    if not network.flows:
        return None, {}, ()
    result = reconcile(network.flows, network.known)
    booked = {f.name: f.measured or 0.0 for f in network.flows}
    doubts = tuple(
        _doubt(quantity, booked[s.name], s, network.meaning) for s in result.suspects if s.left_out
    )
    return result, network.meaning, doubts


def _doubt(
    quantity: Quantity, booked_g: float, suspect: Suspect, meanings: dict[str, Meaning]
) -> Doubt:
    meaning = meanings[suspect.name]
    fitted_g = booked_g - suspect.error
    amount = "dry matter" if quantity == "dry" else "mass"
    what = {
        "lot": f"The {amount} booked on lot {meaning.lot_id}",
        "draw": f"The {amount} drawn from lot {meaning.lot_id}",
        "loss": f"The {meaning.stream} booked in event {meaning.event_id} ({amount})",
        "stock": f"The stock of lot {meaning.lot_id} ({amount})",
    }[meaning.what]
    words = (
        f"{what}, {kg(booked_g)}, does not fit: all the rest says {kg(fitted_g)} ± "
        f"{kg(suspect.error_sd)} (1 sd)."
    )
    if suspect.alike:
        words += " It could as well be " + " or ".join(_short(meanings[a]) for a in suspect.alike)
        words += "; the balances cannot tell."
    return Doubt(meaning.lot_id, meaning.event_id, quantity, booked_g, fitted_g, suspect, words)


def _short(meaning: Meaning) -> str:
    if meaning.what == "loss":
        return f"the {meaning.stream} in event {meaning.event_id}"
    return f"the {meaning.what} of {meaning.lot_id}"


def _summary(what: str, result: Reconciliation) -> str:
    test = result.global_test
    if test.dof == 0:
        return f"{what}: nothing was measured twice, so nothing could be checked."
    checked = sum(f.kind == "redundant" for f in result.flows)
    wrong = sum(s.left_out for s in result.suspects)
    words = "they fit" if not wrong else f"{wrong} {'does' if wrong == 1 else 'do'} not fit"
    return (
        f"{what}: {checked} numbers check each other in {test.dof} ways; {words} "
        f"(p = {test.p_value:.2g})."
    )
