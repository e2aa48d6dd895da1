"""The demo season: one works folder, its clock, its hidden truth, and hands that do the jobs.

Everything in the book is written through the same use cases that the pages and commands use; this
module only holds what a person at the works would see and do: read a meter, put leaf on, take it
off.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta

from wareleaf.book import Stream
from wareleaf.works import bench, handle_lot, run_stage
from wareleaf.works.controls import full_settings
from wareleaf.works.demo.agenda import Agenda, Doing, hours
from wareleaf.works.demo.faults import Faults
from wareleaf.works.demo.truth import Chance, Meters, TrueLeaf, together
from wareleaf.works.house import Works
from wareleaf.works.run_stage import Off
from wareleaf.works.take_in import Load, take_in

SUNDAY = 6


@dataclass(frozen=True)
class Yard:
    """Who does what at a site, and with which meters."""

    intake: str
    operator: str
    scale: str
    fine_scale: str
    balance: str
    quick: str
    oven: str
    tare_kg: float
    bin_c: float  # leaf in the middle of a bin at the door, usually; invented


YARDS: Mapping[str, Yard] = {
    "kelp": Yard(
        "teo",
        "runa",
        "quay-scale",
        "kelp-floor-scale",
        "kelp-balance",
        "kelp-quick",
        "kelp-oven",
        38.0,
        8.0,
    ),
    "tea": Yard(
        "davin",
        "davin",
        "leaf-scale",
        "tea-floor-scale",
        "tea-balance",
        "tea-quick",
        "tea-oven",
        1.5,
        22.0,
    ),
}


@dataclass
class Season:
    """Everything a doing needs.

    Parameters
    ----------
    works : Works
        Runs on the agenda's clock.
    agenda : Agenda
        Time.
    seed : int
        Of all chance.
    demo_day : date
        The last day, cut off in the morning.
    faults : Faults
        What goes wrong.
    meters : Meters
        With their noise.
    leaves : dict
        The hidden truth of every lot, by lot id.
    busy, promised
        Machines with leaf on them, and until when a machine is spoken for.
    goods : dict
        What was milled or sifted from a sampled lot: it is released on that lot's results.
    belt_h : dict
        Dryer time that the last lot of a leaf needed: operators start from there.
    done : set of str
        Faults that were planted already, where a day gives more than one chance.
    """

    works: Works
    agenda: Agenda
    seed: int
    demo_day: date
    faults: Faults
    meters: Meters
    leaves: dict[str, TrueLeaf] = field(default_factory=dict)
    busy: set[str] = field(default_factory=set)
    promised: dict[str, datetime] = field(default_factory=dict)
    goods: dict[str, list[str]] = field(default_factory=dict)
    belt_h: dict[str, float] = field(default_factory=dict)
    done: set[str] = field(default_factory=set)

    # time

    @property
    def now(self) -> datetime:
        """The time now."""
        return self.agenda.now

    def at(self, day: date, hour: float) -> datetime:
        """An hour of a day on the works' clock."""
        midnight = datetime.combine(day, time(), self.works.settings.zone)
        return midnight + hours(hour)

    def days_ago(self, day: date) -> int:
        """How long before the demo day."""
        return (self.demo_day - day).days

    def next_workday(self, days: int, hour: float) -> datetime:
        """An hour some days from now, Monday instead of Sunday."""
        day = self.now.date() + timedelta(days=days)
        if day.weekday() == SUNDAY:
            day += timedelta(days=1)
        return self.at(day, hour)

    def chance(self, *key: object) -> Chance:
        """The random numbers of a doing."""
        return Chance(self.seed, *key)

    # machines

    def free(self, machine_id: str) -> Doing:
        """Wait until a machine stands free, then take it."""
        while machine_id in self.busy:
            yield self.now + timedelta(minutes=10)
        self.busy.add(machine_id)

    def put_on(
        self,
        machine_id: str,
        lot_ids: Sequence[str],
        settings: Mapping[str, float] | None = None,
        note: str = "",
    ) -> str:
        """Start a run; returns its id."""
        site = self.works.settings.equipment_of(machine_id).site
        return run_stage.start_run(
            self.works, YARDS[site].operator, machine_id, lot_ids, settings, note=note
        )

    def settings_of(self, machine_id: str, **given: float) -> dict[str, float]:
        """A machine's settings as an operator finds them, with some changed."""
        return full_settings(self.works.settings.equipment_of(machine_id), given)

    def take_off(
        self,
        machine_id: str,
        run_id: str,
        parts: Iterable[tuple[TrueLeaf, Off]],
        chance: Chance,
        streams: Sequence[Stream] = (),
    ) -> list[str]:
        """Weigh leaf off a machine and free it; ``Off`` names the meters, truth fills the numbers.

        Returns the new lots' ids.
        """
        site = self.works.settings.equipment_of(machine_id).site
        truths, offs = [], []
        for leaf, off in parts:
            truths.append(leaf)
            offs.append(
                replace(
                    off,
                    mass_kg=self.meters.read(off.scale, leaf.mass_kg, chance, self.now),
                    moisture_wb=self.meters.read(
                        off.moisture_meter, leaf.moisture_wb, chance, self.now
                    ),
                )
            )
        made = run_stage.finish_run(self.works, YARDS[site].operator, run_id, offs, streams=streams)
        self.busy.discard(machine_id)
        ids = [lot.lot_id for lot in made]
        self.leaves.update(zip(ids, truths, strict=True))
        return ids

    def read(
        self,
        who: str,
        meter: str,
        true: float,
        chance: Chance,
        *,
        run_id: str = "",
        lot_id: str = "",
        at: datetime | None = None,
    ) -> None:
        """Record one reading; ``at`` is when the sample was taken."""
        run_stage.record_reading(
            self.works,
            who,
            run_id=run_id,
            lot_id=lot_id,
            meter=meter,
            value=self.meters.read(meter, true, chance, at or self.now),
            at=at,
        )

    # lots

    def sample(self, who: str, lot_id: str, mass_g: int) -> str:
        """Take a sample out of a lot; returns its number."""
        number = bench.take_sample(self.works, who, lot_id, mass_g)
        leaf = self.leaves[lot_id]
        self.leaves[lot_id] = leaf.part(leaf.mass_kg - mass_g / 1000.0)
        return number

    def receive(
        self,
        site: str,
        source: str,
        leaf: TrueLeaf,
        chance: Chance,
        tare_error_share: float = 0.0,
        *,
        harvest: str,
    ) -> str:
        """Take in a load of a harvest; returns the lot id."""
        yard = YARDS[site]
        tare = yard.tare_kg * round(leaf.mass_kg / 60.0 + 0.5)
        gross = self.meters.read(yard.scale, leaf.mass_kg + tare, chance, self.now)
        typed = round(max(0.0, tare - tare_error_share * leaf.mass_kg), 1)
        _, lot = take_in(
            self.works,
            yard.intake,
            Load(
                source=source,
                gross_kg=gross,
                tare_kg=typed,
                meter=yard.scale,
                moisture_wb=self.meters.read(yard.balance, leaf.moisture_wb, chance, self.now),
                moisture_meter=yard.balance,
                ticket_kg=float(round(chance.around(leaf.mass_kg, 0.005))),
                temperature_c=round(chance.around(yard.bin_c, 0.2), 1),
                document=f"{source.upper()}/{self.now:%m%d%H}",
                harvest=harvest,
            ),
        )
        self.leaves[lot.lot_id] = leaf
        return lot.lot_id

    def all_of(self, lot_ids: Sequence[str]) -> TrueLeaf:
        """Lots as one."""
        return together([self.leaves[i] for i in lot_ids])

    def combine(self, who: str, lot_ids: Sequence[str]) -> str:
        """Put lots together; returns the new lot."""
        lot = handle_lot.combine(self.works, who, lot_ids, place="store")
        self.leaves[lot.lot_id] = self.all_of(lot_ids)
        return lot.lot_id

    def split(
        self,
        who: str,
        lot_id: str,
        shares: Sequence[float],
        meter: str,
        chance: Chance,
        lost: float,
    ) -> list[str]:
        """Split a lot into weighed parts; ``lost`` is the share that goes astray."""
        whole = self.leaves[lot_id]
        truths = [whole.part(whole.mass_kg * share * (1.0 - lost)) for share in shares]
        masses = [self.meters.read(meter, t.mass_kg, chance, self.now) for t in truths]
        made = handle_lot.split(self.works, who, lot_id, masses, meter=meter)
        ids = [lot.lot_id for lot in made]
        self.leaves.update(zip(ids, truths, strict=True))
        return ids
