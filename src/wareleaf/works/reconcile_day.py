"""Reconcile a day, a week or a season: find the weight or moisture that does not fit the rest."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from wareleaf.book import Event, LotState, lots_touched
from wareleaf.book.reconcile import (
    LEVEL,
    LOSS_RELATIVE_SD,
    BookNetwork,
    Flow,
    Quantity,
    Reconciliation,
    network_of_book,
    reconcile,
)
from wareleaf.works.close_day import day_bounds, refuse_days_to_come
from wareleaf.works.house import Works
from wareleaf.works.reconcile_words import Doubt, doubt_of, summary, told_apart

LONGEST_SEASON = timedelta(days=366)
REST = timedelta(days=30)
"""A season begins after so long without a movement (our choice)."""


@dataclass(frozen=True)
class Fit:
    """A booked amount and what fits all the rest, grams.

    Parameters
    ----------
    booked_g : int
        As booked.
    fitted_g, sd_g : float or None
        What fits, with the suspects left out, and its standard uncertainty; None where nobody can
        say.
    kind : str
        How it is known, as in `Settled`; a suspect counts as not measured.
    """

    booked_g: float
    fitted_g: float | None
    sd_g: float | None
    kind: str


@dataclass(frozen=True)
class LotFit:
    """A lot that was made in the stretch, after reconciliation."""

    lot_id: str
    event_id: str
    dry: Fit
    mass: Fit


@dataclass(frozen=True)
class ReconciledStretch:
    """A stretch of a site's book after reconciliation.

    ``dry`` and ``mass`` are None when nothing moved. Mass finds what dry matter hides: a split
    shares the moisture error of its lot, so its weights check each other far closer than their dry
    matter does. ``counts`` says for each of both how many numbers of each class there are.
    """

    site: str
    start: datetime
    end: datetime
    dry: Reconciliation | None
    mass: Reconciliation | None
    counts: dict[Quantity, dict[str, int]]
    lots: tuple[LotFit, ...]
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
    day = day or works.now().date()
    return reconcile_stretch(works, site_id, day, day, loss_relative_sd=loss_relative_sd)


def reconcile_stretch(
    works: Works,
    site_id: str,
    first: date,
    last: date,
    *,
    loss_relative_sd: float = LOSS_RELATIVE_SD,
    level: float = LEVEL,
) -> ReconciledStretch:
    """The same from one day to another, both included: a week, a season; at a level of its own.

    A stretch that is not over is told as such, after the other sentences.

    Raises
    ------
    BadInput
        When its first day has not come yet.
    """
    refuse_days_to_come(works, first)
    start, _ = day_bounds(works, first)
    _, end = day_bounds(works, last)
    found = reconcile_between(
        works, site_id, start, end, loss_relative_sd=loss_relative_sd, level=level
    )
    if last <= works.now().date():
        return found
    told = f"The time to {last} is not over: this is what was booked until now."
    return replace(found, sentences=(*found.sentences, told))


def reconcile_between(
    works: Works,
    site_id: str,
    start: datetime,
    end: datetime,
    *,
    loss_relative_sd: float = LOSS_RELATIVE_SD,
    level: float = LEVEL,
) -> ReconciledStretch:
    """The same from one moment to another."""
    site = works.settings.site_of(site_id).id
    events = works.book.events_in_force(since=start, until=end, site=site)
    ids = {i for e in events if e.inputs or e.outputs for i in lots_touched(e)}
    lots = {lot.lot_id: lot for lot in works.book.lots(ids=ids)}
    sides = [
        found
        for quantity in ("dry", "mass")
        if (found := _side(events, lots, quantity, loss_relative_sd, level))
    ]
    if len(sides) < 2:
        return ReconciledStretch(site, start, end, None, None, {}, (), (), ("Nothing moved.",))
    dry, mass = sides
    return ReconciledStretch(
        site,
        start,
        end,
        dry.result,
        mass.result,
        {"dry": dry.counts, "mass": mass.counts},
        _lots(dry, mass),
        (*dry.doubts, *mass.doubts),
        tuple(
            words(name, side.result.global_test, side.counts, side.doubts)
            for words in (summary, told_apart)
            for name, side in (("Dry matter", dry), ("Mass", mass))
        ),
    )


def week_of(day: date) -> tuple[date, date]:
    """Monday and Sunday of the week that a day lies in."""
    monday = day - timedelta(days=day.weekday())
    return monday, monday + timedelta(days=6)


def season_of(works: Works, site_id: str, end: datetime) -> datetime:
    """When the season that runs at ``end`` began: after a month without movements, a year at most.

    A harvest season has no date of its own in the book; the rest between two of them has.
    """
    since = end - LONGEST_SEASON
    events = works.book.events_in_force(since=since, until=end, site=site_id)
    first = end
    for moved in sorted((e.happened_at for e in events if e.inputs or e.outputs), reverse=True):
        if first - moved >= REST and first != end:
            break
        first = moved
    return first


@dataclass(frozen=True)
class _Side:
    """Dry matter or mass of a stretch: as booked, with what does not fit, and without."""

    network: BookNetwork
    result: Reconciliation
    fitted: Reconciliation
    counts: dict[str, int]
    doubts: tuple[Doubt, ...]


def _side(
    events: Sequence[Event],
    lots: dict[str, LotState],
    quantity: Quantity,
    loss_relative_sd: float,
    level: float,
) -> _Side | None:
    network = network_of_book(events, lots, quantity, loss_relative_sd)
    if not network.flows:
        return None
    result = reconcile(network.flows, network.known, level=level)
    wrong = {s.name: s.error for s in result.suspects if s.left_out}
    fitted = result
    if wrong:
        kept = [_unmeasured(f, wrong[f.name]) if f.name in wrong else f for f in network.flows]
        fitted = reconcile(kept, network.known, most_suspects=0)
    by_id = {e.event_id: e for e in events}
    booked = {f.name: f.measured or 0.0 for f in network.flows}
    doubts = tuple(
        doubt_of(quantity, booked, s, network.meaning, by_id) for s in result.suspects if s.left_out
    )
    return _Side(network, result, fitted, _counts(result, network), doubts)


def _unmeasured(flow: Flow, error: float) -> Flow:
    """A suspect as a stream nobody measured; what came from nowhere runs the other way."""
    backward = (flow.measured or 0.0) < error
    ends = (flow.end, flow.start) if backward else (flow.start, flow.end)
    return replace(flow, start=ends[0], end=ends[1], measured=None, standard_uncertainty=None)


def _counts(result: Reconciliation, network: BookNetwork) -> dict[str, int]:
    """How many numbers of the book are of each class."""
    return dict(Counter(f.kind for f in result.flows if network.meaning[f.name].what != "gap"))


def _lots(dry: _Side, mass: _Side) -> tuple[LotFit, ...]:
    fits = [dict(_fits(side)) for side in (dry, mass)]
    return tuple(LotFit(*place, fits[0][place], fits[1][place]) for place in fits[0])


def _fits(side: _Side) -> Iterable[tuple[tuple[str, str], Fit]]:
    for flow, settled in zip(side.network.flows, side.fitted.flows, strict=True):
        meaning = side.network.meaning[flow.name]
        if meaning.what == "lot":
            yield (
                (meaning.lot_id, meaning.event_id),
                Fit(
                    flow.measured or 0.0,
                    settled.reconciled,
                    settled.standard_uncertainty,
                    settled.kind,
                ),
            )
