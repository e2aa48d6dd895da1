"""Watch for numbers that each look right but do not fit together over several steps."""

from __future__ import annotations

from collections.abc import Set
from datetime import datetime

from wareleaf.works.finding import FALSE_ALARM, Finding
from wareleaf.works.house import Works
from wareleaf.works.reconcile_day import reconcile_between, season_of

TESTS = 4
"""A global test and the single tests together, of dry matter and of mass: they share the rate."""


def misfits(works: Works, until: datetime, site: str, told: Set[str]) -> list[Finding]:
    """Suspects of the season at a site, reconciled as one.

    Parameters
    ----------
    works : Works
        The works.
    until : datetime
        End of the stretch.
    site : str
        Site id.
    told : set of str
        Events and lots that other checks name already: said once is enough.
    """
    start = season_of(works, site, until)
    found = reconcile_between(works, site, start, until, level=FALSE_ALARM / TESTS)
    said, findings = set(told), []
    for doubt in found.doubts:
        subjects = (doubt.event_id, doubt.lot_id, *doubt.alike_lots)
        places = {*subjects, *doubt.alike_events}
        if said & places:
            continue
        said |= {doubt.event_id, *doubt.alike_events}
        findings.append(
            Finding(
                kind="reconcile",
                severity="due",
                at=doubt.at,
                site=site,
                where=doubt.place,
                subjects=subjects,
                sentence=doubt.sentence,
                numbers={
                    "quantity": doubt.quantity,
                    "booked_g": doubt.booked_g,
                    "fitted_g": doubt.fitted_g,
                    "fitted_sd_g": doubt.sd_g,
                    "z": abs(doubt.suspect.z),
                },
            )
        )
    return findings
