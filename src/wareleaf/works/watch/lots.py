"""Lots too wet to keep, beyond a limit or packed short; each judged by its own rule."""

from __future__ import annotations

from datetime import datetime

from scipy.stats import norm

from wareleaf import leaf as leaves
from wareleaf.book import LotState
from wareleaf.release import Assessment, Decision
from wareleaf.works.finding import Finding
from wareleaf.works.house import Works
from wareleaf.works.pack_lot import weight_check
from wareleaf.works.record import moisture_sd
from wareleaf.works.release_lot import assess_all, confirmations

STORED = ("dried", "flake", "powder", "graded", "blended", "packed")


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


def wet_lots(works: Works, until: datetime, site: str | None) -> list[Finding]:
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


def limits(works: Works, until: datetime, site: str | None) -> list[Finding]:
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


def fills(works: Works, until: datetime, site: str | None) -> list[Finding]:
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
