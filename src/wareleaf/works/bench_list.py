"""What the bench works through: what to report on a sample, what was reported, what to release."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from wareleaf.book import Event, LotState
from wareleaf.measure.errors import BadInput
from wareleaf.release import Line
from wareleaf.release.checks import limit_words
from wareleaf.works.bench import results_of
from wareleaf.works.house import Works
from wareleaf.works.release_lot import assess_all

SELLABLE = ("dried", "flake", "powder", "graded", "blended", "packed")
COVERAGE = 2.0  # laboratories print the uncertainty for 95 %, k = 2 (JCGM 100:2008, 6.2 and 6.3)
# Limits on soaked or fresh weight are reported on dry matter by most laboratories. Common practice.
_REPORTED = {"wet": "wet", "dry": "dry", "hydrated": "dry", "fresh": "dry"}


@dataclass(frozen=True)
class Sample:
    """A sample as it was taken."""

    sample_id: str
    lot_id: str
    mass_g: int
    taken_at: datetime
    who: str
    note: str


@dataclass(frozen=True)
class ToReport:
    """One thing a laboratory may report on a lot.

    Parameters
    ----------
    parameter, unit, basis : str
        As it is usually reported.
    needed_by : tuple of str
        Markets that let the lot go only with it, and have no result yet.
    found : bool
        A result that speaks for the lot is in the book.
    limits : tuple of (str, tuple of str)
        Each limit in words, and the markets that have it.
    usual_relative_sd : float or None
        Standard uncertainty over value of the last result like it; None when there is none.
    """

    parameter: str
    unit: str
    basis: str
    needed_by: tuple[str, ...]
    found: bool
    limits: tuple[tuple[str, tuple[str, ...]], ...]
    usual_relative_sd: float | None


@dataclass(frozen=True)
class Reported:
    """Results that came in on one sample, newest sample first."""

    sample_id: str
    lot_id: str
    at: datetime
    results: tuple[Event, ...]


def sample_of(works: Works, sample_id: str) -> Sample:
    """A sample by its number.

    Raises
    ------
    BadInput
        When no such sample was taken.
    """
    for event in works.book.events_in_force(kind="sample"):
        facts = event.facts
        if facts["sample_id"] == sample_id:
            return Sample(
                sample_id,
                str(facts["lot_id"]),
                int(facts["mass_g"]),
                event.happened_at,
                event.who,
                event.why,
            )
    raise BadInput("sample_id", sample_id, f"No sample {sample_id!r} is in the book.")


def to_report(works: Works, lot_id: str) -> tuple[ToReport, ...]:
    """What the markets the works sells to ask of a lot, what is needed first, and its moisture."""
    asked: dict[str, list[tuple[str, Line]]] = {"moisture": []}
    for verdict in assess_all(works, lot_id):
        for line in verdict.lines:
            if line.limit.limit is not None:
                asked.setdefault(line.limit.parameter, []).append((verdict.market.id, line))
    usual = _usual(works)
    found = {result.parameter for _, result, _ in results_of(works, lot_id)}
    listed = [_report(name, lines, name in found, usual.get(name)) for name, lines in asked.items()]
    return tuple(sorted(listed, key=lambda p: (not p.needed_by, p.found)))


def _report(name: str, lines: list[tuple[str, Line]], found: bool, usual: float | None) -> ToReport:
    limit = lines[0][1].limit if lines else None
    return ToReport(
        parameter=name,
        unit="%" if name == "moisture" or limit is None else limit.unit,
        basis="wet" if name == "moisture" or limit is None else _REPORTED.get(limit.basis, "wet"),
        needed_by=tuple(
            dict.fromkeys(
                market
                for market, line in lines
                if line.value is None and not line.allows_release and not found
            )
        ),
        found=found,
        limits=_by_words(lines),
        usual_relative_sd=usual,
    )


def _by_words(lines: list[tuple[str, Line]]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Each limit in words once, with the markets that have it."""
    found: dict[str, list[str]] = {}
    for market, line in lines:
        found.setdefault(limit_words(line.limit), []).append(market)
    return tuple((words, tuple(dict.fromkeys(markets))) for words, markets in found.items())


def _usual(works: Works) -> Mapping[str, float]:
    """Relative standard uncertainty of the last result on each parameter."""
    return {
        str(e.facts["parameter"]): float(e.facts["standard_uncertainty"]) / float(e.facts["value"])
        for e in works.book.events_in_force(kind="result")
        if float(e.facts["value"]) > 0.0
    }


def standard_uncertainty(
    value: float, printed: float | None, in_percent: bool, usual_relative_sd: float | None
) -> float | None:
    """Standard uncertainty of a result from the one a report prints, which is for 95 % (k = 2).

    Parameters
    ----------
    value : float
        The result.
    printed : float or None
        As printed, in percent of the value when ``in_percent``, else in its unit.
    in_percent : bool
        See ``printed``.
    usual_relative_sd : float or None
        Taken when nothing is printed.

    Returns
    -------
    float or None
        In the unit of the value; None when neither is known.
    """
    if printed is not None:
        return (printed / 100.0 * value if in_percent else printed) / COVERAGE
    return None if usual_relative_sd is None else usual_relative_sd * value


def reported(works: Works, site_id: str, most: int = 12) -> tuple[Reported, ...]:
    """Samples with results, those reported last first."""
    by_sample: dict[str, list[Event]] = {}
    for event in works.book.events_in_force(kind="result", site=site_id):
        by_sample.setdefault(str(event.facts["sample_id"]), []).append(event)
    listed = [
        Reported(sample_id, str(events[-1].facts["lot_id"]), events[-1].happened_at, tuple(events))
        for sample_id, events in by_sample.items()
    ]
    return tuple(sorted(listed, key=lambda r: r.at, reverse=True)[:most])


def to_assess(works: Works, site_id: str) -> tuple[LotState, ...]:
    """Dried lots in stock that are released to no market, the newest first."""
    lots = works.book.lots(site=site_id, form=SELLABLE, in_stock_only=True)
    return tuple(lot for lot in reversed(lots) if not lot.released_for and not lot.on_runs)
