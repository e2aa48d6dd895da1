"""Watch the book for what is wrong: weights, meters, wet lots, limits, short packs, lost mass.

What does not fit across several steps is found by reconciling the season (`watch_fit`).

The tests of weights, meters and balance are held to a stated chance of a false alarm over the whole
stretch that is looked at, so that a quiet month stays quiet. A wet lot, a limit and a short pack
run are judged one by one by their own rules.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from scipy.stats import norm

from wareleaf import leaf as leaves
from wareleaf.book import SHAPES, Event, LotState
from wareleaf.measure.drift import find_drift
from wareleaf.measure.weighing import weigh_outliers
from wareleaf.release import Assessment, Decision
from wareleaf.works.finding import FALSE_ALARM, Finding
from wareleaf.works.house import Works
from wareleaf.works.pack_lot import weight_check
from wareleaf.works.record import moisture_sd
from wareleaf.works.release_lot import assess_all, confirmations
from wareleaf.works.watch_fit import misfits

FEWEST_WEIGHTS = 6
FEWEST_PAIRS = 8
# Two scales of good standing, and what drips off between them. Common practice, no source.
TICKET_RELATIVE_SD = 0.012
# A meter's error in the unit of people: factor and word.
_SHOWN = {
    "moisture_wb": (100.0, "points"),
    "relative_humidity": (100.0, "points"),
    "mass_kg": (1.0, "kg"),
    "temperature_c": (1.0, "K"),
    "net_g": (1.0, "g"),
}
STORED = ("dried", "flake", "powder", "graded", "blended", "packed")


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
        _weights,
        _meters,
        _wet_lots,
        _limits,
        _fills,
        _balance,
        _seal,
    )
    found = [f for check in checks for f in check(works, end, site)]
    told = {s for f in found if f.kind in ("weight", "balance") for s in f.subjects}
    for each in _sites(works, site):
        found += misfits(works, end, each, told)
    if since is not None:
        found = [f for f in found if f.at >= since]
    return sorted(found, key=lambda f: (f.severity != "stop", -f.at.timestamp()))


def _sites(works: Works, site: str | None) -> list[str]:
    return [site] if site else [s.id for s in works.settings.site]


def _weights(works: Works, until: datetime, site: str | None) -> list[Finding]:
    """Intake weights against the growers' tickets."""
    found = []
    for each in _sites(works, site):
        intakes = [
            e
            for e in works.book.events_in_force(kind="intake", until=until, site=each)
            if e.facts.get("ticket_kg") and e.outputs
        ]
        if len(intakes) < FEWEST_WEIGHTS:
            continue
        net = [e.outputs[0].mass_g / 1000.0 for e in intakes]
        ticket = [float(e.facts["ticket_kg"]) for e in intakes]
        for bad in weigh_outliers(
            net, ticket, least_relative_sd=TICKET_RELATIVE_SD, false_alarm=FALSE_ALARM
        ):
            event = intakes[bad.index]
            lot = event.outputs[0].lot_id
            found.append(
                Finding(
                    kind="weight",
                    severity="stop",
                    at=event.happened_at,
                    site=each,
                    where=str(event.facts.get("meter", "")),
                    subjects=(event.event_id, lot),
                    sentence=f"Intake of {lot}: {bad.sentence}",
                    numbers={"ratio": bad.ratio, "z": bad.z, "likely_kg": bad.likely_kg},
                )
            )
    return found


def _meters(works: Works, until: datetime, site: str | None) -> list[Finding]:
    """Meters against the reference tried on the same leaf."""
    pairs: dict[str, list[Event]] = {}
    for event in works.book.events_in_force(kind="reading", until=until, site=site):
        if event.facts.get("reference_value") is not None:
            pairs.setdefault(str(event.facts["method"]), []).append(event)
    found = []
    for meter_id, events in pairs.items():
        events.sort(key=lambda e: e.happened_at)
        start = events[0].happened_at
        days = [(e.happened_at - start).total_seconds() / 86400.0 for e in events]
        if len(set(days)) < FEWEST_PAIRS:
            continue
        meter = works.settings.meter_of(meter_id)
        shown_per, unit = _SHOWN.get(meter.quantity, (1.0, ""))
        seen = find_drift(
            days,
            [
                (float(e.facts["value"]) - float(e.facts["reference_value"])) * shown_per
                for e in events
            ],
            [max(float(e.facts["standard_uncertainty"]), 1e-6) * shown_per for e in events],
            false_alarm=FALSE_ALARM / max(1, len(pairs)),
            unit=unit,
        )
        if not seen.drifting:
            continue
        onset = seen.onset_day or 0.0
        per_week = (seen.per_week or 0.0) / shown_per
        found.append(
            Finding(
                kind="meter",
                severity="stop",
                at=events[-1].happened_at,
                site=meter.site,
                where=meter.id,
                subjects=(meter.id,),
                sentence=f"{meter.name} drifts: {seen.sentence}",
                numbers={
                    "onset_day": onset,
                    "onset_at": _day_after(start, onset).isoformat(),
                    "per_week": per_week,
                    "error_now": seen.error_now / shown_per,
                },
            )
        )
    return found


def _day_after(start: datetime, days: float) -> datetime:
    return datetime.fromtimestamp(start.timestamp() + days * 86400.0, start.tzinfo)


def moisture_of(works: Works, lot: LotState) -> tuple[float, float]:
    """Best known moisture of a lot and its standard uncertainty: the oven's word, else the book's.

    Only a moisture result on the lot itself counts.
    """
    results = [
        e
        for e in works.book.events_in_force(kind="result", lot_id=lot.lot_id)
        if e.facts["parameter"] == "moisture"
    ]
    if results:
        facts = results[-1].facts
        return float(facts["value"]) / 100.0, float(facts["standard_uncertainty"]) / 100.0
    return lot.moisture_wb, moisture_sd(lot)


def _wet_lots(works: Works, until: datetime, site: str | None) -> list[Finding]:
    """Dried lots that are more likely than not too wet to store."""
    found = []
    for lot in works.book.lots(site=site, form=STORED):
        if lot.made_at >= until:
            continue
        limit = leaves.profile(lot.leaf).moisture_wb_store_limit
        moisture, sd = moisture_of(works, lot)
        chance = float(norm.sf(limit, moisture, max(sd, 1e-6)))
        if chance <= 0.5:
            continue
        found.append(
            Finding(
                kind="wet",
                severity="stop" if lot.remaining_mass_g else "due",
                at=lot.made_at,
                site=lot.site,
                where=lot.place,
                subjects=(lot.lot_id, lot.made_by),
                sentence=(
                    f"{lot.lot_id} is {moisture:.1%} wet basis (± {sd:.1%}); it keeps only below "
                    f"{limit:.1%}. Hold it and dry it again."
                ),
                numbers={"moisture_wb": moisture, "limit_wb": limit, "chance": chance},
            )
        )
    return found


def _limits(works: Works, until: datetime, site: str | None) -> list[Finding]:
    """Lots with a laboratory result beyond a limit of a market the works sells to."""
    tested = {
        str(e.facts["lot_id"])
        for e in works.book.events_in_force(kind="result", until=until, site=site)
        if e.facts["parameter"] != "moisture"
    }
    confirmed = confirmations(works)
    found = []
    for lot in works.book.lots(ids=sorted(tested)):
        verdicts = assess_all(works, lot.lot_id, confirmed)
        bad = [(v, _beyond(v)) for v in verdicts]
        failing = {v.market.id: names for v, names in bad if names}
        if not failing:
            continue
        fine = [v.market.id for v in verdicts if v.market.id not in failing]
        words = "; ".join(f"{market}: {', '.join(names)}" for market, names in failing.items())
        rest = f" It may still fit {', '.join(fine)}." if fine else ""
        found.append(
            Finding(
                kind="limit",
                severity="due",
                at=lot.made_at,
                site=lot.site,
                where=lot.place,
                subjects=(lot.lot_id,),
                sentence=f"{lot.lot_id} is beyond a limit for {words}.{rest}",
                numbers={"failing": failing, "fine": fine},
            )
        )
    return found


def _beyond(verdict: Assessment) -> list[str]:
    """Parameters that a measured value puts beyond a binding limit, moisture apart."""
    return sorted(
        {
            line.limit.parameter
            for line in verdict.lines
            if line.decision is Decision.DOES_NOT_CONFORM
            and (line.limit.legal or line.limit.contract)
            and line.limit.parameter != "moisture"
        }
    )


def _fills(works: Works, until: datetime, site: str | None) -> list[Finding]:
    """Pack runs whose packs do not hold what they say."""
    found = []
    for event in works.book.events_in_force(kind="pack", until=until, site=site):
        facts = event.facts
        checked = weight_check(facts["nominal_g"], int(facts["packs"]), facts["net_g"])
        if checked.decision == "accept":
            continue
        lot = event.outputs[0].lot_id
        found.append(
            Finding(
                kind="fill",
                severity="stop",
                at=event.happened_at,
                site=event.site,
                where=event.place,
                subjects=(event.event_id, lot),
                sentence=(
                    f"Packs of {lot} are short: mean {checked.mean_error:+.1f} g against "
                    f"{facts['nominal_g']:g} g, {checked.t1_count} of {checked.n} beyond the "
                    f"tolerance of {checked.tolerable_deficiency:g} g."
                ),
                numbers={
                    "mean_error_g": checked.mean_error,
                    "t1_count": checked.t1_count,
                    "t2_count": checked.t2_count,
                },
            )
        )
    return found


def _balance(works: Works, until: datetime, site: str | None) -> list[Finding]:
    """Events whose dry matter does not add up, beyond what so many events show by chance."""
    moving = [k for k, shape in SHAPES.items() if shape.inputs[1] and shape.outputs[1]]
    count = len(works.book.events_in_force(kind=moving, until=until, site=site))
    limit_z = float(norm.isf(FALSE_ALARM / (2.0 * max(count, 1))))
    return [
        Finding(
            kind="balance",
            severity="stop",
            at=each.happened_at,
            site=each.site,
            where=each.place,
            subjects=(each.event_id,),
            sentence=each.sentence,
            numbers={"dry_g": each.dry_g, "dry_sd_g": each.dry_sd_g, "z": each.z},
        )
        for each in works.book.unbalanced(end=until, site=site or "")
        if abs(each.z) > limit_z
    ]


def _seal(works: Works, until: datetime, site: str | None) -> list[Finding]:
    """A book whose history does not hang together."""
    report = works.book.verify()
    if report.ok:
        return []
    return [
        Finding(
            kind="seal",
            severity="stop",
            at=until,
            site=site or "",
            where="book",
            subjects=(str(report.first_bad_sequence),),
            sentence=f"The book has been changed from outside: {report.message}",
        )
    ]
