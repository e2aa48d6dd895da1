"""The day at a glance: what needs someone now, what is on the floor, what waits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from wareleaf import leaf as leaves
from wareleaf.book import LotState
from wareleaf.works.bench import WaitingSample, waiting
from wareleaf.works.floor import MachineView, floor
from wareleaf.works.house import Works
from wareleaf.works.patience import waiting_temperature_c

SOON = timedelta(minutes=45)
UNFINISHED = ("fresh", "washed", "blanched", "withered", "rolled", "oxidised")
READY = ("dried", "flake", "powder", "graded", "blended", "packed")


@dataclass(frozen=True)
class Act:
    """One thing for someone to do.

    Parameters
    ----------
    by : datetime
        Latest.
    what, where : str
        In words.
    link : str
        Page where it is done.
    urgency : str
        ``late``, ``soon`` or ``later``.
    """

    by: datetime
    what: str
    where: str
    link: str
    urgency: str


@dataclass(frozen=True)
class WaitingLeaf:
    """A lot between stages and how long it may wait."""

    lot: LotState
    since: datetime
    loses_value_at: datetime
    lost_at: datetime
    temperature_c: float


@dataclass(frozen=True)
class DayView:
    """What the first page shows for a site."""

    now: datetime
    acts: tuple[Act, ...]
    machines: tuple[MachineView, ...]
    waiting_leaf: tuple[WaitingLeaf, ...]
    waiting_samples: tuple[WaitingSample, ...]
    taken_in_kg: float
    stock_kg: float
    held: tuple[LotState, ...]
    air_c: float
    air_rh: float


def day_view(works: Works, site_id: str) -> DayView:
    """Gather the day of a site, as known now."""
    now = works.now()
    machines = tuple(floor(works, site_id))
    lots = works.book.lots(site=site_id, in_stock_only=True)
    air_c, air_rh = air_now(works, site_id)
    leaf_that_waits = _all_waiting(lots, air_c)
    samples = tuple(waiting(works, site_id))
    start = now.replace(hour=0, minute=0, second=0, microsecond=0)
    intakes = works.book.events_in_force(kind="intake", since=start, site=site_id)
    return DayView(
        now=now,
        acts=_acts(now, machines, leaf_that_waits, samples),
        machines=machines,
        waiting_leaf=leaf_that_waits,
        waiting_samples=samples,
        taken_in_kg=sum(m.mass_g for e in intakes for m in e.outputs) / 1000.0,
        stock_kg=sum(lot.remaining_mass_g for lot in lots if lot.form in READY) / 1000.0,
        held=tuple(lot for lot in lots if lot.held_because),
        air_c=air_c,
        air_rh=air_rh,
    )


def waiting_leaf(works: Works, site_id: str) -> tuple[WaitingLeaf, ...]:
    """Leaf between stages at a site, the most urgent first."""
    lots = works.book.lots(site=site_id, form=UNFINISHED, in_stock_only=True)
    return _all_waiting(lots, air_now(works, site_id)[0])


def _all_waiting(lots: Sequence[LotState], air_c: float) -> tuple[WaitingLeaf, ...]:
    free = (lot for lot in lots if lot.form in UNFINISHED and not lot.on_runs)
    return tuple(sorted((_waiting(lot, air_c) for lot in free), key=lambda w: w.loses_value_at))


def air_now(works: Works, site_id: str) -> tuple[float, float]:
    """Ambient dry bulb (degC) and relative humidity at a site now, from its station year."""
    from wareleaf.works.weather import window

    wall = works.now().replace(tzinfo=None)
    air = window(works.weather(site_id), wall, 1)
    return float(air.dry_bulb_c[0]), float(min(1.0, air.relative_humidity[0]))


def _waiting(lot: LotState, air_c: float) -> WaitingLeaf:
    profile = leaves.profile(lot.leaf)
    cut = lot.attributes.get("cut_at")
    since = datetime.fromisoformat(str(cut)) if cut else lot.made_at
    temperature_c = waiting_temperature_c(air_c)
    return WaitingLeaf(
        lot,
        since,
        since + timedelta(hours=profile.hold_hours(temperature_c)),
        since + timedelta(hours=profile.spoil_hours(temperature_c)),
        temperature_c,
    )


def _urgency(by: datetime, now: datetime) -> str:
    if by < now:
        return "late"
    return "soon" if by < now + SOON else "later"


def _acts(
    now: datetime,
    machines: tuple[MachineView, ...],
    waiting_leaf: tuple[WaitingLeaf, ...],
    samples: tuple[WaitingSample, ...],
) -> tuple[Act, ...]:
    acts = []
    for view in machines:
        if view.run is None or view.run.finished_at is not None:
            continue
        link = f"/floor/run/{view.run.run_id}"
        if view.finish_at is not None:
            what = f"Take {', '.join(view.run.lots)} off"
            acts.append(
                Act(view.finish_at, what, view.machine.name, link, _urgency(view.finish_at, now))
            )
        else:
            why = view.trouble or "it will not reach its moisture in this air: look at the settings"
            acts.append(Act(now, f"Check the run: {why}", view.machine.name, link, "soon"))
    for leaf in waiting_leaf:
        late = "it is losing value" if leaf.loses_value_at < now else "before it loses value"
        acts.append(
            Act(
                leaf.loses_value_at,
                f"Start {leaf.lot.lot_id} ({leaf.lot.form}), {late}",
                leaf.lot.place,
                f"/floor?lot={leaf.lot.lot_id}",
                _urgency(leaf.loses_value_at, now),
            )
        )
    for sample in samples:
        by = sample.taken_at + timedelta(hours=24)
        acts.append(
            Act(
                by,
                f"Result for sample {sample.sample_id} of {sample.lot_id}",
                "Bench",
                f"/bench?lot={sample.lot_id}",
                _urgency(by, now),
            )
        )
    return tuple(sorted(acts, key=lambda a: a.by))
